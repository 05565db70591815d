"""What the book draws and prints: plots, a machine's history, and a page for the workshop without personal data."""

import re
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest
from books import EARLY, case, fill, machine, owner

from diagnose.book.access import Book, open_book
from diagnose.book.charts import CHARTS
from diagnose.book.entries import add_setting, known
from diagnose.book.history import history_of
from diagnose.book.machine_report import for_the_workshop, machine_report, write_machine_report
from diagnose.book.places import BookTrouble
from diagnose.book.rows import uid_of
from diagnose.book.schema import machines
from diagnose.case.state import CaseState, Closing, Given, RepairDone
from diagnose.cli import WELL, main
from diagnose.drawing.chart import Chart
from diagnose.drawing.terminal import draw
from diagnose.knowledge.model import Knowledge
from diagnose.planning.examine import examine
from diagnose.planning.proof import proved_by
from diagnose.report.fault_report import fault_report
from diagnose.report.fault_report import for_the_workshop as case_for_the_workshop
from diagnose.report.files import write_pdf


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    """An invented machine through a summer: three settings, four cases, a note with a name in it."""
    book = open_book(str(tmp_path / "book.sqlite"), make=True)
    note = {"uid": "a" * 20, "machine": machine("Grey")["uid"], "at": EARLY, "text": "lent to Plover", "changed": EARLY}
    fill(book, {"owners": [owner("Kestrel")], "machines": [machine("Grey", "Kestrel")], "notes": [note]})
    for number, (cause, closed) in enumerate(
        (("bolts-loose", "2026-05-01"), ("bolts-loose", "2026-05-20"), ("plug-dead", "2026-07-01")), 1
    ):
        fill(book, case(number, cause, "Grey", closed=closed))
    fill(book, case(4, "the mouse of Plover in the tank", "Grey", closed="2026-07-02"))
    with book.writing() as connection:
        for h, temperature, head, at in (
            (20, 15.0, 120.0, "2026-05-01"),
            (21, 30.0, 135.0, "2026-07-10"),
            (19, 0.0, None, "2026-11-01"),
        ):
            values = {
                "h_sixteenths": h, "l_sixteenths": 22, "temperature_c": temperature, "pressure_hpa": 1013.25,
                "humidity_percent": 0.0, "head_temperature_c": head, "remark": "as Plover had it", "hours": 10.0,
            }  # fmt: skip
            add_setting(connection, "Grey", values, at)
    yield book
    book.close()


def drawn(book: Book, knowledge: Knowledge, what: str, named: str | None = "Grey") -> tuple[Chart, ...]:
    with book.reading() as connection:
        row = known(connection, machines, named) if named else None
        return CHARTS[what](connection, knowledge, row)


def test_needles_stand_against_the_density_altitude_of_their_day(book: Book, bench: Knowledge) -> None:
    """Dry air at 15 C and 1013.25 hPa is the standard atmosphere at sea level: ISO 2533:1975, 0 m, 1.225 kg/m3."""
    against, over_days, _ = drawn(book, bench, "needles")
    h = next(trace for trace in against.traces if trace.name == "H")
    assert h.y == pytest.approx([20 / 16, 21 / 16, 19 / 16])
    assert h.x[0] == pytest.approx(0, abs=5)
    assert h.x[1] > 400 and h.x[2] < -400
    assert over_days.traces[0].x == [0.0, 70.0, 184.0]


def test_faults_are_counted_by_cause_and_month(book: Book, bench: Knowledge) -> None:
    (chart,) = drawn(book, bench, "faults", None)
    by_name = {trace.name: list(trace.y) for trace in chart.traces}
    assert chart.x.label == "months since 2026-05"
    assert by_name[str(bench.causes["bolts-loose"].name)] == [2, 0, 0]
    assert sum(sum(counts) for counts in by_name.values()) == 4


