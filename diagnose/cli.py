"""The command line: thin. Exit codes: 0 well, 1 something was found wrong, 2 used wrongly.

Modules that take long to load are imported by the command that needs them, so that the first question is there at once.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from . import __version__
from .book.places import BookTrouble
from .book_command import add_parser as add_book
from .book_running import club_of, learned_of
from .case.log import CaseLog, LogTrouble, log_of
from .case.places import (
    RULES_VARIABLE,
    cases_folder,
    club_packs,
    data_folder,
    kept_folder,
    packs_named,
    reports_folder,
    rules_folder,
)
from .knowledge.kept import load_kept
from .knowledge.model import Knowledge
from .knowledge.packs import base_pack, load, upon_base
from .knowledge.source import FaultyFiles
from .listen.questions import QUESTIONS

if TYPE_CHECKING:
    from .sittings import Seat

WELL, WRONG, MISUSED = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code. No traceback reaches a user for a fault in their data."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # text beyond the terminal's alphabet is shown as ?, never a fault
            stream.reconfigure(errors="replace")
    options = _parser().parse_args(arguments)
    try:
        return options.run(options)
    except FaultyFiles as faulty:
        _complain_of(faulty)
    except (BookTrouble, LogTrouble) as trouble:
        _complain(str(trouble))
    except KeyboardInterrupt:
        _complain("Stopped. What was answered is kept; start 'diagnose' again and it goes on there.")
    except BrokenPipeError:
        _lose_output()
    except OSError as error:
        _complain(f"{error.filename or 'input or output'}: {error.strerror or error}")
    return WRONG


def _complain(line: str) -> None:
    with suppress(OSError):  # The terminal may be gone; what was answered is on disk.
        print(line, file=sys.stderr)


def _complain_of(faulty: FaultyFiles) -> None:
    for problem in faulty.problems:
        _complain(str(problem))


def _lose_output() -> None:
    """Whoever read the output has gone; point it at nothing so that Python's last flush stays silent."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="diagnose",
        description="Find the real cause of a fault in a small petrol two-stroke, and prove the fix."
        " Without a command it walks a fault, or goes on with the one left open.",
    )
    parser.add_argument("--version", action="version", version=f"diagnose {__version__}")
    parser.add_argument("--data", metavar="FOLDER", help="folder for cases, reports and club packs")
    parser.add_argument(
        "--rules", metavar="PACK", action="append", help="club pack to read after the base rules; repeatable"
    )
    parser.add_argument("--plain", action="store_true", help="plain lines, for screen readers and simple terminals")
    parser.add_argument("--book", metavar="BOOK", help="the club's book: a file, or postgresql://ROLE@HOST/DATABASE")
    parser.add_argument("--no-book", action="store_true", help="rank and walk as if there were no book")
    parser.add_argument("--machine", metavar="NAME", help="the machine of a new case, as the book calls it")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--new", action="store_true", help="start a new case without asking about the open ones")
    which.add_argument("--case", dest="go_on", metavar="CASE", help="go on with this open case, such as 2026-05-01-1")
    which.add_argument("--setup", metavar="CASE", help="walk a fault that came after this set-up, with what it says")
    parser.set_defaults(run=_walk)
    commands = parser.add_subparsers(metavar="command")

    ranked = commands.add_parser("rank", help="rank the causes of case files without asking")
    ranked.add_argument("cases", nargs="+", type=Path, metavar="CASE", help="case file, or folder of case files")
    ranked.add_argument("--json", action="store_true", help="a document for programs")
    ranked.set_defaults(run=_rank)

    report = commands.add_parser("report", help="write the fault report of a case, or the record of a set-up")
    report.add_argument("--workshop", action="store_true", help="without personal data: no words or notes of a person")
    report.add_argument("case", metavar="CASE", help="case name, such as 2026-05-01-1, or the path of its log")
    report.set_defaults(run=_report)

    cases = commands.add_parser("cases", help="list the cases kept here")
    cases.set_defaults(run=_cases)

    setup = commands.add_parser("setup", help="set an engine up, step by step, or go on with the set-up left open")
    setup.add_argument("--new", action="store_true", default=argparse.SUPPRESS, help="start a new set-up without asking")
    setup.set_defaults(run=_setup)

    replayed = commands.add_parser("replay", help="play recorded walks against today's rules and say what differs")
    replayed.add_argument("recordings", nargs="+", type=Path, metavar="FILE")
    replayed.add_argument("--accept", action="store_true", help="write today's walk into the file")
    replayed.set_defaults(run=_replay)

    measured = commands.add_parser("measure", help="draw cases from the rules' own odds and see how well they are found")
    measured.add_argument("--cases", type=_count, default=100, metavar="N", help="cases to draw, two or more (100)")
    measured.add_argument("--compare", type=_count, default=20, metavar="N", help="cases walked in other ways too (20)")
    measured.add_argument("--seed", type=int, default=1, metavar="N", help="another number draws other cases (1)")
    measured.add_argument("--unknown", type=_share, default=0.15, metavar="PERCENT", help="answers not known (15)")
    measured.add_argument("--wrong", type=_share, default=0.05, metavar="PERCENT", help="answers that are wrong (5)")
    measured.add_argument("--json", action="store_true", help="a document for programs")
    measured.set_defaults(run=_measure)

    # No character begins an option here, so that every word reaches the calculator, which knows its own options.
    bench = commands.add_parser("bench", help="calculators: set it up right", prefix_chars="\0", add_help=False)
    bench.add_argument("words", nargs="*")
    bench.set_defaults(run=_bench)

    add_book(commands, _knowledge)
    _add_listening(commands.add_parser("listen", help="what a recording says about the engine"))

    rules = commands.add_parser("rules", help="work on rule packs")
    rules_commands = rules.add_subparsers(metavar="what", required=True)
    check = rules_commands.add_parser("check", help="say everything that is wrong in the packs")
    check.add_argument("packs", nargs="*", type=Path, metavar="PACK", help="packs to read after the base rules")
    check.add_argument("--json", action="store_true", help="a document for editors")
    check.set_defaults(run=_check_rules)
    started = rules_commands.add_parser("start", help="start a pack of your own from a small example that works")
    started.add_argument("name", metavar="NAME", help="its name and folder: lower-case words joined by hyphens")
    started.set_defaults(run=_start_rules)
    tried = rules_commands.add_parser("try", help="run the cases of packs, and say which rules they reach")
    tried.add_argument("packs", nargs="*", type=Path, metavar="PACK", help="packs to read after the base rules")
    tried.add_argument("--json", action="store_true", help="a document for programs")
    tried.set_defaults(run=_try_rules)
    drafted = rules_commands.add_parser("draft", help="write down the cause of a closed case that the rules did not know")
    drafted.add_argument("case", metavar="CASE", help="case name, such as 2026-05-01-1, or the path of its log")
    drafted.set_defaults(run=_draft_rules)
    schema = rules_commands.add_parser("schema", help="print the JSON Schema of pack files, for editors")
    schema.set_defaults(run=_schema)
    _add_showing(rules_commands)
    return parser


