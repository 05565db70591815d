"""Rows from a file are checked before they come near the book: every fault with its place, all at once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Column, Connection, Float, Integer, Table, select

from ..case.state import ENDINGS, REPAIR_RESULTS
from ..knowledge.reader import likeliest
from ..knowledge.source import Place, Problem
from .access import utc_now
from .rows import AT_ONCE, UID_LENGTH, Row, uid_of
from .schema import CONFIRMED, PARTS, TABLES, THINGS

CARRIED = (*THINGS, *(part for parts in PARTS.values() for part in parts), "corrections", "removed")
"""The tables that travel in files."""

_UID = re.compile(rf"[0-9a-f]{{{UID_LENGTH}}}")

ALLOWED = {("cases", "how"): ENDINGS, ("cases", "confirmed"): CONFIRMED, ("fixes", "result"): REPAIR_RESULTS}
"""Columns that take a few words only."""

TIMES = ("at", "opened", "closed", "changed")

LONGEST = 4_000
"""Characters of one text; a longer one is no note that anybody wrote at the pits."""


@dataclass
class Checked:
    """Rows as they go into the book, by table, and where each was written."""

    rows: dict[str, list[Row]] = field(default_factory=dict)
    places: dict[str, list[Place]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def add(self, table: str, row: Mapping[str, Any], place: Callable[[str], Place]) -> None:
        """Check one row as it was written; `place` gives the place of one of its columns, or of the row for ''."""
        if table not in CARRIED:
            self._wrong(place(""), f"the book has no table '{table[:40]}'", table, CARRIED)
            return
        columns = TABLES.tables[table].columns
        before = len(self.problems)
        for name in row:
            if name not in columns:
                self._wrong(place(name), f"'{table}' has no column '{name[:40]}'", name, list(columns.keys()))
        whole = {column.name: self._value(table, column, row.get(column.name), place) for column in columns}
        _named(TABLES.tables[table], whole)
        for column in columns:
            if whole[column.name] is None and not column.nullable:
                self.problems.append(Problem(place(""), f"'{column.name}' is missing; a row of '{table}' needs it"))
        if len(self.problems) == before:
            self.rows.setdefault(table, []).append(whole)
            self.places.setdefault(table, []).append(place(""))

    def _wrong(self, place: Place, says: str, written: str, known: Iterable[str]) -> None:
        self.problems.append(Problem(place, says, likeliest(written, known)))

    def _value(self, table: str, column: Column[Any], written: Any, place: Callable[[str], Place]) -> Any:
        if written is None or written == "" and column.nullable:
            return None
        try:
            return _read(table, column, written)
        except ValueError as error:
            self.problems.append(Problem(place(column.name), f"'{column.name}': {error}"))
            return None

    def close(self, connection: Connection) -> None:
        """Check that whatever a row points to is in the file or in the book, and that no row comes twice."""
        for name, rows in self.rows.items():
            table = TABLES.tables[name]
            keys = [column.name for column in table.primary_key.columns]
            met: set[tuple[Any, ...]] = set()
            for row, place in zip(rows, self.places[name], strict=True):
                key = tuple(row[part] for part in keys)
                if key in met:
                    self.problems.append(
                        Problem(place, f"a row of '{name}' with the same {' and '.join(keys)} stands above")
                    )
                met.add(key)
            for column in table.columns:
                for pointed in column.foreign_keys:
                    self._points(connection, rows, self.places[name], column.name, pointed.column.table)

    def _points(self, connection: Connection, rows: list[Row], places: list[Place], column: str, target: Table) -> None:
        here = {row["uid"] for row in self.rows.get(target.name, ())}
        asked = sorted({row[column] for row in rows if row[column] is not None} - here)
        for begin in range(0, len(asked), AT_ONCE):
            some = asked[begin : begin + AT_ONCE]
            here.update(connection.scalars(select(target.c.uid).where(target.c.uid.in_(some))))
        for row, place in zip(rows, places, strict=True):
            if row[column] is not None and row[column] not in here:
                says = f"'{column}' points to none of the {target.name} here or in the book: {row[column]}"
                self.problems.append(Problem(place, says))


def _read(table: str, column: Column[Any], written: Any) -> Any:
    """Return the value of a column. Raises ValueError with what is wrong."""
    if isinstance(column.type, (Integer, Float)):
        return _number(column, written)
    if not isinstance(written, str):
        raise ValueError("a text is wanted here")
    if not written.isprintable():
        raise ValueError("holds control characters or line breaks")
    if len(written) > LONGEST:
        raise ValueError(f"is longer than {LONGEST} characters")
    allowed = ALLOWED.get((table, column.name))
    if allowed and written not in allowed:
        raise ValueError(f"'{written[:40]}' is none of {', '.join(allowed)}")
    if column.name in TIMES and written:
        try:
            datetime.fromisoformat(written)
        except ValueError:
            raise ValueError(f"'{written[:40]}' is no time; write it as 2026-05-01T10:00:00+02:00") from None
    if (column.primary_key or column.foreign_keys) and column.name not in ("finding", "name"):
        return _uid(column, written)
    return written


def _number(column: Column[Any], written: Any) -> int | float:
    whole = isinstance(column.type, Integer)
    try:
        number = float(written)
    except (TypeError, ValueError):
        raise ValueError(f"'{str(written)[:40]}' is no number") from None
    if isinstance(written, bool) or number != number or abs(number) > 1e9:
        raise ValueError(f"'{str(written)[:40]}' is no number that can be meant")
    if whole and number != int(number):
        raise ValueError(f"'{str(written)[:40]}' is no whole number")
    return int(number) if whole else number


def _uid(column: Column[Any], written: str) -> str:
    """A uid as it is; what points to an owner or machine may also be written as its name."""
    if _UID.fullmatch(written):
        return written
    for pointed in column.foreign_keys:
        if pointed.column.table.name in ("owners", "machines"):
            return uid_of(pointed.column.table.name.removesuffix("s"), written)
    raise ValueError(f"'{written[:40]}' is no uid: {UID_LENGTH} figures 0-9 and letters a-f")


def _named(table: Table, whole: dict[str, Any]) -> None:
    """A row written by hand needs no uid and no time of change."""
    if "changed" in table.columns and whole["changed"] is None:
        whole["changed"] = utc_now()
    if "uid" in table.columns and whole["uid"] is None:
        whole["uid"] = uid_by_content(table.name, whole)


def uid_by_content(table: str, row: Mapping[str, Any]) -> str:
    """Return the uid of a row that has none: of its name where it has one, else of all that it says."""
    match table:
        case "owners":
            return uid_of("owner", str(row["call_sign"]))
        case "machines":
            return uid_of("machine", str(row["name"]))
        case "engines":
            return uid_of("engine", str(row["machine"]), str(row["name"]))
        case "carburettors":
            return uid_of("carburettor", str(row["engine"]), str(row["name"]))
    return uid_of(table, *(f"{key}={value}" for key, value in sorted(row.items()) if key not in ("uid", "changed")))
