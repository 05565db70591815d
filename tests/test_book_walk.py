"""A walk with the book: it starts with the machine's history, says what the club has seen, and never gets in the way."""

import io
import re
from pathlib import Path

import pytest
from books import case, fill, machine, owner

from diagnose.book.access import open_book
from diagnose.book.asking import FoundCase
from diagnose.book.entries import add_setting
from diagnose.book.history import Recurring, closing_line, how_often, recurring
from diagnose.cli import WELL, main
from diagnose.knowledge.model import Knowledge


def walked(
    data: Path, typed: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *options: str
) -> str:
    """What a walk says when this is typed, a line each."""
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    assert main(["--data", str(data), "--plain", "--new", *options]) == WELL
    return capsys.readouterr().out


@pytest.fixture
def club(tmp_path: Path) -> Path:
    """An invented club with a machine whose bolts came loose twice this year, and seven cases of others."""
    from datetime import datetime

    year = str(datetime.now().year)
    with open_book(str(tmp_path / "book.sqlite"), make=True) as book:
        setting = {
            "uid": "5" * 20, "machine": machine("Grey Heli")["uid"], "at": f"{year}-08-01", "h_sixteenths": 20,
            "l_sixteenths": 22, "hours": 12.0, "temperature_c": 21.1, "changed": "x",
        }  # fmt: skip
        fill(book, {"owners": [owner("Kestrel")], "machines": [machine("Grey Heli", "Kestrel")], "settings": [setting]})
        for number, (cause, month) in enumerate(
            (("carb-bolts-loose", "05"), ("carb-bolts-loose", "06"), ("plug-fouled", "07"))
        ):
            fill(book, case(number, cause, "Grey Heli", closed=f"{year}-{month}-01"))
        for number in range(10, 17):
            fill(book, case(number, "metering-vent-in-wash", closed=f"{year}-03-{number}"))
    return tmp_path


def test_a_walk_on_a_known_machine_starts_with_its_history(
    club: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = walked(club, "1\nit hunts\n", monkeypatch, capsys)
    assert "Which machine is it?" in said
    assert "Grey Heli, helicopter, of Kestrel; 12 hours on the engine." in said
    assert "H 1 1/4 turns, L 1 3/8 turns, 21 C." in said
    assert "07-01: Plug fouled" in said
    assert "Comes back: Carburettor bolts have worked loose, twice this season." in said
    assert said.index("Grey Heli, helicopter") < said.index("in the owner's words")
    assert "What is the engine in?" not in said


def test_the_option_names_the_machine_and_nothing_is_asked(
    club: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = walked(club, "it hunts\n", monkeypatch, capsys, "--machine", "grey heli")
    assert "Which machine" not in said
    assert "Grey Heli, helicopter, of Kestrel" in said


def test_the_walk_says_what_the_club_has_seen_and_how_much_that_moved_it(
    club: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = "1\nidle goes up and down, needle does nothing\n1 2\nhow carb-bolts-loose\nhow metering-vent-in-wash\n"
    said = " ".join(walked(club, typed, monkeypatch, capsys).split())
    bolts = re.search(r"([x/] [\d.]+): seen twice in this club, twice on this machine", said)
    vent = re.search(r"([x/] [\d.]+): seen seven times in this club", said)
    assert bolts and vent
    assert bolts[1].startswith("x") and vent[1].startswith("x")
    without = " ".join(walked(club, typed, monkeypatch, capsys, "--no-book").split())
    assert "in this club" not in without


def test_a_fault_that_comes_back_is_pointed_out_when_the_case_is_kept(
    club: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = walked(club, "1\nit hunts\nnone\nfound carb-bolts-loose\n1\n?\n", monkeypatch, capsys)
    assert "Kept in the book." in said
    assert "confirmed=person" in said
    assert "Carburettor bolts have worked loose: the third time this season on Grey Heli." in said
    report = next((club / "reports").glob("*.md")).read_text()
    assert "10 confirmed cases of this club moved the odds above" in report
    assert "--no-book leaves them out" in report


def test_without_a_book_nothing_is_asked_shown_or_loaded_and_the_case_begins_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = walked(tmp_path, "it hunts\nnone\n", monkeypatch, capsys)
    assert "Which machine" not in said
    assert not (tmp_path / "book.sqlite").exists()
    said = walked(tmp_path, "it hunts\nnone\nfound a mouse in the tank\n1\n?\n", monkeypatch, capsys, "--machine", "Grey")
    assert "Kept in the book." in said
    assert (tmp_path / "book.sqlite").exists()
    assert "Which machine is it?" in walked(tmp_path, "\nit hunts\n", monkeypatch, capsys)


def test_a_damaged_book_is_said_once_and_the_walk_goes_on_without_it(
    club: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (club / "book.sqlite").write_bytes(b"no book at all " * 100)
    said = " ".join(walked(club, "it hunts\nnone\nfound carb-bolts-loose\n1\n?\n", monkeypatch, capsys).split())
    assert said.count("Without the book:") == 1
    assert "is damaged; bring the last copy back with: diagnose book restore" in said
    assert "Closed: Carburettor bolts have worked loose." in said


def found_case(cause: str, closed: str) -> FoundCase:
    return FoundCase("0" * 20, "x", closed, "Grey", "found", "retest", None, (cause,), "")


def test_how_often_a_fault_comes_back_is_said_as_people_say_it(base: Knowledge) -> None:
    several = [found_case("plug-fouled", day) for day in ("2025-05-01", "2026-05-01", "2026-06-01", "2026-07-01")]
    assert recurring([*several, found_case("metering-vent-in-wash", "2026-01-01")], "2026") == (
        Recurring("plug-fouled", 4, 3),
    )
    assert how_often(Recurring("plug-fouled", 4, 3)) == "four times so far, three times this season"
    assert how_often(Recurring("plug-fouled", 3, 3)) == "three times this season"
    assert "the third time this season on Grey" in closing_line(Recurring("plug-fouled", 4, 3), base, "Grey")
    assert "the 22nd time on Grey" in closing_line(Recurring("plug-fouled", 22, 1), base, "Grey")


def test_the_air_since_the_last_setting_is_told_in_one_line(
    club: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From 21 C at 980 hPa to 1 C at the same pressure: 294.25 / 274.15 = 1.073 times as dense, damp aside."""
    with open_book(str(club / "book.sqlite")) as book, book.writing() as connection:
        add_setting(
            connection, "Grey Heli", {"h_sixteenths": 21, "temperature_c": 21.1, "pressure_hpa": 980.0}, "2026-08-02"
        )
    said = " ".join(walked(club, "1\nwarm\n1 C 980 hPa\nit hunts\n", monkeypatch, capsys).split())
    assert "'warm' has no unit" in said
    change = re.search(r"Density since then: \+([\d.]+) %", said)
    assert change and 6.8 < float(change[1]) < 8.5
    assert re.search(r"runs [\d.]+ to [\d.]+ % leaner than when it was set", said)
    log = next((club / "cases").glob("*.jsonl")).read_text()
    assert '"calculator": "air"' in log
    assert '"air-compared", "answer": "denser"' in log
    assert "WARNING" in said or "DANGER" in said
    plain = walked(club, "1\n\nit hunts\n", monkeypatch, capsys)
    assert "Density since then" not in plain
