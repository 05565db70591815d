"""Numbers with units, and needles counted in turns and sixteenths."""

import math

import pytest

from diagnose.case.ledger import NeedleEntry, NotAMove, check_entry, stands, weakens
from diagnose.case.readings import NotAReading, convert, parse_reading, parse_turns, turns
from diagnose.knowledge.model import Measure
from diagnose.knowledge.source import Place, Text

HERE = Place("test")


def measure(kind: str, unit: str, least: float = -1e5, most: float = 1e5) -> Measure:
    return Measure(Text(kind, HERE), Text(unit, HERE), least, most)


@pytest.mark.parametrize(
    ("text", "kind", "unit", "value"),
    [
        ("212 F", "temperature", "degC", 100.0),
        ("212°F", "temperature", "degC", 100.0),
        ("100", "temperature", "degC", 100.0),
        ("-40 degrees F", "temperature", "degC", -40.0),
        ("1 1/4", "turns", "turn", 1.25),
        ("1,25 turns", "turns", "turn", 1.25),
        ("3/8", "turns", "turn", 0.375),
        ("14.5 krpm", "speed", "rpm", 14_500.0),
        ("25 Hz", "speed", "rpm", 1_500.0),  # turns a second, never radians
        ("29.92 inHg", "pressure", "hectopascal", 29.92 * 33.8638864034),
        ("500 ft", "length", "metre", 152.4),
        ("8.2:1", "plain", "", 8.2),
        ("1013,25 mbar", "pressure", "hectopascal", 1_013.25),
        ("2 mile", "length", "metre", 3_218.688),
        ("3 C/min", "slope", "delta_degC/second", 0.05),
        ("90 s", "time", "minute", 1.5),
        ("30 %", "percent", "percent", 30.0),
    ],
)
def test_a_number_is_understood_in_the_unit_it_was_given(text: str, kind: str, unit: str, value: float) -> None:
    assert math.isclose(parse_reading(text, measure(kind, unit)).value, value, rel_tol=1e-9, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (
            1.0,
            "inch_Hg",
            "pascal",
            3386.389,
        ),  # NIST SP 811 (2008), Appendix B.8, inch of mercury, seen reprinted
        (1.0, "psi", "pascal", 6894.757),  # NIST SP 811 (2008), Appendix B.8, psi; from memory
        (32.0, "degF", "degC", 0.0),  # NIST SP 811 (2008), Appendix B.8, degree Fahrenheit; from memory
        (1.0, "foot", "metre", 0.3048),  # exact by definition; NIST SP 811 (2008), Appendix B.8; from memory
    ],
)
def test_conversions_agree_with_published_factors(value: float, unit: str, to: str, expected: float) -> None:
    assert math.isclose(convert(value, unit, to), expected, rel_tol=1e-6, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hot", "'hot' is not a number"),
        ("3 bananas", "'bananas' is no unit of temperature"),
        ("900 C", "900 C cannot be"),
        ("30 degC**9", "is no unit of temperature"),
        ("1/0", "divides by nothing"),
        ("9" * 400, "is not a number"),
        ("", "is not a number"),
    ],
)
def test_an_impossible_number_gets_one_clear_line(text: str, says: str) -> None:
    with pytest.raises(NotAReading) as error:
        parse_reading(text, measure("temperature", "degC", -30, 400))
    assert says in str(error.value)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("4 or 5", 5), ("4-5 min", 5), ("about ten minutes", 10), ("1 or 2 hours", 120), ("twenty", 20), ("600 s", 10)],
)
def test_a_time_is_understood_as_people_say_it_and_of_two_the_longer(text: str, minutes: float) -> None:
    assert parse_reading(text, measure("time", "minute")).value == minutes


def test_what_was_given_is_kept_as_given() -> None:
    assert parse_reading("212  F", measure("temperature", "degC")).given == "212 F"
    assert parse_reading("100", measure("temperature", "degC")).given == "100 degrees C"


@pytest.mark.parametrize(
    ("text", "sixteenths", "moved"),
    [
        ("1 1/4", 20, False),
        ("+1/8", 2, True),
        ("-1/16", -1, True),
        ("0", 0, False),
        ("2 turns", 32, False),
        ("1.5", 24, False),
    ],
)
def test_needles_are_counted_in_sixteenths_of_a_turn(text: str, sixteenths: int, moved: bool) -> None:
    assert parse_turns(text) == (sixteenths, moved)


@pytest.mark.parametrize("text", ["1/8 out", "1/8 in", "1 1/4 out"])
def test_a_move_said_without_its_sign_is_not_taken_for_a_count(text: str) -> None:
    with pytest.raises(NotAReading, match="a move such as"):
        parse_turns(text)


def test_a_count_between_two_sixteenths_is_refused_with_the_nearest() -> None:
    with pytest.raises(NotAReading, match="nearest is 1 5/16"):
        parse_turns("1.3")


@pytest.mark.parametrize(
    ("sixteenths", "said"), [(20, "1 1/4 turns"), (16, "1 turn"), (2, "1/8 turn"), (0, "0 turn"), (-1, "-1/16 turn")]
)
def test_counts_are_said_as_people_say_them(sixteenths: int, said: str) -> None:
    assert turns(sixteenths) == said


def count(sixteenths: int) -> NeedleEntry:
    return NeedleEntry("H", sixteenths, moved=False)


def move(sixteenths: int) -> NeedleEntry:
    return NeedleEntry("H", sixteenths, moved=True)


def test_the_first_count_is_the_baseline_and_moves_add_up() -> None:
    place = stands([count(20), move(2), move(-1)], "H")
    assert place is not None
    assert (place.baseline, place.now, place.moved_by) == (20, 21, 1)
    assert place.way_back() == "1/16 turn in to its baseline of 1 1/4 turns"


def test_a_needle_never_counted_cannot_be_moved() -> None:
    with pytest.raises(NotAMove, match="count it from lightly seated"):
        check_entry([], move(2))


def test_no_move_goes_past_lightly_seated() -> None:
    with pytest.raises(NotAMove, match="past lightly seated"):
        check_entry([count(2)], move(-3))


def test_no_needle_stands_out_of_its_thread() -> None:
    with pytest.raises(NotAMove, match="further out"):
        check_entry([count(20)], move(99))


def test_closing_weakens_and_opening_does_not() -> None:
    assert weakens([count(20)], move(-1))
    assert not weakens([count(20)], move(1))
    assert weakens([count(20)], count(18))
    assert not weakens([], count(18))