def _add_listening(listened: argparse.ArgumentParser) -> None:
    """The file, and an option for each thing that may be known of it."""
    listened.add_argument("file", type=Path, metavar="FILE", help="WAV, FLAC or OGG; two seconds to an hour")
    for one in QUESTIONS:
        listened.add_argument(
            f"--{one.name}", dest=f"known_{one.name}", metavar="X", help=f"{one.ask} {one.hint}".replace("%", "%%")
        )
    listened.add_argument("--json", action="store_true", help="a document for programs")
    listened.add_argument(
        "-o", "--output", type=Path, action="append", metavar="FILE.svg|FILE.png", help="write the picture; repeatable"
    )
    listened.set_defaults(run=_listen)


def _add_showing(rules_commands: argparse._SubParsersAction) -> None:
    """The commands that show, compare, draw and print rules."""
    rules = argparse.ArgumentParser(add_help=False)
    rules.add_argument(
        "--rules", metavar="PACK", action="append", default=argparse.SUPPRESS, help="club pack to read after the base rules"
    )
    page = argparse.ArgumentParser(add_help=False)
    page.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="the page to write")

    show = rules_commands.add_parser("show", parents=[rules], help="one entry, where it is written, what touches it")
    show.add_argument("id", metavar="ID", help="a rule, cause, finding, check, condition, caution or hold")
    show.set_defaults(run=_show_rules)

    compare = rules_commands.add_parser("compare", help="which cases two sets of packs see differently")
    for side, name in (("--from", "before"), ("--to", "after")):
        compare.add_argument(
            side, dest=name, type=Path, metavar="PACK", action="append", default=[],
            help="pack after the base rules on this side; repeatable, none for the base alone",
        )  # fmt: skip
    compare.add_argument("cases", nargs="+", type=Path, metavar="CASE", help="case file, or folder of case files")
    compare.add_argument("--json", action="store_true", help="a document for programs")
    compare.set_defaults(run=_compare_rules)

    picture = rules_commands.add_parser("picture", parents=[page], help="draw a pack: symptoms, conditions, causes")
    picture.add_argument("pack", type=Path, metavar="PACK")
    picture.add_argument("--about", metavar="ID", help="only what is joined to this id, or to this family of causes")
    picture.set_defaults(run=_draw_rules)

    card = rules_commands.add_parser("card", parents=[rules, page], help="pit card to print: one A4 page a complaint")
    card.add_argument(
        "--symptom", metavar="FINDING=ANSWER", action="append", help="a complaint to print; repeatable (the most telling)"
    )
    card.set_defaults(run=_print_card)


