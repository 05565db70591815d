"""What the book knows: searched for, and gathered about one machine, owner or case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, func, or_, select

from .rows import Row, called
from .schema import (
    PARTS,
    TABLES,
    THINGS,
    cases,
    causes_found,
    machines,
    notes,
    recording_results,
)

MOST_FOUND = 50
"""Entries that a search shows unless more are asked for."""


@dataclass(frozen=True, slots=True)
class Sought:
    """What a case must have: every word of `words` somewhere in it or its machine, and all else that is given."""

    words: tuple[str, ...] = ()
    cause: str = ""
    machine: str = ""
    since: str = ""
    until: str = ""


@dataclass(frozen=True, slots=True)
class FoundCase:
    """A case as a line: its name, when it was closed, the machine's name, what it was, and the owner's words."""

    uid: str
    name: str
    closed: str
    machine: str
    how: str
    confirmed: str
    minutes: float | None
    causes: tuple[str, ...]
    words: str


def counts(connection: Connection) -> Mapping[str, int]:
    """Return table -> rows, of the tables that people write in."""
    return {name: connection.scalar(select(func.count()).select_from(TABLES.tables[name])) or 0 for name in THINGS}


def search(connection: Connection, sought: Sought, most: int = MOST_FOUND) -> tuple[list[FoundCase], int]:
    """Return the cases sought, newest first, at most so many; and how many there are."""
    held = _conditions(sought)
    query = select(cases.c.uid).outerjoin(machines, cases.c.machine == machines.c.uid).where(*held)
    many = connection.scalar(select(func.count()).select_from(query.subquery())) or 0
    uids = list(connection.scalars(query.order_by(cases.c.closed.desc(), cases.c.uid).limit(most)))
    return found_cases(connection, cases.c.uid.in_(uids)), many


def _conditions(sought: Sought) -> list[ColumnElement[bool]]:
    held: list[ColumnElement[bool]] = []
    for word in sought.words:
        noted = cases.c.uid.in_(select(notes.c.case).where(notes.c.case.is_not(None), _has(notes.c.text, word)))
        caused = cases.c.uid.in_(select(causes_found.c.case).where(_has(causes_found.c.cause, word)))
        held.append(or_(_has(cases.c.words, word), _has(cases.c.name, word), _has(machines.c.name, word), noted, caused))
    if sought.cause:
        held.append(cases.c.uid.in_(select(causes_found.c.case).where(causes_found.c.cause == sought.cause)))
    if sought.machine:
        held.append(cases.c.machine.in_(select(machines.c.uid).where(called(machines, sought.machine))))
    if sought.since:
        held.append(cases.c.closed >= sought.since)
    if sought.until:
        held.append(cases.c.closed < sought.until + "\x7f")
    return held


def _has(column: Any, word: str) -> ColumnElement[bool]:
    return column.icontains(word, autoescape=True)


def found_cases(connection: Connection, held: ColumnElement[bool]) -> list[FoundCase]:
    """Return the cases of which this holds, newest first."""
    query = (
        select(cases, machines.c.name.label("machine_name"))
        .outerjoin(machines, cases.c.machine == machines.c.uid)
        .where(held)
        .order_by(cases.c.closed.desc(), cases.c.uid)
    )
    rows = connection.execute(query).all()
    caused: dict[str, list[str]] = {}
    named = select(causes_found.c.case, causes_found.c.cause).join(cases).where(held).order_by(causes_found.c.place)
    for case, cause in connection.execute(named):
        caused.setdefault(case, []).append(cause)
    return [
        FoundCase(
            row.uid, row.name, row.closed, row.machine_name or "", row.how, row.confirmed, row.minutes,
            tuple(caused.get(row.uid, ())), row.words,
        )
        for row in rows
    ]  # fmt: skip


def of_machine(connection: Connection, table: Table, machine: str) -> list[Row]:
    """Return a machine's settings, notes or recordings, oldest first."""
    query = select(table).where(table.c.machine == machine).order_by(table.c.at, table.c.uid)
    return [row._asdict() for row in connection.execute(query)]


def parts_of_case(connection: Connection, uid: str) -> dict[str, list[Row]]:
    """Return what a case holds: its findings, causes, fixes, proofs and notes."""
    held = {name: TABLES.tables[name] for name in (*PARTS["cases"], "notes")}
    return {
        name: [row._asdict() for row in connection.execute(select(table).where(table.c["case"] == uid))]
        for name, table in held.items()
    }


def results_of(connection: Connection, recording: str) -> list[Row]:
    """Return what a recording said."""
    query = select(recording_results).where(recording_results.c.recording == recording)
    return [row._asdict() for row in connection.execute(query.order_by(recording_results.c.name))]


def machines_of(connection: Connection, owner: str) -> list[Row]:
    """Return the machines of an owner by name."""
    query = select(machines).where(machines.c.owner == owner).order_by(machines.c.name)
    return [row._asdict() for row in connection.execute(query)]


def machine_names(connection: Connection) -> list[str]:
    """Return the names of the machines, those that had a case last first."""
    last = select(func.max(cases.c.closed)).where(cases.c.machine == machines.c.uid).scalar_subquery()
    return list(connection.scalars(select(machines.c.name).order_by(func.coalesce(last, "").desc(), machines.c.name)))
