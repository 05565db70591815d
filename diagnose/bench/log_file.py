"""Logs as loggers write them: lines of cells, with a heading, in any unit. What cannot be read is named and left out."""

from __future__ import annotations

import codecs
import csv
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ..case.readings import SHOWN, NotAReading, parse_quantity
from .calculator import NotPossible

MOST_BYTES = 200_000_000
MOST_ROWS = 1_000_000
LONGEST_LINE = 10_000
HEADING_WITHIN = 100
"""Lines in which the heading must come; loggers write some lines about themselves before it."""

NAMED = 5
"""Junk lines that are told one by one; of the rest the number."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A column that is looked for.

    name     of the option that names the column, and of the result
    column   what the user wrote: a heading, `heading in unit`, or its place counted from 1; '' when nothing was written
    usual    beginnings of headings that are taken when nothing was written, in lower case
    unit     pint's name of the unit the numbers are wanted in; 'second' also takes times of the day and dates
    least, most   what is possible, in that unit
    needed   a row without it is left out
    """

    name: str
    column: str
    usual: tuple[str, ...]
    unit: str
    least: float
    most: float
    needed: bool = True


@dataclass(frozen=True, slots=True)
class Log:
    """Rows that could be read. columns: name of the wanted column -> a number a row (NaN where its cell has none);
    a column that is not there is not there. lines: where each row stands. headings: what the column is called in the file.
    junk: the first unreadable places as `file:line:column: what`; left_out: how many rows were left out in all."""

    lines: tuple[int, ...]
    columns: Mapping[str, tuple[float, ...]]
    headings: Mapping[str, str]
    junk: tuple[str, ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class _Found:
    """A wanted column in the file: its place from 0, its heading, and value = factor * cell + offset."""

    wanted: Wanted
    place: int
    heading: str
    factor: float
    offset: float


def read_log(path: str, wanted: Sequence[Wanted]) -> Log:
    """Read the wanted columns of a file. Raises NotPossible, one line: no such file or column, no such unit, no rows."""
    lines = _lines(path)
    start, mark, found = _heading(path, lines, wanted)
    rows: list[list[float]] = []
    places: list[int] = []
    junk: list[str] = []
    left_out = 0
    for number, line in enumerate(lines[start:], start + 1):
        if not line.strip():
            continue
        row, wrong = _row(line, mark, found)
        if wrong and len(junk) < NAMED:
            junk.append(f"{path}:{number}:{wrong[0]}: {wrong[1]}")
        if row is None:
            left_out += 1
            continue
        rows.append(row)
        places.append(number)
        if len(rows) > MOST_ROWS:
            raise NotPossible(f"{path}:{number}:1: more than {MOST_ROWS} rows; cut the log to the run that is looked at")
    if not rows:
        because = f"; first, {junk[0]}" if junk else ""
        raise NotPossible(f"{path}: no row can be read{because}")
    columns = {one.wanted.name: tuple(row[place] for row in rows) for place, one in enumerate(found)}
    headings = {one.wanted.name: one.heading for one in found}
    return Log(tuple(places), columns, headings, tuple(junk), left_out)


def _lines(path: str) -> list[str]:
    """All lines of a text file, in whichever of the usual alphabets it is written."""
    try:
        file = Path(path)
        if file.stat().st_size > MOST_BYTES:
            raise NotPossible(f"{path}: larger than {MOST_BYTES // 1_000_000} MB; cut the log to the run that is looked at")
        raw = file.read_bytes()
    except (OSError, ValueError) as error:
        raise NotPossible(f"{path}: {getattr(error, 'strerror', None) or 'this is no path of a file'}") from None
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return raw.decode("utf-16", errors="replace").splitlines()
    try:
        return raw.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace").splitlines()


def _cells(line: str, mark: str) -> list[str]:
    if len(line) > LONGEST_LINE:
        return []
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=mark, skipinitialspace=True), [])]
    except csv.Error:
        return []


def _heading(path: str, lines: Sequence[str], wanted: Sequence[Wanted]) -> tuple[int, str, list[_Found]]:
    """How many lines come before the rows, what parts the cells, and where the columns are."""
    likely: list[str] = []
    missing = list(wanted)
    for number, line in enumerate(lines[:HEADING_WITHIN], 1):
        for mark in ";\t,":
            cells = _cells(line, mark)
            if len(cells) < 2:
                continue
            places = [_place(one, cells) for one in wanted]
            absent = [one for one, at in zip(wanted, places, strict=True) if at is None and (one.needed or one.column)]
            if absent:
                if not likely or len(absent) < len(missing):
                    likely, missing = cells, absent
                continue
            there = [(one, at) for one, at in zip(wanted, places, strict=True) if at is not None]
            found = [_measured(path, number, one, at, cells[at]) for one, at in there]
            # Places counted from 1 need no heading: the first line may be a row already.
            bare = all(_is_number(cells[one.place]) for one in found)
            return number - bare, mark, found
    if not likely:
        raise NotPossible(f"{path}:1:1: no columns are found; a log is lines of cells parted by commas, semicolons or tabs")
    first = missing[0]
    named = f"no column is called '{_shown(first.column)}'" if first.column else f"which column is the {first.name}?"
    columns = ", ".join(_shown(cell) for cell in likely[:20])
    raise NotPossible(f"{path}:1:1: {named}; the columns are {columns}; name one with --{first.name}")