def test_head_temperatures_come_from_settings_and_cases(book: Book, bench: Knowledge) -> None:
    heat = {"case": case(3, "x", closed="2026-07-01")["cases"][0]["uid"], "finding": "head-temperature"}
    with book.writing() as connection:
        from sqlalchemy import insert

        from diagnose.book.schema import case_findings

        connection.execute(insert(case_findings).values(**heat, answer="hot", reading="200 C", value=200.0))
    (chart,) = drawn(book, bench, "heat")
    assert {trace.name: list(trace.y) for trace in chart.traces} == {
        "with a setting": [120.0, 135.0],
        "during a fault": [200.0],
    }


def test_minutes_to_the_cause_are_the_middle_case_of_each_month(book: Book, bench: Knowledge) -> None:
    for number, minutes in ((10, 10.0), (11, 20.0), (12, 90.0)):
        rows = case(number, "plug-dead", "Grey", closed="2026-09-09")
        rows["cases"][0]["minutes"] = minutes  # type: ignore[index]
        fill(book, rows)
    (chart,) = drawn(book, bench, "minutes", None)
    assert list(chart.traces[0].y) == [30.0, 30.0, 20.0]
    assert list(chart.traces[1].y) == [30.0, 30.0, 90.0]


@pytest.mark.parametrize("width", [40, 80])
def test_every_plot_fits_the_screen(book: Book, bench: Knowledge, width: int) -> None:
    for what in CHARTS:
        for chart in drawn(book, bench, what):
            assert max(map(len, draw(chart, width))) <= width


def test_what_cannot_be_drawn_is_said(bench: Knowledge, tmp_path: Path) -> None:
    with open_book(str(tmp_path / "empty"), make=True) as empty:
        fill(empty, {"machines": [machine("Grey")]})
        for what, says in (
            ("needles", "no needle setting"),
            ("faults", "nothing to draw"),
            ("heat", "no head"),
            ("minutes", "nothing"),
        ):
            with pytest.raises(BookTrouble, match=says):
                drawn(empty, bench, what)
        with pytest.raises(BookTrouble, match="--machine NAME"):
            drawn(empty, bench, "needles", None)


