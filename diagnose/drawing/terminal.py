"""A chart as lines of text, 80 or 40 columns wide, in plain ASCII and without colour.

Drawn here because no library did it at 40 columns (tried on Python 3.11): plotext 6.1 ends the whole program on a gap in
the numbers (NaN), plotille 6.0 prints ticks such as 32.857143, and uniplot 0.23 leaves a y axis with two numbers on it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from .chart import Chart, Trace
from .scale import TIED, by_name, called, letters, measured, one, stretches, ticks, written, x_limits, y_limits

LINES = "*#=~"
POINTS = "ox@%"
BANDS = ".:'"

Limits = tuple[float, float]
Grid = list[list[str]]


def draw(chart: Chart, width: int = 80, height: int = 14) -> list[str]:
    """The chart in at most `width` columns (not less than 24), its field `height` rows; the key stands below.

    A chart without a number to draw gives its title and says so.
    """
    width = max(width, 24)
    heading = textwrap.wrap(chart.title, width) + textwrap.wrap(f"({called(chart.y)})", width)
    across, up = x_limits(chart), y_limits(chart)
    if across is None or up is None:
        return [*textwrap.wrap(chart.title, width), "  no numbers to draw"]
    heights = ticks(*up, most=max(2, height // 3 + 1))
    names = written(heights)
    margin = max(map(len, names))
    columns = width - margin - 2
    field = _field(chart, across, up, columns, height)
    beside = {_place(value, up, height): name for value, name in zip(heights, names, strict=True)}
    rows = []
    for from_top, cells in enumerate(field):
        name = beside.get(height - 1 - from_top, "")
        rows.append(f"{name:>{margin}} {'+' if name else '|'}{''.join(cells)}".rstrip())
    foot = [" " * (margin + 1) + line for line in _x_axis(chart, across, columns)]
    return heading + rows + foot + _key(chart, across, width)


def _place(value: float, along: Limits, cells: int) -> int:
    """The cell of a value, the first being 0."""
    return round((value - along[0]) / (along[1] - along[0]) * (cells - 1))


def _field(chart: Chart, across: Limits, up: Limits, columns: int, height: int) -> Grid:
    """Rows of characters, top row first; later things over earlier: bands, marks, lines, points."""
    field = [[" "] * columns for _ in range(height)]
    for sign, bands in zip(_signs(BANDS, len(chart.bands)), by_name(chart.bands).values(), strict=False):
        for band in bands:
            for column in range(_place(band.start, across, columns), _place(band.end, across, columns) + 1):
                for row in field:
                    row[column] = sign
    for mark in chart.marks:
        for row in field:
            row[_place(mark.x, across, columns)] = "|"
    for sign, trace in sorted(_signed(chart), key=lambda pair: pair[1].points):
        for column, from_below in _cells(trace, across, up, columns, height):
            field[height - 1 - from_below][column] = sign
    for letter, mark in zip(letters(len(chart.marks)), chart.marks, strict=True):
        column = _place(mark.x, across, columns)
        free = next((row for row in field if row[column] == "|"), field[0])
        free[column] = letter
    return field


def _cells(trace: Trace, across: Limits, up: Limits, columns: int, height: int) -> list[tuple[int, int]]:
    """(column, row from below) that a trace goes through, gaps left open."""
    import numpy as np

    x: Any = np.asarray(trace.x, dtype=float)
    y: Any = np.where(np.isfinite(np.asarray(trace.y, dtype=float)), trace.y, np.nan)
    column = (x - across[0]) / (across[1] - across[0]) * (columns - 1)
    row = (y - up[0]) / (up[1] - up[0]) * (height - 1)
    if not trace.points and len(x) > 1:
        steps = np.nan_to_num(np.maximum(np.abs(np.diff(column)), np.abs(np.diff(row))))
        fine = np.linspace(0, len(x) - 1, (len(x) - 1) * (int(steps.max()) + 2) + 1)
        numbers = np.arange(len(x))
        # A number beside a gap belongs to no stretch between two; it is put back, or a lone one would not be seen.
        column = np.concatenate([np.interp(fine, numbers, column), column])
        row = np.concatenate([np.interp(fine, numbers, row), row])
    seen = np.isfinite(column) & np.isfinite(row)
    return sorted({(int(c), int(r)) for c, r in zip(np.rint(column[seen]), np.rint(row[seen]), strict=True)})


def _x_axis(chart: Chart, across: Limits, columns: int) -> list[str]:
    """The line with its ticks, the numbers under them, and what is counted."""
    values = ticks(*across, most=max(2, columns // 9))
    line, numbers = ["-"] * columns, [" "] * (columns + 1)
    for value, name in zip(values, written(values), strict=True):
        column = _place(value, across, columns)
        # The corner stands before the first column.
        start = min(max(column + 1 - len(name) // 2, 0), columns + 1 - len(name))
        if all(sign == " " for sign in numbers[max(start - 1, 0) : start + len(name) + 1]):
            line[column] = "+"
            numbers[start : start + len(name)] = name
    return ["+" + "".join(line), "".join(numbers).rstrip(), *textwrap.wrap(called(chart.x), columns)]


def _key(chart: Chart, across: Limits, width: int) -> list[str]:
    """What each sign and letter stands for, an entry a line."""
    unit = chart.x.unit
    entries = [f"{sign}  {trace.name}" for sign, trace in _signed(chart)]
    for sign, (name, bands) in zip(_signs(BANDS, len(chart.bands)), by_name(chart.bands).items(), strict=False):
        entries.append(f"{sign}  {name}: {stretches(bands, unit, across)}")
    for letter, mark in zip(letters(len(chart.marks)), chart.marks, strict=True):
        entries.append(f"{letter}  {mark.says}, {measured(one(mark.x, across), unit)}")
    return [
        line.replace(TIED, " ")
        for entry in entries
        for line in textwrap.wrap(entry, width, initial_indent="  ", subsequent_indent="     ")
    ]


def _signed(chart: Chart) -> list[tuple[str, Trace]]:
    """Every trace with the character it is drawn in."""
    lines = [trace for trace in chart.traces if not trace.points]
    points = [trace for trace in chart.traces if trace.points]
    signs = {
        id(trace): sign
        for kind, row in ((LINES, lines), (POINTS, points))
        for sign, trace in zip(_signs(kind, len(row)), row, strict=True)
    }
    return [(signs[id(trace)], trace) for trace in chart.traces]


def _signs(among: Sequence[str], count: int) -> list[str]:
    return [among[number % len(among)] for number in range(count)]
