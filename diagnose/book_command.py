"""`diagnose book`: the club's book on the command line. The database library is loaded by the commands that need it."""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from . import book_add_command
from .book_running import WELL, WRONG, Rules, as_command, asked_password, opened, place_of
from .case.places import cases_folder, data_folder, reports_folder
from .knowledge.model import Knowledge

if TYPE_CHECKING:
    from .book.rows import Taken


def add_parser(commands: Any, rules: Callable[[argparse.Namespace], Knowledge]) -> None:
    """Enter `book` with its own commands among the commands of the program."""
    book = commands.add_parser("book", help="the club's book: machines, their history, confirmed causes")
    book.set_defaults(run=as_command(_summary, rules))
    inside = book.add_subparsers(metavar="what")

    def enter(name: str, run: Callable[[argparse.Namespace, Rules], int], help: str) -> argparse.ArgumentParser:
        made: argparse.ArgumentParser = inside.add_parser(name, help=help)
        made.set_defaults(run=as_command(run, rules))
        return made

    book_add_command.add_parser(inside, rules)
    show = enter("show", _show, "a machine, an owner or a case with all that is known of it")
    show.add_argument("name", nargs="+", metavar="NAME")
    search = enter("search", _search, "cases by words, cause, machine or time")
    search.add_argument("words", nargs="*", metavar="WORD", help="in the owner's words, notes, causes and names")
    search.add_argument("--cause", default="", metavar="ID", help="only this cause of the rules")
    search.add_argument("--machine", default="", metavar="NAME")
    search.add_argument("--since", default="", metavar="DAY", help="closed on this day or later")
    search.add_argument("--until", default="", metavar="DAY", help="closed on this day or before")
    correct = enter("correct", _correct, "put an entry right; what stood there is kept")
    correct.add_argument("what", choices=("owner", "machine", "engine", "carburettor", "case", "setting", "note"))
    correct.add_argument("name", metavar="NAME", help="its name, or the mark in brackets behind it")
    correct.add_argument("changes", nargs="+", metavar="FIELD=VALUE", help="such as cause=plug-fouled or confirmed=person")
    exported = enter("export", _export, "write the book as files")
    exported.add_argument("kind", choices=("csv", "json", "yaml"), help="tables, one document, or case files for 'rank'")
    exported.add_argument("path", type=Path, metavar="PATH", help="a folder for csv and yaml, a file for json")
    imported = enter("import", _import, "take in such files, or case files; taken in twice makes no double")
    imported.add_argument("paths", nargs="+", type=Path, metavar="PATH")
    backed = enter("backup", _backup, "copy the book while it is in use")
    backed.add_argument("copy", type=Path, metavar="FILE")
    restored = enter("restore", _restore, "put a copy in the book's place, once it is found whole")
    restored.add_argument("copy", type=Path, metavar="FILE")
    removed = enter("remove", _remove, "take all of a person out of the book, for good")
    removed.add_argument("owner", metavar="CALL-SIGN")
    removed.add_argument("--yes", action="store_true", help="do not ask once more")
    merged = enter("merge", _merge, "take in another book, without doubles")
    merged.add_argument("other", metavar="BOOK", help="its file, or postgresql://ROLE@HOST/DATABASE")
    plot = enter("plot", _plot, "draw needles, faults, heat or minutes to the cause")
    plot.add_argument("what", choices=("needles", "faults", "heat", "minutes"))
    plot.add_argument("--machine", metavar="NAME", help="only this machine; needles and heat want one")
    plot.add_argument("-o", "--output", type=Path, metavar="FILE", help="a picture: .svg or .png; several get a number")
    report = enter("report", _report, "a machine's whole history as Markdown, HTML and PDF")
    report.add_argument("machine", nargs="+", metavar="MACHINE")
    report.add_argument("--workshop", action="store_true", help="without personal data: no names, words or notes")
    enter("learned", _learned, "what the confirmed cases have taught")
    enter("check", _check, "look the book through for damage")
    enter("schema", _schema, "print the tables of the book, column by column")


def _say(lines: Iterable[str]) -> None:
    """Print lines no wider than the screen; what goes on is indented once more."""
    from .shell.console import fitting, wrapped

    width = fitting(shutil.get_terminal_size((80, 24)).columns)
    for line in lines:
        lead = " " * (len(line) - len(line.lstrip()))
        for shown in wrapped(line.strip(), width, lead, f"{lead}    ") if line else [""]:
            print(shown)