def test_pictures_are_written_and_one_with_another_ending_is_refused(
    book: Book, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["--data", str(tmp_path), "book", "plot", "needles", "--machine", "grey", "-o"]
    assert main([*arguments, str(tmp_path / "n.svg")]) == WELL
    assert (tmp_path / "n-1.svg").read_text().startswith("<svg")
    assert main([*arguments, str(tmp_path / "n.gif")]) != WELL
    assert ".svg or .png" in capsys.readouterr().err


# On paper.


def test_a_machines_history_is_on_one_page_in_three_forms(book: Book, bench: Knowledge, tmp_path: Path) -> None:
    with book.reading() as connection:
        history = history_of(connection, "grey", "2026")
        assert history is not None
        report = machine_report(connection, bench, history)
    markdown, html, pdf = write_machine_report(tmp_path / "out", "grey", report)
    for path in (markdown, html):
        text = path.read_text()
        assert "Kestrel" in text and "1 5/16 turns" in text and "lent to Plover" in text
        assert str(bench.causes["bolts-loose"].name) in text
        assert "twice this season" in text
        assert "no needle is closed on the word of this page" in text
    assert html.read_text().count("<svg") == 4
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert pdf.read_bytes().count(b"/Subtype /Image") >= 4


def test_the_workshops_page_holds_nothing_a_person_typed(book: Book, bench: Knowledge, tmp_path: Path) -> None:
    with book.reading() as connection:
        history = history_of(connection, "grey", "2026")
        assert history is not None
        report = for_the_workshop(machine_report(connection, bench, history), bench, history)
    paths = write_machine_report(tmp_path / "out", "grey", report)
    said = str(asdict(report)) + paths[0].read_text() + paths[1].read_text()
    assert not re.search("Kestrel|Plover|Grey|hunts|steady idle", said)
    assert str(bench.causes["bolts-loose"].name) in said
    assert "found; not in these rules" in said
    assert "1 5/16 turns" in said


def test_on_the_workshops_page_of_a_machine_a_proof_by_retests_stays_too(book: Book, bench: Knowledge) -> None:
    """The machine had two faults at once: one was proved by the retests, of the other somebody said how."""
    retested = proved_by(bench.retests.values())
    said = {"bolts-loose": retested, "plug-dead": "Kestrel flew it"}
    uid = uid_of("case", "7")
    both = case(7, "bolts-loose", "Grey", closed="2026-08-01")
    both["causes_found"] = [{"case": uid, "place": n, "cause": cause} for n, cause in enumerate(said, 1)]
    both["proofs"] = [
        {"case": uid, "place": n, "cause": cause, "says": says, "at": EARLY}
        for n, (cause, says) in enumerate(said.items(), 1)
    ]
    fill(book, both)
    with book.reading() as connection:
        history = history_of(connection, "grey", "2026")
        assert history is not None
        report = machine_report(connection, bench, history)
    assert report.cases[0].proofs == (retested, "Kestrel flew it")
    assert for_the_workshop(report, bench, history).cases[0].proofs == (retested,)


def test_for_the_workshop_a_proof_by_retests_stays_and_one_in_own_words_goes(bench: Knowledge) -> None:
    retested = proved_by(bench.retests.values())
    timed = proved_by(bench.retests.values(), dict.fromkeys(bench.retests, 12.0))
    assert "(12 minutes)" in timed
    own_words = (f"{retested} Ask Kestrel.", "Kestrel flew it.")
    for proof, kept in ((retested, (retested,)), (timed, (timed,)), *((words, ()) for words in own_words)):
        state = CaseState(repairs=(RepairDone("bolts-loose", "gone", "2026-05-01T10:30:00+02:00", proof),))
        report = fault_report(bench, state, examine(bench, state), "diagnose")
        assert case_for_the_workshop(report, bench, state).proof == kept


def test_a_fault_report_for_the_workshop_keeps_the_facts_and_drops_the_words(bench: Knowledge, tmp_path: Path) -> None:
    cause = bench.causes["bolts-loose"]
    state = CaseState(
        case="2026-05-01-1",
        opened="2026-05-01T10:00:00+02:00",
        words=("Kestrel says it surges",),
        findings={"idle": Given("hunts"), "machine": Given("helicopter")},
        notes=(("2026-05-01T10:00:00+02:00", "ring Kestrel"),),
        repairs=(RepairDone("bolts-loose", "gone", "2026-05-01T10:30:00+02:00", "Kestrel flew it"),),
        closing=Closing("found", ("bolts-loose",), "2026-05-01T10:40:00+02:00"),
    )
    report = fault_report(bench, state, examine(bench, state), "diagnose")
    page = case_for_the_workshop(report, bench, state)
    assert "Kestrel" in str(report)
    assert "Kestrel" not in str(page)
    assert str(cause.name) in page.outcome
    assert page.findings == report.findings
    own_words = CaseState(case="x", opened=EARLY, closing=Closing("found", ("Kestrel's mouse",), EARLY))
    bare = case_for_the_workshop(fault_report(bench, own_words, examine(bench, own_words), ""), bench, own_words)
    assert "Kestrel" not in str(bare)


def test_the_pdf_of_a_case_is_the_same_bytes_every_time_and_holds_any_alphabet(bench: Knowledge, tmp_path: Path) -> None:
    state = CaseState(case="2026-05-01-1", opened="2026-05-01T10:00:00+02:00", words=("<b>дрожит</b> & Größe \U0001f600",))
    report = fault_report(bench, state, examine(bench, state), "diagnose")
    first = write_pdf(tmp_path, "a", report).read_bytes()
    assert write_pdf(tmp_path, "b", report).read_bytes() == first
    assert first.startswith(b"%PDF-")
