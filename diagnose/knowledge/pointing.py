"""A problem with the line it stands in, and a caret below the place."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from .source import FaultyFiles, Place, Problem, read_text

WIDEST = 110
"""Characters shown of a line; of a longer one the part around the place."""

_BEFORE = WIDEST // 2
_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\ufeff]")


def pointed(problems: Iterable[Problem]) -> list[str]:
    """Return each problem with its line and a caret below it. A file that cannot be read any more is left without."""
    lines_of = cache(_lines)
    shown: list[str] = []
    for problem in problems:
        shown.append(str(problem))
        shown += _with_caret(problem.place, lines_of(problem.place.file))
    return shown


def _lines(file: str) -> tuple[str, ...]:
    try:
        return tuple(re.split(r"\r\n|[\n\r\x85\u2028\u2029]", read_text(Path(file))))  # as YAML counts lines
    except FaultyFiles:
        return ()


def _with_caret(place: Place, lines: tuple[str, ...]) -> list[str]:
    if not 1 <= place.line <= len(lines) or not lines[place.line - 1].strip():
        return []
    line = _UNSEEN.sub(" ", lines[place.line - 1])
    start = place.column - 1
    cut = max(0, start - _BEFORE) if len(line) > WIDEST else 0
    return [f"    {line[cut : cut + WIDEST].rstrip()}", f"    {' ' * (start - cut)}^"]
