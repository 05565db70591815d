"""What a person writes into the book by hand: read, checked and given its place."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Any

from sqlalchemy import Connection, Table, func, select

from ..case.casefile import MACHINE
from ..case.ledger import MOST_OPEN
from ..case.readings import NotAReading, parse_reading, parse_turns
from ..knowledge.model import Knowledge, Measure
from ..knowledge.source import Place, Text
from .access import utc_now
from .checking import uid_by_content
from .closed import in_utc
from .places import BookTrouble
from .rows import NAMED, Row, Rows, Taken, called, take_in, uid_by_chance
from .schema import carburettors, cases, engines, machines, notes, removed, settings
from .weather import air_of

LONGEST_NAME = 60

_HERE = Place("the command line")


def _measure(kind: str, unit: str, least: float, most: float) -> Measure:
    return Measure(Text(kind, _HERE), Text(unit, _HERE), least, most)


MEASURES: Mapping[str, Measure] = MappingProxyType(
    {
        "hours": _measure("time", "hour", 0, 10_000),
        "temperature_c": _measure("temperature", "degC", -40, 60),
        "pressure_hpa": _measure("pressure", "hectopascal", 500, 1_100),
        "humidity_percent": _measure("percent", "percent", 0, 100),
        "field_height_m": _measure("length", "metre", -450, 5_500),
        "head_temperature_c": _measure("temperature", "degC", -40, 400),
    }
)
"""Column of a setting -> the number it takes. Ranges in which people fly and engines live (common practice)."""

NEEDLE_COLUMNS = MappingProxyType({"h_sixteenths": "H", "l_sixteenths": "L"})

CALLED = MappingProxyType(
    {
        "h_sixteenths": "H needle", "l_sixteenths": "L needle", "hours": "hours", "temperature_c": "temperature",
        "pressure_hpa": "pressure", "humidity_percent": "humidity", "field_height_m": "height of the field",
        "head_temperature_c": "head temperature",
    }
)  # fmt: skip
"""Column of a setting -> what it is called when it is typed."""


def named(text: str) -> str:
    """Return a name as it is kept. Raises BookTrouble when it is none."""
    name = " ".join(text.split())
    if not name or not name.isprintable() or len(name) > LONGEST_NAME:
        raise BookTrouble(f"'{name[:LONGEST_NAME]}' is no name; use up to {LONGEST_NAME} plain letters and figures")
    return name


def when(text: str | None) -> str:
    """Return a day or time as it is kept; None is now. Raises BookTrouble."""
    if text is None:
        return datetime.now().astimezone().isoformat(timespec="seconds")
    try:
        moment = datetime.fromisoformat(text)
        here = moment if moment.tzinfo else moment.astimezone()
        in_utc(here.isoformat())  # the very first and last day of the calendar are no time everywhere
    except (ValueError, OverflowError):
        raise BookTrouble(f"'{text[:40]}' is no day or time; write 2026-05-01 or 2026-05-01T10:00") from None
    return here.isoformat(timespec="seconds")


def day_meant(text: str) -> str:
    """Return a day, month or year as times begin: 2026-05-01, 2026-05 or 2026; '' stays. Raises BookTrouble."""
    if text and not re.fullmatch(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?", text):
        raise BookTrouble(f"'{text[:40]}' is no day; write 2026-05-01, or 2026-05 for the month")
    return text


def setting_value(column: str, text: str) -> float | int:
    """Return a number of a setting from how it was typed, with any unit of its kind. Raises BookTrouble."""
    try:
        if column in NEEDLE_COLUMNS:
            sixteenths, moved = parse_turns(text)
            if moved or not 0 <= sixteenths <= MOST_OPEN:
                raise NotAReading(f"'{text}' is no count; write turns out from lightly seated, such as 1 1/4")
            return sixteenths
        return round(parse_reading(text, MEASURES[column]).value, 2)
    except NotAReading as error:
        raise BookTrouble(f"{CALLED[column]}: {error}") from None


def number(text: str) -> float:
    """Return a plain number that is not below nothing. Raises BookTrouble."""
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value < 1e6:
        raise BookTrouble(f"'{text[:40]}' is no number that can be meant here")
    return value


def kind(knowledge: Knowledge, text: str) -> str:
    """Return the kind of machine meant: an answer of the rules' question about it. Raises BookTrouble."""
    answers = knowledge.findings[MACHINE].answers if MACHINE in knowledge.findings else {}
    if text not in answers:
        raise BookTrouble(f"'{text[:40]}' is no kind of machine; the rules know {', '.join(answers)}")
    return text