def _knowledge(options: argparse.Namespace) -> Knowledge:
    return load_kept(_packs(options), kept_folder())


def _packs(options: argparse.Namespace) -> list[Path]:
    return upon_base(club_packs(data_folder(options.data), options.rules))


def _walk(options: argparse.Namespace) -> int:
    from .sittings import go_on, walk

    def sit_down() -> int:
        seat = _seat(options)
        return go_on(seat, options.go_on) if options.go_on else walk(seat, options.new, options.setup)

    return _at_the_field(options, sit_down)


def _setup(options: argparse.Namespace) -> int:
    from .sittings import go_on, set_up

    def sit_down() -> int:
        seat = _seat(options)
        return go_on(seat, options.go_on) if options.go_on else set_up(seat, options.new)

    return _at_the_field(options, sit_down)


def _at_the_field(options: argparse.Namespace, sit_down: Callable[[], int]) -> int:
    """A slip in a club's pack ends nobody's day: say how to go on without."""
    try:
        return sit_down()
    except FaultyFiles as faulty:
        _complain_of(faulty)
        if _packs(options)[1:]:
            _complain(f'Without club packs it goes on with: diagnose --rules "{base_pack()}"')
        return WRONG


def _seat(options: argparse.Namespace) -> Seat:
    from .shell.console import open_console
    from .sittings import Seat

    rules = _rules_on_their_way(options)
    return Seat(
        rules, open_console(options.plain), data_folder(options.data), packs_named(options.rules), club_of(options),
        options.machine, _complain,
    )  # fmt: skip


def _rules_on_their_way(options: argparse.Namespace) -> Callable[[], Knowledge]:
    """Begin to read and build the rules beside what is on the screen; the returned call waits for them."""
    return ThreadPoolExecutor(1).submit(_ready_rules, options).result


def _ready_rules(options: argparse.Namespace) -> Knowledge:
    from .planning.examine import ready

    return ready(_knowledge(options))


def _rank(options: argparse.Namespace) -> int:
    from .case.casefile import read_case
    from .planning.examine import examine
    from .report.document import documents, standing_document

    knowledge = _knowledge(options)
    learned = learned_of(options, knowledge)
    problems, ranked = [], []
    for path in _case_files(options.cases):
        try:
            case = read_case(path, knowledge)
        except FaultyFiles as faulty:
            problems += faulty.problems
            continue
        ranked.append((case, examine(knowledge, case.state, learned)))
    if options.json:
        print(json.dumps(documents([standing_document(case.title, seen) for case, seen in ranked]), indent=2))
    else:
        from .shell.screens import standing

        for case, seen in ranked:
            print(case.title)
            for line, _ in standing(seen, 80, most=5):
                print(line)
            print()
    if problems:
        raise FaultyFiles(problems)
    return WELL


def _case_files(named: Sequence[Path]) -> list[Path]:
    """The case files named, and those in the folders named. A folder without any is a mistake worth saying."""
    from .knowledge.source import Place, Problem

    files: list[Path] = []
    for path in named:
        inside = sorted(path.rglob("*.yaml")) if path.is_dir() else [path]
        if not inside:
            raise FaultyFiles([Problem(Place(str(path)), "no case file (*.yaml) in this folder")])
        files += inside
    return files


