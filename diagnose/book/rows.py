"""Rows on their way: between a book and a file, between two books, and from a case's log into a book.

One function takes rows into a book, whatever they come from. It adds what is new, lets the later of two changes win,
and keeps out what was removed on request; so it can be run again at any time without doubles.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, delete, insert, or_, select, update

from . import removing, tallies
from .access import utc_now
from .schema import PARTS, TABLES, THINGS, cases, corrections, machines, owners, removed

Row = Mapping[str, Any]
Rows = Mapping[str, Sequence[Row]]
"""Table -> its rows, column by column; columns that are left out are empty."""

UID_LENGTH = 20
"""Hexadecimal digits of a uid: 80 bits, so that a hundred thousand cases do not meet by chance."""

AT_ONCE = 500
"""Rows that are asked for or travel together: below every database's limit of values in one statement."""

NAMED = {"owners": owners.c.call_sign, "machines": machines.c.name}
"""Tables whose rows a club knows by a name that only one of them can have."""


def uid_of(*parts: str) -> str:
    """Return the uid of what is called this, whatever the capitals: the same in every book."""
    said = "\0".join(part.casefold().strip() for part in parts)
    return hashlib.sha256(said.encode()).hexdigest()[:UID_LENGTH]


def called(table: Table, name: str) -> ColumnElement[bool]:
    """What is true of the owners or machines called so, whatever the capitals."""
    column = NAMED[table.name]
    return or_(column == name, table.c.uid == uid_of(table.name.removesuffix("s"), name))


