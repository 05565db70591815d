"""Charts, in the terminal and as pictures."""

import math
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from diagnose.drawing.chart import Axis, Band, Chart, Mark, Trace
from diagnose.drawing.picture import COLOURS, png, save, svg
from diagnose.drawing.terminal import draw

WARM_UP = Chart(
    "Warm-up (invented)",
    Axis("time", "s"),
    Axis("head temperature", "°C"),
    (
        Trace("smoothed", [0, 10, 20, 30, 40], [20, 60, math.nan, 100, 120]),
        Trace("read $x^2$", [0, 40], [22, 118], points=True),
    ),
    (Band("four-stroking", 5, 10), Band("four-stroking", 32, 36)),
    (Mark("load came on", 30),),
)


@pytest.mark.parametrize("width", [40, 80])
def test_a_chart_is_plain_text_of_the_width_asked_for_and_names_all_it_draws(width: int) -> None:
    lines = draw(WARM_UP, width)
    text = " ".join(" ".join(lines).split())
    assert max(map(len, lines)) <= width
    assert text.isprintable()
    for said in ("Warm-up (invented)", "head temperature, °C", "time, s", "smoothed", "four-stroking: 5.0 to 10.0",
                 "load came on, 30.0 s"):  # fmt: skip
        assert said in text


def test_a_number_can_be_read_off_the_chart_where_its_point_is() -> None:
    lines = draw(Chart("", Axis("x"), Axis("y"), (Trace("p", [0, 50, 100], [0, 70, 100], points=True),)), 60, 21)
    field = lines[1:22]
    at = {row[:3].strip(): number for number, row in enumerate(field) if row[:3].strip()}
    bottom_row, middle_row, top_row = [number for number, row in enumerate(field) if "o" in row][::-1]
    assert (bottom_row, top_row) == (at["0"], at["100"])
    assert abs(middle_row - (at["60"] + at["80"]) / 2) <= 1
    numbers = lines[23]
    column = field[middle_row].index("o")
    assert abs(column - (numbers.index("40") + numbers.index("60") + 1) / 2) <= 1


def test_a_gap_in_the_numbers_is_a_gap_in_the_line() -> None:
    whole = Chart("", Axis("x"), Axis("y"), (Trace("t", [0, 1, 2, 3, 4], [1, 1.2, 1.1, 1, 1.2]),))
    broken = Chart("", Axis("x"), Axis("y"), (Trace("t", [0, 1, 2, 3, 4], [1, 1.2, math.nan, 1, 1.2]),))

    def columns(chart: Chart) -> set[int]:
        return {place for row in draw(chart, 50)[1:15] for place, sign in enumerate(row) if sign == "*"}

    assert columns(whole) == set(range(6, 50))
    assert columns(broken) == set(range(6, 18)) | set(range(38, 50))


def test_a_chart_without_numbers_says_so() -> None:
    empty = Chart("Nothing yet", Axis("x"), Axis("y"), (Trace("t", [0.0], [math.nan]),))
    assert draw(empty, 40) == ["Nothing yet", "  no numbers to draw"]
    assert "no numbers" in svg(empty)


numbers = some.floats(-1e9, 1e9) | some.just(math.nan)
places = some.floats(-1e6, 1e6)


@settings(max_examples=150, deadline=None)
@given(
    rows=some.lists(some.tuples(places, numbers), min_size=1, max_size=30),
    bands=some.lists(some.tuples(some.sampled_from(["hot", "lean", "gap", "idle"]), places, places), max_size=5),
    marks=some.lists(places, max_size=30),
    points=some.booleans(),
    width=some.integers(24, 120),
)  # fmt: skip
def test_any_chart_can_be_drawn(rows, bands, marks, points, width) -> None:  # type: ignore[no-untyped-def]
    x, y = zip(*rows, strict=True)
    lines = draw(
        Chart("Any", Axis("x", "s"), Axis("y"), (Trace("t", x, y, points),),
              tuple(Band(name, min(a, b), max(a, b)) for name, a, b in bands), tuple(Mark("m", at) for at in marks)),
        width,
    )  # fmt: skip
    assert max(map(len, lines)) <= width


def test_a_picture_keeps_its_words_as_text_and_is_the_same_every_time() -> None:
    words = {element.text for element in ElementTree.fromstring(svg(WARM_UP)).iter("{http://www.w3.org/2000/svg}text")}
    assert {"Warm-up (invented)", "time, s", "head temperature, °C", "smoothed", "read $x^2$", "a"} <= words
    assert any("load came on" in (word or "") for word in words)
    assert svg(WARM_UP) == svg(WARM_UP)
    assert png(WARM_UP) == png(WARM_UP)
    assert png(WARM_UP).startswith(b"\x89PNG\r\n\x1a\n")  # PNG specification, W3C 2003, section 5.2


def test_every_line_stands_out_from_the_page_and_from_its_grey_shade() -> None:
    """WCAG 2.1 (W3C 2018), criterion 1.4.11 and the definition of relative luminance, from memory: at least 3:1."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    assert all(1.05 / (luminance(colour) + 0.05) >= 3 for colour in COLOURS)


def test_a_picture_is_written_by_its_name(tmp_path: Path) -> None:
    save(WARM_UP, tmp_path / "a.svg")
    save(WARM_UP, tmp_path / "a.PNG")
    assert (tmp_path / "a.svg").read_text(encoding="utf-8") == svg(WARM_UP)
    with pytest.raises(ValueError, match=r"a\.gif: a picture is written as \.svg or \.png"):
        save(WARM_UP, tmp_path / "a.gif")


def test_the_first_question_does_not_wait_for_the_drawing_library() -> None:
    modules = "sys, diagnose.cli, diagnose.drawing.terminal, diagnose.drawing.picture"
    loads = f"import {modules}; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", loads], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.strip() == "False"