def _report(options: argparse.Namespace) -> int:
    from .case.log import read_log
    from .case.state import replay
    from .planning.examine import examine
    from .report import fault_report, setup_record
    from .report.files import CannotWrite, record_of, report_of, write_pdf, write_record, write_texts

    data = data_folder(options.data)
    path = log_of(options.case, cases_folder(data))
    recovered = read_log(path)
    if recovered.damaged:
        _complain(f"{path}: the last line is damaged and left out of the report; going on with the case repairs it")
    state = replay(recovered.events)
    knowledge = _knowledge(options)
    seen = examine(knowledge, state, learned_of(options, knowledge, state.machine))
    folder = reports_folder(data)
    name = f"{state.case}-workshop" if options.workshop else state.case
    try:
        if state.setting_up:
            record = record_of(knowledge, state, seen)
            bare = setup_record.for_the_workshop(record) if options.workshop else record
            written: tuple[Path, ...] = write_record(folder, name, bare)
        else:
            page = report_of(knowledge, state, seen)
            page = fault_report.for_the_workshop(page, knowledge, state) if options.workshop else page
            written = (*write_texts(folder, name, page), write_pdf(folder, name, page))
    except CannotWrite as trouble:
        _complain(str(trouble))
        return WRONG
    for file in written:
        print(file)
    return WELL


def _cases(options: argparse.Namespace) -> int:
    from .case.log import logs_in, read_log
    from .case.state import replay

    folder = cases_folder(data_folder(options.data))
    found = sorted(logs_in(folder))
    wrong = 0
    for path in found:
        try:
            state = replay(read_log(path).events)
        except LogTrouble as trouble:
            _complain(str(trouble))
            wrong = WRONG
            continue
        ending = f"{state.closing.how} {' '.join(state.closing.causes)}".strip() if state.closing else "open"
        if state.setting_up:
            ending = f"set-up, {'ended' if state.closing else 'open'}, {len(state.steps)} steps"
        print(f"{state.case}  {ending}  {state.words[0] if state.words else ''}".rstrip())
    if not found:
        print(f"No cases in {folder} yet.")
    return wrong


def _replay(options: argparse.Namespace) -> int:
    from .recordings import read_recording, replay, text_of

    knowledge = _knowledge(options)
    differ = 0
    for path in options.recordings:
        recording = read_recording(path)
        played = replay(knowledge, recording)
        if not played.difference:
            print(f"{path}: the same")
            continue
        if options.accept:
            path.write_text(text_of(recording.remarks, played.lines), encoding="utf-8")
            print(f"{path}: written anew")
            continue
        differ = WRONG
        print(f"{path}: differs")
        for key in played.only_then:
            print(f"  asked then, not now: {key}")
        for key in played.only_now:
            print(f"  asked now, not then: {key}")
        for line in played.difference:
            print(f"  {line}")
    return differ


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 2:
        raise argparse.ArgumentTypeError(f"'{text}' is not a count of two or more")
    return int(text)


def _share(text: str) -> float:
    try:
        share = float(text) / 100
    except ValueError:
        share = -1.0
    if not 0 <= share < 1:
        raise argparse.ArgumentTypeError(f"'{text}' is not a share in percent, 0 to 99")
    return share


def _measure(options: argparse.Namespace) -> int:
    from .measuring.cases import OwnerKnows
    from .measuring.series import measure
    from .measuring.table import document, lines

    packs = _packs(options)
    knowledge = load(packs)

    def tell(done: int) -> None:
        if sys.stderr.isatty():
            ending = "\n" if done == options.cases else "\r"
            print(f"{done} of {options.cases} cases", end=ending, file=sys.stderr, flush=True)

    owner = OwnerKnows(options.unknown, options.wrong)
    compared = min(options.compare, options.cases)
    measured = measure(packs, options.cases, compared, options.seed, owner, tell=tell)
    if options.json:
        print(json.dumps(document(measured), indent=2))
    else:
        print("\n".join(lines(measured, knowledge)))
    return WELL


def _bench(options: argparse.Namespace) -> int:
    from .bench_command import run

    return run(options.words, lambda: _knowledge(options), _complain, options.plain)


def _listen(options: argparse.Namespace) -> int:
    from .listen_command import run

    return run(options, lambda: _knowledge(options), _complain)