def _became(taken: Taken) -> str:
    said = [
        (taken.new, "new"), (taken.changed, "changed by a later correction"), (taken.same, "there already"),
        (taken.kept_out, "kept out, removed on request before"), (taken.taken_out, "taken out, removed on request there"),
    ]  # fmt: skip
    return ", ".join(f"{count} {what}" for count, what in said if count) or "nothing"


def _summary(options: argparse.Namespace, rules: Rules) -> int:
    from .book import asking, pages
    from .book.closed import keep_closed
    from .book.places import NoBook
    from .case.log import open_cases

    folder = cases_folder(data_folder(options.data))
    try:
        book_or_none = opened(options, make=folder.is_dir())
    except NoBook as none:
        _say([str(none)])
        return WELL
    with book_or_none as book:
        kept = keep_closed(book, folder, rules())
        with book.reading() as connection:
            _say(pages.summary(asking.counts(connection), book.place))
    if kept.taken.new:
        _say([f"    taken in now from closed cases: {_became(kept.taken)}"])
    left_open = open_cases(folder)
    _say([f"    still open: {state.case}{': ' + state.words[0] if state.words else ''}" for _, state in left_open])
    for trouble in kept.troubles:
        print(trouble, file=sys.stderr)
    return WRONG if kept.troubles else WELL


def _show(options: argparse.Namespace, rules: Rules) -> int:
    from .book import pages
    from .book.places import BookTrouble

    name = " ".join(options.name)
    with opened(options) as book, book.reading() as connection:
        found = pages.named_so(connection, name)
        if not found:
            near = pages.nearly_called(connection, name)
            meant = f"; there is {', '.join(near)}" if near else "; diagnose book search looks through the cases"
            raise BookTrouble(f"nothing in the book is called '{name[:60]}'{meant}")
        for place, (what, row) in enumerate(found):
            if place:
                print()
            match what:
                case "machine":
                    _say(pages.machine_lines(connection, rules(), row))
                case "owner":
                    _say(pages.owner_lines(connection, row))
                case _:
                    _say(pages.case_lines(connection, rules(), row))
    return WELL


def _search(options: argparse.Namespace, rules: Rules) -> int:
    from .book import asking, pages
    from .book.entries import day_meant
    from .book.places import BookTrouble
    from .knowledge.reader import likeliest

    knowledge = rules()
    if options.cause and options.cause not in knowledge.causes:
        meant = likeliest(options.cause, knowledge.causes)
        raise BookTrouble(f"no cause is called '{options.cause[:40]}'" + (f"; did you mean {meant}?" if meant else ""))
    since, until = day_meant(options.since), day_meant(options.until)
    sought = asking.Sought(tuple(options.words), options.cause, options.machine, since, until)
    with opened(options) as book, book.reading() as connection:
        found, many = asking.search(connection, sought)
    if not found:
        print("No case in the book is like that.")
        return WRONG
    _say(pages.found_line(knowledge, case) for case in found)
    if many > len(found):
        print(f"The newest {len(found)} of {many}.")
    return WELL


def _correct(options: argparse.Namespace, rules: Rules) -> int:
    from .book.correcting import correct
    from .book.places import BookTrouble

    changes = {}
    for change in options.changes:
        field, sign, value = change.partition("=")
        if not sign:
            raise BookTrouble(f"'{change[:40]}' is no correction; write FIELD=VALUE, such as cause=plug-fouled")
        changes[field] = value
    with opened(options) as book, book.writing() as connection:
        correct(connection, rules(), options.what, options.name, changes)
    print("Corrected. What stood there before is kept.")
    return WELL


def _export(options: argparse.Namespace, rules: Rules) -> int:
    from .book.case_files import write_cases
    from .book.files import write_csv, write_json

    with opened(options) as book:
        match options.kind:
            case "json":
                print(f"{write_json(book, options.path)} rows written to {options.path}")
            case "csv":
                print(f"{write_csv(book, options.path)} rows written to the tables in {options.path}")
            case _:
                print(f"{write_cases(book, options.path, rules())} case files written to {options.path}")
    return WELL


def _import(options: argparse.Namespace, rules: Rules) -> int:
    from .book.case_files import read_cases
    from .book.files import read_into

    with opened(options, make=True) as book:
        for path in options.paths:
            case_files = sorted(path.rglob("*.yaml")) if path.is_dir() else [path] if path.suffix == ".yaml" else []
            taken = read_cases(book, case_files, rules()) if case_files else read_into(book, path)
            print(f"{path}: {_became(taken)}")
    return WELL


