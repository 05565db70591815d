"""The history of one machine: what was set last, what was wrong last, and what comes back again and again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from ..case.readings import count_words
from ..knowledge.model import Knowledge
from . import asking
from .asking import FoundCase
from .pages import cause_name, counted, day
from .rows import Row, called
from .schema import cases, machines, notes, owners, recordings, settings

AGAIN = 2
"""Times from which on a fault counts as one that comes back."""


@dataclass(frozen=True, slots=True)
class Recurring:
    """A fault that came more than once: in all, and in the season, which is the calendar year."""

    cause: str
    times: int
    this_season: int


@dataclass(frozen=True, slots=True)
class History:
    """All that the book knows of a machine; settings, notes and recordings oldest first, cases newest first."""

    machine: Row
    owner: str
    hours: float | None
    settings: tuple[Row, ...]
    cases: tuple[FoundCase, ...]
    notes: tuple[Row, ...]
    recordings: tuple[Row, ...]
    recurring: tuple[Recurring, ...]

    @property
    def last_setting(self) -> Row | None:
        """The last setting in which a needle was counted."""
        counted = [row for row in self.settings if row["h_sixteenths"] is not None or row["l_sixteenths"] is not None]
        return counted[-1] if counted else None

    @property
    def last_weather(self) -> Row | None:
        """The last setting whose weather is known well enough to compare the air with."""
        return next((row for row in reversed(self.settings) if row["air_density"] is not None), None)

    @property
    def last_fault(self) -> FoundCase | None:
        """The last case that ended with a cause."""
        return next((case for case in self.cases if case.how == "found"), None)


def history(connection: Connection, machine: Row, season: str) -> History:
    """Return the history of a machine; `season` is a year, such as 2026."""
    closed = tuple(asking.found_cases(connection, cases.c.machine == machine["uid"]))
    set_so = tuple(asking.of_machine(connection, settings, machine["uid"]))
    hours = [row["hours"] for row in set_so if row["hours"] is not None]
    return History(
        machine=machine,
        owner=connection.scalar(select(owners.c.call_sign).where(owners.c.uid == machine["owner"])) or "",
        hours=hours[-1] if hours else None,
        settings=set_so,
        cases=closed,
        notes=tuple(asking.of_machine(connection, notes, machine["uid"])),
        recordings=tuple(asking.of_machine(connection, recordings, machine["uid"])),
        recurring=recurring(closed, season),
    )


def history_of(connection: Connection, name: str, season: str) -> History | None:
    """Return the history of the machine called so, or None when the book does not know it."""
    row = connection.execute(select(machines).where(called(machines, name))).first()
    return history(connection, row._asdict(), season) if row else None


def recurring(closed: Sequence[FoundCase], season: str) -> tuple[Recurring, ...]:
    """Return the faults that were found more than once, those of this season first."""
    found = [(cause, case.closed.startswith(season)) for case in closed if case.how == "found" for cause in case.causes]
    times = Counter(cause for cause, _ in found)
    this_season = Counter(cause for cause, now in found if now)
    again = [Recurring(cause, many, this_season[cause]) for cause, many in times.items() if many >= AGAIN]
    return tuple(sorted(again, key=lambda one: (-one.this_season, -one.times, one.cause)))


def opening_lines(known: History, knowledge: Knowledge) -> list[str]:
    """What a walk on this machine begins with: a few lines, the latest of each kind."""
    machine = known.machine
    who = [machine["name"], machine["kind"], f"of {known.owner}" if known.owner else ""]
    hours = f"; {known.hours:g} hours on the engine" if known.hours is not None else ""
    lines = [", ".join(part for part in who if part) + hours + "."]
    last = known.last_setting
    if last is not None:
        lines.append(f"Last set {day(last['at'])}: {setting_words(last)}.")
    fault = known.last_fault
    if fault is not None:
        names = " and ".join(cause_name(knowledge, cause) for cause in fault.causes)
        lines.append(f"Last fault {day(fault.closed)}: {names}" + ("." if fault.confirmed != "no" else ", not confirmed."))
    for one in known.recurring[:2]:
        lines.append(f"Comes back: {cause_name(knowledge, one.cause)}, {how_often(one)}.")
    if known.notes:
        note = known.notes[-1]
        lines.append(f"Last note {day(note['at'])}: {note['text']}")
    if len(lines) == 1:
        lines.append("The book holds nothing else of it yet.")
    return lines


def setting_words(row: Row) -> str:
    """A setting as it is said: the needles, and the air of the day as far as it was written down."""
    air = [form.format(row[column]) for column, form in (("temperature_c", "{:.0f} C"), ("pressure_hpa", "{:.0f} hPa"),
           ("density_altitude_m", "density altitude {:.0f} m")) if row[column] is not None]  # fmt: skip
    return ", ".join([*map(" ".join, counted(row).items()), *air])


def how_often(one: Recurring) -> str:
    """'three times this season', 'four times, twice this season'."""
    if one.this_season == one.times:
        return f"{count_words(one.times)} this season"
    season = f", {count_words(one.this_season)} this season" if one.this_season else ""
    return f"{count_words(one.times)} so far{season}"


_PLACES = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def closing_line(one: Recurring, knowledge: Knowledge, machine: str) -> str:
    """What is said when a fault has come back: 'the third time this season on Grey'."""
    name = cause_name(knowledge, one.cause)
    if one.this_season >= AGAIN:
        return f"{name}: the {place_word(one.this_season)} time this season on {machine}. Look for what makes it come back."
    return f"{name}: the {place_word(one.times)} time on {machine}."


def place_word(many: int) -> str:
    """3 -> 'third'."""
    if many < len(_PLACES):
        return _PLACES[many]
    ending = "th" if 10 <= many % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(many % 10, "th")
    return f"{many}{ending}"