def uid_by_chance() -> str:
    """Return a uid for what has no name of its own."""
    return uuid.uuid4().hex[:UID_LENGTH]


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of rows: new, changed by a later correction, already there; kept out, or taken out here too, because
    they were removed on request."""

    new: int = 0
    changed: int = 0
    same: int = 0
    kept_out: int = 0
    taken_out: int = 0

    def __add__(self, other: Taken) -> Taken:
        return Taken(*(mine + its for mine, its in zip(astuple(self), astuple(other), strict=True)))


@dataclass(frozen=True, slots=True)
class Met:
    """What rows that came before have shown: uids that stay out, and uids that this book knows under another."""

    out: set[str] = field(default_factory=set)
    known_as: dict[str, str] = field(default_factory=dict)


def take_in(connection: Connection, rows: Rows, met: Met | None = None) -> Taken:
    """Take rows into a book, within the connection's transaction. A row that points to nothing is the database's error.

    met: the same one for every batch of rows that point to each other.
    """
    met = met or Met()
    taken = _take_removed(connection, rows.get("removed", ()))
    for name in THINGS:
        for some in _by(rows.get(name, ()), AT_ONCE):
            taken += _take(connection, met, TABLES.tables[name], some, rows)
    told = rows.get("corrections", ())
    for some in _by(told, AT_ONCE):
        of = [row["of_uid"] for row in some]
        gone = set(connection.scalars(select(removed.c.uid).where(removed.c.uid.in_(of))))
        _add_missing(connection, corrections, [row for row in some if row["of_uid"] not in gone])
    return taken


def _take_removed(connection: Connection, rows: Sequence[Row]) -> Taken:
    """What was removed in the other book on request goes here too."""
    taken = Taken()
    for some in _by(rows, AT_ONCE):
        taken += Taken(taken_out=len(removing.erase(connection, [row["uid"] for row in some])))
        _add_missing(connection, removed, some)
    return taken


def _take(connection: Connection, met: Met, table: Table, some: Sequence[Row], rows: Rows) -> Taken:
    """Take some rows of one table; `rows` holds what is part of them."""
    uids = [row["uid"] for row in some]
    gone = set(connection.scalars(select(removed.c.uid).where(removed.c.uid.in_(uids))))
    there = {row.uid: row._asdict() for row in connection.execute(select(table).where(table.c.uid.in_(uids)))}
    met.known_as.update(_known_names(connection, table, some))
    pointers = [column.name for column in table.columns if column.foreign_keys]
    new: list[Row] = []
    changed: list[Row] = []
    same = kept_out = 0
    for row in some:
        uid = row["uid"]
        if uid in gone or any(row.get(pointer) in met.out for pointer in pointers):
            met.out.add(uid)
            kept_out += 1
            continue
        whole = {column.name: row.get(column.name) for column in table.columns}
        whole |= {pointer: met.known_as.get(row.get(pointer) or "", row.get(pointer)) for pointer in pointers}
        if uid in met.known_as:
            same += 1
        elif uid not in there:
            new.append(whole)
        elif whole["changed"] > there[uid]["changed"]:
            changed.append(whole)
        else:
            same += 1
    _write(connection, table, rows, new, [(there[row["uid"]], row) for row in changed])
    return Taken(len(new), len(changed), same, kept_out)


def _write(
    connection: Connection, table: Table, rows: Rows, new: Sequence[Row], changed: Sequence[tuple[Row, Row]]
) -> None:
    """Write new rows and changed ones (was, becomes) with all that is part of them, the tallies in step."""
    uids_changed = [row["uid"] for _, row in changed]
    uids_new = [row["uid"] for row in new]
    if table is cases:
        tallies.uncount(connection, uids_changed)
    if new:
        connection.execute(insert(table), list(new))
    for was, becomes in changed:
        connection.execute(update(table).where(table.c.uid == was["uid"]).values(**becomes))
        note_corrections(connection, table.name, was, becomes)
    _take_parts(connection, table, rows, uids_new, uids_changed)
    if table is cases:
        tallies.count(connection, [*uids_changed, *uids_new])


def _known_names(connection: Connection, table: Table, some: Sequence[Row]) -> dict[str, str]:
    """Incoming uid -> the uid under which this book knows the same name."""
    column = NAMED.get(table.name)
    if column is None:
        return {}
    names = [row[column.name] for row in some]
    known = dict(connection.execute(select(column, table.c.uid).where(column.in_(names))).all())
    return {row["uid"]: known[row[column.name]] for row in some if known.get(row[column.name], row["uid"]) != row["uid"]}


def note_corrections(connection: Connection, table: str, was: Row, becomes: Row) -> None:
    """Keep what a row said before it was changed."""
    at = utc_now()
    differ = [name for name in becomes if name != "changed" and becomes[name] != was.get(name)]
    if differ:
        connection.execute(
            insert(corrections),
            [
                {
                    "uid": uid_by_chance(), "of_table": table, "of_uid": was["uid"], "of_column": name, "at": at,
                    "was": _written(was.get(name)), "became": _written(becomes[name]),
                }
                for name in differ
            ],
        )  # fmt: skip


def _written(value: object) -> str | None:
    return None if value is None else str(value)


def _take_parts(connection: Connection, table: Table, rows: Rows, new: Sequence[str], changed: Sequence[str]) -> None:
    for name in PARTS.get(table.name, ()):
        part = TABLES.tables[name]
        key = table.name.removesuffix("s")
        if changed:
            connection.execute(delete(part).where(part.c[key].in_(changed)))
        wanted = {*new, *changed}
        inside = [
            {column.name: row.get(column.name) for column in part.columns}
            for row in rows.get(name, ())
            if row[key] in wanted
        ]
        for some in _by(inside, 20 * AT_ONCE):
            connection.execute(insert(part), list(some))


def _add_missing(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    for some in _by(rows, AT_ONCE):
        uids = [row["uid"] for row in some]
        there = set(connection.scalars(select(table.c.uid).where(table.c.uid.in_(uids))))
        missing = [{c.name: row.get(c.name) for c in table.columns} for row in some if row["uid"] not in there]
        if missing:
            connection.execute(insert(table), missing)


def rows_of(connection: Connection) -> Iterator[Rows]:
    """Return a whole book as rows, in batches that can each be taken in by themselves, in this order."""
    yield {"removed": _all(connection, removed)}
    for name in THINGS:
        table = TABLES.tables[name]
        last = ""
        while True:
            some = [
                row._asdict()
                for row in connection.execute(select(table).where(table.c.uid > last).order_by(table.c.uid).limit(AT_ONCE))
            ]
            if not some:
                break
            last = some[-1]["uid"]
            yield {name: some, **_parts_of(connection, table, [row["uid"] for row in some])}
    yield {"corrections": _all(connection, corrections)}


def _all(connection: Connection, table: Table) -> list[Row]:
    return [row._asdict() for row in connection.execute(select(table).order_by(table.c.uid))]


def _parts_of(connection: Connection, table: Table, uids: Sequence[str]) -> dict[str, list[Row]]:
    parts: dict[str, list[Row]] = {}
    for name in PARTS.get(table.name, ()):
        part = TABLES.tables[name]
        key = part.c[table.name.removesuffix("s")]
        order = list(part.primary_key.columns)
        parts[name] = [row._asdict() for row in connection.execute(select(part).where(key.in_(uids)).order_by(*order))]
    return parts


def _by(items: Sequence[Any], many: int) -> Iterator[Sequence[Any]]:
    for begin in range(0, len(items), many):
        yield items[begin : begin + many]
