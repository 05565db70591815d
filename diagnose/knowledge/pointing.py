"""A problem with the line it stands in, and a caret below the place."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path

from .source import FaultyFiles, Place, Problem, leads_outside, printable, read_text

WIDEST = 110
"""Characters shown of a line; of a longer one the part around the place."""

_BEFORE = WIDEST // 2


def pointed(problems: Iterable[Problem]) -> list[str]:
    """Return each problem with its line and a caret below it. A file that cannot be read any more is left without."""
    lines_of = cache(_lines)
    shown: list[str] = []
    for problem in problems:
        shown.append(str(problem))
        shown += _with_caret(problem.place, lines_of(problem.place.file))
    return shown


def _lines(file: str) -> tuple[str, ...]:
    """The lines of a file, none of one that a link stands for: it may be any file of whoever reads."""
    if leads_outside(Path(file), Path(file).parent):
        return ()
    try:
        return tuple(read_text(Path(file)).split("\n"))
    except FaultyFiles:
        return ()


def _with_caret(place: Place, lines: tuple[str, ...]) -> list[str]:
    if not 1 <= place.line <= len(lines) or not lines[place.line - 1].strip():
        return []
    line = printable(lines[place.line - 1], " ")
    start = place.column - 1
    cut = max(0, start - _BEFORE) if len(line) > WIDEST else 0
    return [f"    {line[cut : cut + WIDEST].rstrip()}", f"    {' ' * (start - cut)}^"]