def _place(wanted: Wanted, cells: Sequence[str]) -> int | None:
    """Where a column stands, from 0."""
    headings = [cell.lower() for cell in cells]
    if not wanted.column:
        begun = (at for usual in wanted.usual for at, heading in enumerate(headings) if heading.startswith(usual))
        return next(begun, None)
    for name in (wanted.column.lower(), _named(wanted.column)[0].lower()):
        for at, heading in enumerate(headings):
            if name in (heading, _BRACKETS.sub("", heading).strip()):
                return at
        if name.isdecimal() and 1 <= int(name) <= len(cells):
            return int(name) - 1
    return None


_BRACKETS = re.compile(r"[(\[]\s*([^()\[\]]*?)\s*[)\]]")
_IN = re.compile(r"(.+?)\s+in\s+(\S+)", re.IGNORECASE)


def _named(column: str) -> tuple[str, str]:
    """`CHT in F` -> its heading and its unit; '' for no unit."""
    found = _IN.fullmatch(column.strip())
    return (found[1], found[2]) if found else (column.strip(), "")


def _measured(path: str, line: int, wanted: Wanted, place: int, heading: str) -> _Found:
    """A column with its unit: as the user wrote it, as its heading says, or the one that is wanted."""
    said = "" if wanted.column.strip().lower() == heading.lower() else _named(wanted.column)[1]
    bracket = _BRACKETS.search(heading)
    spelled = said or (bracket[1] if bracket else "") or _ending(heading, wanted.unit)
    if not spelled:
        if wanted.unit == "degC":
            called = _shown(heading)
            raise NotPossible(
                f"{path}:{line}:1: '{called}' does not say its unit; write --{wanted.name} '{called} in C', or in F"
            )
        return _Found(wanted, place, heading, 1.0, 0.0)
    try:
        nothing, one = (parse_quantity(f"{number} {spelled}", wanted.unit, -math.inf, math.inf).value for number in (0, 1))
    except NotAReading as error:
        if bracket and not said:  # brackets may hold anything: `speed (tail)`
            return _measured(path, line, wanted, place, _BRACKETS.sub("", heading))
        raise NotPossible(f"{path}:{line}:1: {wanted.name}: {error}") from None
    return _Found(wanted, place, heading, one - nothing, nothing)


def _ending(heading: str, unit: str) -> str:
    """The unit at the end of `CHT_F` or `time ms`; '' where the last word is none."""
    word = re.split(r"[\s_/]+", heading.strip())[-1]
    if word == heading.strip():
        return ""
    try:
        parse_quantity(f"1 {word}", unit, -math.inf, math.inf)
    except NotAReading:
        return ""
    return word


def _row(line: str, mark: str, found: Sequence[_Found]) -> tuple[list[float] | None, tuple[int, str] | None]:
    """The numbers of a line, None where it is left out; and the first thing wrong with it, with its column."""
    cells = _cells(line, mark)
    row: list[float] = []
    wrong: tuple[int, str] | None = None
    for one in found:
        cell = cells[one.place] if one.place < len(cells) else ""
        value = _value(cell, mark, one)
        if math.isnan(value):
            if cell or one.wanted.needed:
                wrong = wrong or (_column(line, cells, one.place), _what(cell, one))
            if one.wanted.needed:
                return None, wrong
        row.append(value)
    return row, wrong


def _what(cell: str, one: _Found) -> str:
    if not cell:
        return f"no {one.wanted.name}"
    if math.isnan(_plain(cell, ";")):
        return f"'{_shown(cell)}' is no {one.wanted.name}"
    unit = SHOWN.get(one.wanted.unit, one.wanted.unit)
    return f"'{_shown(cell)}' is no {one.wanted.name} that can be ({one.wanted.least:g} to {one.wanted.most:g} {unit})"


def _value(cell: str, mark: str, one: _Found) -> float:
    """The number of a cell in the unit wanted; NaN where there is none that can be."""
    number = _plain(cell, mark)
    if not math.isnan(number):
        value = one.factor * number + one.offset
    elif one.wanted.unit == "second" and not math.isnan(time := _time(cell)):
        value = time
    else:
        try:
            value = parse_quantity(cell, one.wanted.unit, -math.inf, math.inf).value
        except NotAReading:
            return math.nan
    return value if one.wanted.least <= value <= one.wanted.most else math.nan


def _plain(cell: str, mark: str) -> float:
    try:
        number = float(cell if mark == "," else cell.replace(",", "."))
    except ValueError:
        return math.nan
    return number if math.isfinite(number) else math.nan


_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,3}):(\d{1,2}(?:[.,]\d+)?)")


def _time(cell: str) -> float:
    """Seconds of `12:03:44.5`, `3:44` or a date with a time; NaN for anything else."""
    clock = _CLOCK.fullmatch(cell)
    if clock:
        return 3600 * int(clock[1] or 0) + 60 * int(clock[2]) + float(clock[3].replace(",", "."))
    try:
        return datetime.fromisoformat(cell.replace("Z", "+00:00")).timestamp()
    except (ValueError, OverflowError, OSError):
        return math.nan


def _is_number(cell: str) -> bool:
    return not math.isnan(_plain(cell, ";")) or not math.isnan(_time(cell))


def _column(line: str, cells: Sequence[str], place: int) -> int:
    """The character at which a cell begins, from 1; the end of a line that is too short."""
    if place >= len(cells):
        return len(line) + 1
    at = 0
    for cell in cells[:place]:
        at = line.find(cell, at) + len(cell) + 1
    return max(line.find(cells[place], at), 0) + 1


def _shown(text: str) -> str:
    """A cell as it may stand in a message: short, and nothing that moves a terminal."""
    plain = "".join(letter if letter.isprintable() else "?" for letter in text)
    return plain if len(plain) <= 40 else plain[:37] + "..."


def counted(number: int, thing: str) -> str:
    """`1 row`, `3 rows`."""
    return f"{number} {thing}{'' if number == 1 else 's'}"