def known(connection: Connection, table: Table, name: str) -> Row:
    """Return the row of an owner, machine, engine, carburettor or case by its name. Raises BookTrouble."""
    meant = called(table, named(name)) if table.name in NAMED else func.lower(table.c.name) == named(name).lower()
    found = [row._asdict() for row in connection.execute(select(table).where(meant).limit(3))]
    if not found:
        what = table.name.removesuffix("s")
        raise BookTrouble(f"no {what} is called '{named(name)}' in the book; diagnose book search finds names")
    if len(found) > 1 and table is not cases:
        raise BookTrouble(f"more than one {table.name.removesuffix('s')} is called '{named(name)}'; say which machine")
    return found[0]


def added(connection: Connection, table: Table, values: Mapping[str, Any]) -> Taken:
    """Add one row to a table with a name of its own, welcome again if it was removed once."""
    whole: dict[str, Any] = {"changed": utc_now(), **values}
    whole.setdefault("uid", uid_by_content(table.name, whole))
    connection.execute(removed.delete().where(removed.c.uid == whole["uid"]))
    if connection.scalar(select(table.c.uid).where(table.c.uid == whole["uid"])):
        raise BookTrouble(f"the book has this {table.name.removesuffix('s')} already; diagnose book correct changes it")
    rows: Rows = {table.name: [whole]}
    return take_in(connection, rows)


def engine_of(connection: Connection, machine: Row, name: str | None) -> Row:
    """Return the engine of a machine, by name where it has several. Raises BookTrouble."""
    where = engines.c.machine == machine["uid"]
    found = [row._asdict() for row in connection.execute(select(engines).where(where).order_by(engines.c.changed))]
    if name is not None:
        found = [row for row in found if row["name"].casefold() == named(name).casefold()]
    if not found:
        raise BookTrouble(f"'{machine['name']}' has no such engine in the book; diagnose book add engine enters it")
    return found[-1]


def latest_carburettor(connection: Connection, machine: str) -> str | None:
    """Return the uid of the carburettor entered last for a machine."""
    return connection.scalar(
        select(carburettors.c.uid)
        .join(engines, carburettors.c.engine == engines.c.uid)
        .where(engines.c.machine == machine)
        .order_by(carburettors.c.changed.desc())
        .limit(1)
    )


def add_setting(connection: Connection, machine: str, values: Mapping[str, Any], at: str | None) -> None:
    """Write a setting of a machine, with the air that its weather comes to. Raises BookTrouble."""
    owner = known(connection, machines, machine)["uid"]
    carburettor = latest_carburettor(connection, owner)
    row = {"uid": uid_by_chance(), "machine": owner, "carburettor": carburettor, "at": when(at), **values}
    added(connection, settings, {**row, **air_of(row)})


def add_note(connection: Connection, machine: str, text: str, at: str | None) -> None:
    """Write a note about a machine. Raises BookTrouble."""
    said = " ".join(text.split())
    if not said or not said.isprintable():
        raise BookTrouble("a note wants some plain text")
    about = known(connection, machines, machine)["uid"]
    added(connection, notes, {"uid": uid_by_chance(), "machine": about, "at": when(at), "text": said})


_RESULT = re.compile(r"(?P<name>[a-z0-9-]{1,40})=(?P<value>-?\d+(?:\.\d+)?)\s*(?P<unit>\S{0,12})")


def add_recording(connection: Connection, machine: str | None, file: str, results: Sequence[str], at: str | None) -> None:
    """Write what a recording said: `name=number` each, with its unit behind it. Raises BookTrouble."""
    read = [_RESULT.fullmatch(text) for text in results]
    for text, found in zip(results, read, strict=True):
        if found is None:
            raise BookTrouble(f"'{text[:40]}' is no result; write NAME=NUMBER, such as four-stroking=7%")
    of = known(connection, machines, machine)["uid"] if machine else None
    uid, moment = uid_by_chance(), when(at)
    row = {"uid": uid, "machine": of, "case": None, "at": moment, "file": named(file), "changed": utc_now()}
    parts = [{"recording": uid, **found.groupdict(), "value": float(found["value"])} for found in read if found]
    take_in(connection, {"recordings": [row], "recording_results": parts})
