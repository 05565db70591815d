"""Correcting what stands in the book. What stood there before is kept, and the case's log is never touched."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from ..knowledge.model import Knowledge
from ..knowledge.reader import likeliest
from . import tallies
from .access import utc_now
from .entries import MEASURES, NEEDLE_COLUMNS, kind, known, named, number, setting_value, when
from .places import BookTrouble
from .rows import Row, note_corrections
from .schema import CONFIRMED, TABLES, carburettors, cases, causes_found, engines, machines, notes, owners, settings

CAUSE = "cause"
"""What a case was, as it is corrected: one cause, or several joined by commas."""

FIELDS: Mapping[str, tuple[str, ...]] = {
    "owner": ("call_sign",),
    "machine": ("name", "kind", "owner"),
    "engine": ("name", "cubic_centimetres", "machine"),
    "carburettor": ("name",),
    "case": (CAUSE, "confirmed", "machine", "minutes"),
    "setting": (*NEEDLE_COLUMNS, *MEASURES, "at", "remark"),
    "note": ("text", "at"),
}
"""What can be corrected -> its fields."""

_TABLES: Mapping[str, Table] = {
    "owner": owners, "machine": machines, "engine": engines, "carburettor": carburettors, "case": cases,
    "setting": settings, "note": notes,
}  # fmt: skip

SHORTEST_UID = 6
"""Figures of a uid that name a setting, a note or a case, as they are shown."""


def correct(connection: Connection, knowledge: Knowledge, what: str, name: str, changes: Mapping[str, str]) -> Row:
    """Change fields of one entry; return the entry as it is now. Raises BookTrouble when a change cannot be meant."""
    table = _TABLES[what]
    was = entry(connection, table, name)
    becomes = dict(was)
    if table is cases:
        tallies.uncount(connection, [was["uid"]])
    for field, text in changes.items():
        if field not in FIELDS[what]:
            meant = likeliest(field, FIELDS[what])
            asked = f"; did you mean {meant}?" if meant else ""
            raise BookTrouble(f"a {what} has no '{field}' to correct{asked}; it has {', '.join(FIELDS[what])}")
        if field == CAUSE:
            _correct_cause(connection, knowledge, was, text)
            becomes["how"] = "found" if text.strip() else "undecided"
        else:
            becomes[field] = _value(connection, knowledge, what, field, text)
    becomes["changed"] = utc_now()
    connection.execute(update(table).where(table.c.uid == was["uid"]).values(**becomes))
    note_corrections(connection, table.name, was, becomes)
    if table is cases:
        tallies.count(connection, [was["uid"]])
    return becomes


def entry(connection: Connection, table: Table, name: str) -> Row:
    """Return an entry by its name, or by the first figures of its uid. Raises BookTrouble for none or several."""
    if len(name) >= SHORTEST_UID and set(name) <= set("0123456789abcdef"):
        found = connection.execute(select(table).where(table.c.uid.startswith(name)).limit(2)).all()
        if len(found) == 1:
            return found[0]._asdict()
    if table in (settings, notes):
        raise BookTrouble(
            f"no {table.name.removesuffix('s')} begins with '{name[:20]}'; diagnose book show MACHINE lists them"
        )
    if table is cases:
        several = connection.execute(select(cases).where(cases.c.name == name)).all()
        if len(several) > 1:
            marks = ", ".join(row.uid[:SHORTEST_UID] for row in several)
            raise BookTrouble(f"{len(several)} cases are called '{name}'; name one by its mark: {marks}")
    return known(connection, table, name)


def _value(connection: Connection, knowledge: Knowledge, what: str, field: str, text: str) -> Any:
    if what == "setting" and (field in MEASURES or field in NEEDLE_COLUMNS):
        return setting_value(field, text) if text else None
    match field:
        case "owner" | "machine":
            return known(connection, _TABLES[field], text)["uid"] if text else None
        case "kind":
            return kind(knowledge, text) if text else None
        case "confirmed":
            if text not in CONFIRMED:
                raise BookTrouble(f"'{text[:40]}' is none of {', '.join(CONFIRMED)}")
            return text
        case "at":
            return when(text)
        case "minutes" | "cubic_centimetres":
            return number(text)
        case "remark" | "text":
            return " ".join(text.split())
    return named(text)


def _correct_cause(connection: Connection, knowledge: Knowledge, case: Row, text: str) -> None:
    """Replace what a case was: causes of the rules, or a person's own words. What stood there is kept as a correction."""
    mine = causes_found.c.case == case["uid"]
    was = list(connection.scalars(select(causes_found.c.cause).where(mine).order_by(causes_found.c.place)))
    becomes = [" ".join(part.split()) for part in text.split(",") if part.strip()]
    for cause in becomes:
        if cause not in knowledge.causes and (" " not in cause or not cause.isprintable()):
            meant = likeliest(cause, knowledge.causes)
            near = f"did you mean {meant}?" if meant else "own words want at least two of them"
            raise BookTrouble(f"no cause of the rules is called '{cause[:40]}'; {near}")
    connection.execute(delete(causes_found).where(mine))
    if becomes:
        rows = [{"case": case["uid"], "place": n, "cause": cause} for n, cause in enumerate(becomes, 1)]
        connection.execute(insert(causes_found), rows)
    mark = {"uid": case["uid"]}
    note_corrections(connection, "cases", {**mark, CAUSE: ", ".join(was)}, {CAUSE: ", ".join(becomes)})


def corrections_of(connection: Connection, uid: str) -> list[Row]:
    """Return what was corrected in an entry, oldest first."""
    table = TABLES.tables["corrections"]
    query = select(table).where(table.c.of_uid == uid).order_by(table.c.at)
    return [row._asdict() for row in connection.execute(query)]
