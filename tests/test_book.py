"""The book keeps every machine's history: nothing twice, nothing lost, nothing shown that must not be."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from books import EARLY, case, everything, fill, machine, owner
from sqlalchemy import MetaData, select

from diagnose.book import asking
from diagnose.book.access import Book, open_book
from diagnose.book.case_files import read_cases, write_cases
from diagnose.book.closed import keep_closed
from diagnose.book.copies import merge
from diagnose.book.correcting import correct
from diagnose.book.entries import when
from diagnose.book.files import read_into, write_csv, write_json
from diagnose.book.persons import remove_owner
from diagnose.book.places import BookTrouble
from diagnose.book.schema import TABLES, cases, corrections
from diagnose.case.casefile import read_case
from diagnose.case.log import CaseLog
from diagnose.cli import WELL, main
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.source import FaultyFiles
from diagnose.testing import DEMO_CLOCK, Owner, walk_with


@pytest.fixture
def book(place: str) -> Iterator[Book]:
    with open_book(place, make=True) as opened:
        yield opened


LOOSE = {
    "machine": "helicopter", "starts": "easily", "idle": "hunts", "under-load": "sags", "bolts": "loose",
    "head-temperature": "212 F",
}  # fmt: skip


def loose_bolts(knowledge: Knowledge, words: str = "surges at idle") -> Owner:
    """An invented owner whose bolts are loose: the walk finds it."""
    return Owner(words, LOOSE, frozenset({"bolts-loose"}), knowledge)


def small_club(book: Book) -> None:
    """An invented club: two owners, two machines, three cases."""
    fill(
        book,
        {"owners": [owner("Kestrel"), owner("Plover")], "machines": [machine("Grey", "Kestrel"), machine("Red", "Plover")]},
        case(1, "carb-bolts-loose", "Grey", closed="2026-05-01"),
        case(2, "plug-fouled", "Grey", closed="2026-06-01"),
        case(3, "carb-bolts-loose", "Red", closed="2026-06-02"),
    )


# Cases come in when they close.


def test_a_case_becomes_part_of_the_book_when_it_closes_and_only_once(bench: Knowledge, book: Book, tmp_path: Path) -> None:
    _, log = walk_with(bench, loose_bolts(bench), tmp_path)
    assert keep_closed(book, tmp_path / "cases", bench).taken.new == 1
    once = everything(book)
    assert keep_closed(book, tmp_path / "cases", bench).taken.new == 0
    assert everything(book) == once
    (kept,) = once["cases"]
    assert (kept["name"], kept["how"], kept["confirmed"], kept["kind"]) == (log.state.case, "found", "retest", "helicopter")
    assert [row["cause"] for row in once["causes_found"]] == ["bolts-loose"]
    assert {row["finding"]: row["answer"] for row in once["case_findings"]} == log.state.answers
    assert once["proofs"][0]["says"] == "Gone in every retest: Restrained run."


def test_the_book_keeps_bolts_as_they_were_found_and_not_as_they_were_after_the_repair(
    bench: Knowledge, book: Book, tmp_path: Path
) -> None:
    with CaseLog.create(tmp_path / "cases", clock=lambda: DEMO_CLOCK) as log:
        log.append("answer", finding="machine", answer="helicopter")
        log.append("answer", finding="bolts", answer="loose")
        log.append("answer", finding="idle", answer="hunts")
        log.append("fixed", cause="bolts-loose")
        log.append("repair", cause="bolts-loose", result="gone", proof="a restrained run")
        log.append("answer", finding="bolts", answer="tight")
        log.append("answer", finding="starts", answer="easily")
        log.append("closed", how="found", causes=["bolts-loose"])
    keep_closed(book, tmp_path / "cases", bench)
    kept = {row["finding"]: row["answer"] for row in everything(book)["case_findings"]}
    assert kept == {"machine": "helicopter", "bolts": "loose", "idle": "hunts", "starts": "easily"}


def test_needles_notes_and_numbers_of_a_case_stand_in_its_machines_history(
    bench: Knowledge, book: Book, tmp_path: Path
) -> None:
    with CaseLog.create(tmp_path / "cases", clock=lambda: DEMO_CLOCK) as log:
        log.append("machine", name="Grey Heli")
        log.append("answer", finding="machine", answer="helicopter")
        log.append("answer", finding="head-temperature", answer="normal", reading="212 F")
        log.append("needle", needle="H", sixteenths=20, moved=False)
        log.append("needle", needle="H", sixteenths=2, moved=True)
        log.append("note", text="came off last month")
        log.append("closed", how="undecided", causes=[])
    keep_closed(book, tmp_path / "cases", bench)
    rows = everything(book)
    (grey,) = rows["machines"]
    assert (grey["name"], grey["kind"]) == ("Grey Heli", "helicopter")
    assert {row["machine"] for table in ("cases", "settings", "notes") for row in rows[table]} == {grey["uid"]}
    assert [(row["h_sixteenths"], row["l_sixteenths"]) for row in rows["settings"]] == [(22, None)]
    (heat,) = [row for row in rows["case_findings"] if row["finding"] == "head-temperature"]
    assert heat["reading"] == "212 F"
    assert heat["value"] == pytest.approx(100.0)


def test_a_case_still_open_stays_out_and_is_listed(
    base: Knowledge, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    replies = iter(["it hunts at idle", None])
    walk_with(base, lambda _: next(replies), tmp_path)
    assert main(["--data", str(tmp_path), "book"]) == WELL
    said = capsys.readouterr().out
    assert "nothing in it yet" in said
    assert "still open: 2026-05-01-1: it hunts at idle" in said


# What travels in files comes back the same.


@pytest.mark.parametrize("kind", ["json", "csv"])
def test_a_book_written_to_files_and_read_again_is_the_same_book(book: Book, tmp_path: Path, kind: str) -> None:
    small_club(book)
    fill(
        book,
        {"notes": [{"uid": "0" * 20, "machine": machine("Grey")["uid"], "at": EARLY, "text": "=1+1", "changed": EARLY}]},
    )
    path = tmp_path / f"carried.{kind}"
    (write_json if kind == "json" else write_csv)(book, path)
    with open_book(str(tmp_path / "second.sqlite"), make=True) as second:
        assert read_into(second, path).new > 0
        assert everything(second) == everything(book)
        assert read_into(second, path).new == 0
        assert everything(second) == everything(book)


def test_a_table_never_begins_a_cell_with_what_a_spreadsheet_runs(book: Book, tmp_path: Path) -> None:
    fill(book, {"owners": [owner("=HYPERLINK(1)")]})
    write_csv(book, tmp_path)
    assert ",'=HYPERLINK(1)," in (tmp_path / "owners.csv").read_text()


def test_cases_go_out_as_case_files_that_rank_reads_and_come_back_as_the_same_cases(
    base: Knowledge, book: Book, tmp_path: Path
) -> None:
    small_club(book)
    assert write_cases(book, tmp_path / "out", base) == 3
    files = sorted((tmp_path / "out").glob("*.yaml"))
    assert read_case(files[0], base).first_three == ("carb-bolts-loose",)
    assert "Kestrel" not in "".join(file.read_text() for file in files)
    assert "it hunts" not in "".join(file.read_text() for file in files)
    before = everything(book)
    assert read_cases(book, files, base).new == 0
    assert everything(book) == before
    with open_book(str(tmp_path / "second.sqlite"), make=True) as second:
        assert read_cases(second, files, base).new == 3
        assert read_cases(second, files, base).new == 0
        assert [row["cause"] for row in everything(second)["causes_found"]].count("carb-bolts-loose") == 2


@pytest.mark.parametrize("at", ["yesterday", "0001-01-01", "0001-01-01T00:00+14:00", "9999-12-31T23:00-10:00"])
def test_a_day_that_is_none_everywhere_is_refused_in_one_line(at: str) -> None:
    """The first day of the calendar lies before it a few hours further east."""
    with pytest.raises(BookTrouble, match=f"'{re.escape(at)}' is no day or time; write 2026-05-01"):
        when(at)


def test_everything_wrong_in_a_file_is_said_with_its_place_and_nothing_is_taken_in(book: Book, tmp_path: Path) -> None:
    table = tmp_path / "settings.csv"
    table.write_text(
        "machine,at,h_sixteenths,colour\nGrey,2026-05-01,many,red\nGrey,yesterday,20,blue\nGrey,2026-05-01,20\n"
    )
    with pytest.raises(FaultyFiles) as faulty:
        read_into(book, table)
    said = [re.sub(r"^.*/", "", str(problem)) for problem in faulty.value.problems]
    assert said[:2] == [
        "settings.csv:2:3: 'h_sixteenths': 'many' is no number",
        "settings.csv:2:4: 'settings' has no column 'colour'",
    ]
    assert "settings.csv:3:2: 'at': 'yesterday' is no time; write it as 2026-05-01T10:00:00+02:00" in said
    assert "settings.csv:4:1: has 3 cells under 4 columns" in said
    assert everything(book) == {}


def test_a_row_that_points_to_nothing_is_said_with_its_line(book: Book, tmp_path: Path) -> None:
    document = tmp_path / "book.json"
    rows = [{"table": "machines", "name": "Grey"}, {"table": "notes", "machine": "Blue", "at": "2026-05-01", "text": "x"}]
    lines = ",\n".join(json.dumps(row) for row in rows)
    document.write_text('{"format": "diagnose-book", "version": 1, "rows": [\n' + lines + "\n]}")
    with pytest.raises(FaultyFiles, match=r"book.json:3:1: 'machine' points to none of the machines here or in the book"):
        read_into(book, document)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "book.json:1:2: is no JSON"),
        ("[]", "is no book"),
        ('{"format": "diagnose-book", "version": 9, "rows": []}', "newer version"),
        ('{"format": "diagnose-book", "version": 1, "rows": [\n3]}', "book.json:2:1: a row is"),
        ('{"format": "diagnose-book", "version": 1, "rows": [\n {"table": "machine"}]}', "did you mean 'machines'"),
        ('{"format": "diagnose-book", "version": 1, "rows": [{"table":"owners","call_sign":"\\u001b[2J"}]}', "control"),
    ],
)
def test_a_document_that_is_no_book_is_refused_in_one_line(book: Book, tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "book.json"
    path.write_text(text)
    with pytest.raises(FaultyFiles, match=re.escape(says)) as faulty:
        read_into(book, path)
    assert "\x1b" not in str(faulty.value)


# Corrections, removal, merging.


def test_a_correction_wins_and_what_stood_there_is_kept(base: Knowledge, book: Book) -> None:
    small_club(book)
    with book.writing() as connection:
        correct(connection, base, "case", "2026-06-01-2", {"cause": "a mouse in the tank", "minutes": "12"})
    with book.reading() as connection:
        found, _ = asking.search(connection, asking.Sought(words=("mouse",)))
        kept = {row.of_column: (row.was, row.became) for row in connection.execute(select(corrections))}
    assert [one.name for one in found] == ["2026-06-01-2"]
    assert kept == {"cause": ("plug-fouled", "a mouse in the tank"), "minutes": ("30.0", "12.0")}


def test_a_field_that_cannot_be_corrected_is_said_with_what_was_meant(base: Knowledge, book: Book) -> None:
    small_club(book)
    with (
        pytest.raises(BookTrouble, match="a case has no 'causes' to correct; did you mean 'cause'"),
        book.writing() as connection,
    ):
        correct(connection, base, "case", "2026-06-01-2", {"causes": "x"})
    with pytest.raises(BookTrouble, match="did you mean 'plug-fouled'"), book.writing() as connection:
        correct(connection, base, "case", "2026-06-01-2", {"cause": "plug-fould"})
    with pytest.raises(BookTrouble, match="no machine is called 'Gray'"), book.writing() as connection:
        correct(connection, base, "machine", "Gray", {"kind": "helicopter"})


def test_merged_books_hold_everything_once_whichever_way_and_the_later_correction(base: Knowledge, tmp_path: Path) -> None:
    with open_book(str(tmp_path / "a"), make=True) as a, open_book(str(tmp_path / "b"), make=True) as b:
        small_club(a)
        small_club(b)
        fill(b, case(4, "plug-fouled", "Red"))
        with a.writing() as connection:
            correct(connection, base, "case", "2026-05-01-1", {"minutes": "10"})
        with b.writing() as connection:
            correct(connection, base, "case", "2026-05-01-1", {"minutes": "20"})
        merge(a, b)
        merge(b, a)
        assert everything(a)["cases"] == everything(b)["cases"]
        assert len(everything(a)["cases"]) == 4
        assert {row["minutes"] for row in everything(a)["cases"] if row["name"] == "2026-05-01-1"} == {20.0}
        assert {row["became"] for row in everything(a)["corrections"]} >= {"10.0", "20.0"}
        before = everything(a)
        assert merge(a, b).new == 0
        assert everything(a) == before


def test_a_machine_renamed_on_one_laptop_is_still_one_machine_after_merging(base: Knowledge, tmp_path: Path) -> None:
    with open_book(str(tmp_path / "a"), make=True) as a, open_book(str(tmp_path / "b"), make=True) as b:
        fill(a, {"machines": [machine("Grey")]})
        with a.writing() as connection:
            correct(connection, base, "machine", "Grey", {"name": "Silver"})
        fill(b, {"machines": [machine("Silver")]}, case(1, "plug-fouled", "Silver"))
        merge(a, b)
        rows = everything(a)
        assert [row["name"] for row in rows["machines"]] == ["Silver"]
        assert rows["cases"][0]["machine"] == rows["machines"][0]["uid"]


def test_a_person_who_asks_is_gone_for_good_and_the_others_stay(bench: Knowledge, place: str, tmp_path: Path) -> None:
    folder, reports = tmp_path / "cases", tmp_path / "reports"
    walk_with(bench, loose_bolts(bench, "Kestrels engine surges at idle"), tmp_path)
    copy = tmp_path / "other"
    with open_book(place, make=True) as book:
        small_club(book)
        keep_closed(book, folder, bench)
        with book.writing() as connection:
            uid = connection.scalar(select(cases.c.uid).where(cases.c.words.contains("Kestrels")))
            correct(connection, bench, "case", str(uid)[:8], {"machine": "Grey"})
        with open_book(str(copy), make=True) as other:
            merge(other, book)
        gone = remove_owner(book, owner("Kestrel")["uid"], folder, reports)
        assert gone.files == 3
        assert list(folder.glob("*")) == [] and list(reports.glob("*")) == []
        rows = everything(book)
        assert [row["call_sign"] for row in rows["owners"]] == ["Plover"]
        assert [row["name"] for row in rows["cases"]] == ["2026-06-02-3"]
        assert "Kestrel" not in str(rows)
        with open_book(str(copy)) as other:
            assert merge(book, other).kept_out > 0
            assert "Kestrel" not in str(everything(book))
            assert merge(other, book).taken_out > 0
            assert "Kestrel" not in str(everything(other))
    if "://" not in place:
        assert not any(b"Kestrel" in path.read_bytes() for path in Path(place).parent.glob("book.sqlite*"))


def test_a_person_who_asks_leaves_no_open_case_no_set_up_and_no_report_of_a_machine(book: Book, tmp_path: Path) -> None:
    folder, reports = tmp_path / "cases", tmp_path / "reports"
    small_club(book)
    with CaseLog.create(folder) as set_up:
        set_up.append("set-up")
        set_up.append("note", text="Kestrels new engine")
    with CaseLog.create(folder) as opened:
        opened.append("carried", setup=set_up.path.stem, answers={}, counts={}, steps={})
        opened.append("machine", name="grey")
        opened.append("words", text="Kestrel says it hunts")
    with CaseLog.create(folder) as other:
        other.append("machine", name="Red")
    (folder / "2026-05-01-77.jsonl").write_text("{}\n")
    reports.mkdir()
    uids = {name: machine(name)["uid"][:6] for name in ("Grey", "Red")}
    theirs = [f"machine-{uids['Grey']}", set_up.path.stem, opened.path.stem]
    for stem in theirs:
        for ending in (".md", ".html", ".pdf", "-workshop.md"):
            (reports / f"{stem}{ending}").write_text("Kestrel")
    (reports / f"machine-{uids['Red']}.md").write_text("Plover")
    (reports / f"{other.path.stem}.md").write_text("Plover")
    gone = remove_owner(book, owner("Kestrel")["uid"], folder, reports)
    assert gone.files == 2 + 4 * len(theirs)
    assert {path.name for path in reports.iterdir()} == {f"machine-{uids['Red']}.md", f"{other.path.stem}.md"}
    assert {path.name for path in folder.iterdir()} == {other.path.name, "2026-05-01-77.jsonl"}
    assert gone.unread == (folder / "2026-05-01-77.jsonl",)


def test_search_finds_by_words_cause_machine_and_time(book: Book) -> None:
    small_club(book)
    with book.reading() as connection:

        def names(**sought: object) -> list[str]:
            return [one.name for one in asking.search(connection, asking.Sought(**sought))[0]]  # type: ignore[arg-type]

        assert names(cause="carb-bolts-loose") == ["2026-06-02-3", "2026-05-01-1"]
        assert names(machine="grey", words=("HUNTS",)) == ["2026-06-01-2", "2026-05-01-1"]
        assert names(words=("plug", "grey")) == ["2026-06-01-2"]
        assert names(since="2026-05-02", until="2026-06-01") == ["2026-06-01-2"]
        assert names(words=("100%",)) == []
        assert asking.search(connection, asking.Sought(), most=2)[1] == 3


# The tables.


def test_every_table_and_column_says_what_it_holds(book: Book) -> None:
    for table in TABLES.sorted_tables:
        assert table.comment, table.name
        assert [column.name for column in table.columns if not column.comment] == [], table.name
    if book.file is None:  # a file has no room for comments; a server keeps them
        there = MetaData()
        with book.reading() as connection:
            there.reflect(connection)
        assert {c.comment for t in there.sorted_tables for c in t.columns} == {
            c.comment for t in TABLES.sorted_tables for c in t.columns
        }


def test_no_row_points_to_nothing(book: Book) -> None:
    with pytest.raises(BookTrouble, match=r"(?i)foreign key"):
        fill(book, case(1, "plug-fouled", "A machine nobody entered"))
    assert everything(book) == {}