def _check_rules(options: argparse.Namespace) -> int:
    from .knowledge.checked import check, document, lines

    checked = check(upon_base(options.packs or club_packs(data_folder(options.data), options.rules)))
    print(json.dumps(document(checked), indent=2) if options.json else "\n".join(lines(checked)))
    return WRONG if checked.errors else WELL


def _schema(options: argparse.Namespace) -> int:
    from .knowledge.schema import schema

    print(json.dumps(schema(), indent=2))
    return WELL


def _start_rules(options: argparse.Namespace) -> int:
    from .clubrules.start import CannotStart, how_to_use, start
    from .report.files import CannotWrite

    try:
        folder = start(options.name, Path())
    except (CannotStart, CannotWrite) as trouble:
        _complain(str(trouble))
        return WRONG
    print("\n".join(how_to_use(folder, data_folder(options.data), os.environ.get(RULES_VARIABLE))))
    return WELL


def _try_rules(options: argparse.Namespace) -> int:
    from .clubrules.trying import document, lines, try_packs

    folders = options.packs or club_packs(data_folder(options.data), options.rules)
    if not folders:
        _complain("no pack to try; name one: diagnose rules try PACK")
        return WRONG
    knowledge = load(upon_base(folders))
    trial = try_packs(knowledge, knowledge.packs[1:] or knowledge.packs)
    print(json.dumps(document(trial), indent=2) if options.json else "\n".join(lines(trial)))
    return WELL if trial.well else WRONG


def _draft_rules(options: argparse.Namespace) -> int:
    from .report.files import CannotWrite
    from .shell.console import open_console
    from .shell.drafting import draft, unknown_cause
    from .shell.sitting import Sitting

    data = data_folder(options.data)
    knowledge = _knowledge(options)
    with CaseLog.open(log_of(options.case, cases_folder(data))) as log:
        if not unknown_cause(knowledge, log.state):
            _complain(f"{options.case}: only a case closed with a cause that the rules do not know can be written down")
            return WRONG
        sitting = Sitting(knowledge, log, open_console(options.plain), reports_folder(data))
        try:
            draft(sitting, rules_folder(data), packs_named(options.rules))
        except CannotWrite as trouble:
            _complain(str(trouble))
            return WRONG
    return WELL


def _show_rules(options: argparse.Namespace) -> int:
    from .clubrules.showing import NotFound, lines, sheets

    try:
        found = sheets(_knowledge(options), options.id)
    except NotFound as unknown:
        _complain(str(unknown))
        return WRONG
    print("\n\n".join("\n".join(lines(sheet)) for sheet in found))
    return WELL


def _compare_rules(options: argparse.Namespace) -> int:
    from .clubrules.comparing import compare, document, lines

    before, after = (load(upon_base(packs)) for packs in (options.before, options.after))
    compared = compare(before, after, _case_files(options.cases))
    print(json.dumps(document(compared), indent=2) if options.json else "\n".join(lines(compared)))
    return WRONG if compared.less_safe else WELL


def _draw_rules(options: argparse.Namespace) -> int:
    from .clubrules.picture import as_html, knowledge_for, picture
    from .clubrules.showing import NotFound

    knowledge, pack = knowledge_for(options.pack)
    try:
        drawn = picture(knowledge, pack, options.about)
    except NotFound as unknown:
        _complain(str(unknown))
        return WRONG
    return _write_page(options.output, as_html(drawn))


def _print_card(options: argparse.Namespace) -> int:
    from .clubrules.pit_card import NoSymptom, as_html, card, main_symptoms, symptoms_named

    knowledge = _knowledge(options)
    try:
        symptoms = symptoms_named(knowledge, options.symptom) if options.symptom else main_symptoms(knowledge)
    except NoSymptom as unknown:
        _complain(str(unknown))
        return WRONG
    cards = [card(knowledge, *symptom) for symptom in symptoms]
    return _write_page(options.output, as_html(knowledge, cards, f"diagnose {__version__}"))


def _write_page(path: Path, text: str) -> int:
    from .report.files import CannotWrite, write_whole

    try:
        write_whole(path, text, "the page cannot be written", "name another file with -o")
    except CannotWrite as trouble:
        _complain(str(trouble))
        return WRONG
    print(path)
    return WELL