def _backup(options: argparse.Namespace, rules: Rules) -> int:
    from .book.copies import back_up

    with opened(options) as book:
        back_up(book, options.copy)
    print(f"Copied to {options.copy}")
    return WELL


def _restore(options: argparse.Namespace, rules: Rules) -> int:
    from .book.copies import restore
    from .book.places import BookTrouble

    place = place_of(options)
    if "://" in place:
        raise BookTrouble("a book on a server is brought back with diagnose book merge COPY, or by the server's own means")
    kept = restore(Path(place), options.copy)
    print(f"Restored to {place}" + (f"; the book that stood there is kept as {kept}" if kept else ""))
    return WELL


def _remove(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import known
    from .book.persons import remove_owner
    from .book.schema import owners

    data = data_folder(options.data)
    with opened(options) as book:
        with book.reading() as connection:
            owner = known(connection, owners, options.owner)
        if not options.yes:
            _say([f"This takes {owner['call_sign']}, their machines, settings, cases and notes out for good, and deletes"
                  " the logs and reports of those machines and cases here, open cases and set-ups too. Type the call sign"
                  " to go on."])  # fmt: skip
            if input("> ").strip().casefold() != owner["call_sign"].casefold():
                print("Nothing was removed.")
                return WRONG
        gone = remove_owner(book, owner["uid"], cases_folder(data), reports_folder(data))
    _say([f"Removed: {gone.rows} entries and {gone.files} files. They do not come back with an import or a merge.",
          "Copies of the book made before still hold them: backups, exports, books on other laptops."])  # fmt: skip
    _say([f"Not looked into, for it cannot be read: {path}. If it is of theirs, delete it." for path in gone.unread])
    return WELL


def _merge(options: argparse.Namespace, rules: Rules) -> int:
    from .book.access import open_book
    from .book.copies import merge
    from .book.places import where

    other_place = where(Path(), options.other)
    with opened(options, make=True) as book, open_book(other_place, password=asked_password) as other:
        print(f"{other.place}: {_became(merge(book, other))}")
    return WELL


def _plot(options: argparse.Namespace, rules: Rules) -> int:
    from .book.charts import CHARTS
    from .book.entries import known
    from .book.places import BookTrouble
    from .book.schema import machines
    from .drawing.terminal import draw
    from .shell.console import fitting

    with opened(options) as book, book.reading() as connection:
        machine = known(connection, machines, options.machine) if options.machine else None
        charts = CHARTS[options.what](connection, rules(), machine)
    if options.output is None:
        width = fitting(shutil.get_terminal_size((80, 24)).columns)
        print("\n\n".join("\n".join(draw(chart, width)) for chart in charts))
        return WELL
    from .drawing.picture import save_all

    try:
        written = save_all(charts, options.output)
    except ValueError as wrong:
        raise BookTrouble(str(wrong)) from None
    print("\n".join(map(str, written)))
    return WELL


def _report(options: argparse.Namespace, rules: Rules) -> int:
    from datetime import datetime

    from .book.history import history_of
    from .book.machine_report import file_name, for_the_workshop, machine_report, write_machine_report
    from .book.places import BookTrouble
    from .report.files import CannotWrite

    name, knowledge = " ".join(options.machine), rules()
    with opened(options) as book, book.reading() as connection:
        known = history_of(connection, name, str(datetime.now().year))
        if known is None:
            raise BookTrouble(f"no machine is called '{name[:60]}' in the book; diagnose book search finds names")
        page = machine_report(connection, knowledge, known)
    file = file_name(known.machine["uid"])
    if options.workshop:
        page, file = for_the_workshop(page, knowledge, known), f"{file}-workshop"
    try:
        for path in write_machine_report(reports_folder(data_folder(options.data)), file, page):
            print(path)
    except CannotWrite as trouble:
        raise BookTrouble(str(trouble)) from None
    return WELL


def _learned(options: argparse.Namespace, rules: Rules) -> int:
    from .book.learning import counted, learn
    from .book.pages import learned_lines

    knowledge = rules()
    with opened(options) as book, book.reading() as connection:
        learned = learn(knowledge, counted(connection))
    _say(learned_lines(knowledge, learned))
    return WELL


def _check(options: argparse.Namespace, rules: Rules) -> int:
    from .book.copies import faults_in

    with opened(options) as book:
        faults = faults_in(book)
        for fault in faults:
            print(f"{book.place}: {fault}", file=sys.stderr)
        if not faults:
            print(f"{book.place}: whole")
    return WRONG if faults else WELL


def _schema(options: argparse.Namespace, rules: Rules) -> int:
    from .book.schema import described

    _say(described())
    return WELL
