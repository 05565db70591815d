"""Taking rows out of the book for good, with all that belongs to them, and closing their way back in."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, delete, insert, or_, select

from . import tallies
from .access import utc_now
from .schema import TABLES, THINGS, corrections, removed


def erase(connection: Connection, uids: Sequence[str]) -> list[str]:
    """Remove the rows with these uids and all that belongs to them. Return the uids of all rows that went."""
    found = _belonging(connection, uids)
    tallies.uncount(connection, found["cases"])
    for name in reversed(THINGS):
        table = TABLES.tables[name]
        if found[name]:
            connection.execute(delete(table).where(table.c.uid.in_(found[name])))
    gone = [uid for some in found.values() for uid in some]
    if gone:
        connection.execute(delete(corrections).where(corrections.c.of_uid.in_(gone)))
        known = set(connection.scalars(select(removed.c.uid).where(removed.c.uid.in_(gone))))
        at = utc_now()
        marks = [{"uid": uid, "at": at} for uid in gone if uid not in known]
        if marks:
            connection.execute(insert(removed), marks)
    return gone


def _belonging(connection: Connection, uids: Sequence[str]) -> dict[str, list[str]]:
    """Table -> uids of the rows named, and of those that point to any of them, down to the last."""
    found: dict[str, list[str]] = {}
    reached = set(uids)
    for name in THINGS:
        table = TABLES.tables[name]
        pointers = [column for column in table.columns if column.foreign_keys]
        there = [column.in_(sorted(reached)) for column in (table.c.uid, *pointers)]
        found[name] = list(connection.scalars(select(table.c.uid).where(or_(*there))))
        reached.update(found[name])
    return found
