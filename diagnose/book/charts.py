"""What the book draws: needles against the air, faults by month, head temperatures, minutes to the cause."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from statistics import median
from types import MappingProxyType

from sqlalchemy import ColumnElement, Connection, func, select

from ..case.readings import SIXTEENTHS
from ..drawing.chart import Axis, Chart, Trace
from ..knowledge.model import Knowledge
from . import asking
from .pages import cause_name
from .places import BookTrouble
from .rows import Row
from .schema import case_findings, cases, causes_found, settings

HEAD = "head-temperature"
"""The finding whose reading is the temperature of the head."""

MOST_CAUSES = 3
"""Causes with a line of their own; the others are drawn together. Four lines can still be told apart in grey."""


def needles_over_time(connection: Connection, knowledge: Knowledge, machine: Row | None) -> tuple[Chart, ...]:
    """Needles against density altitude, and both over the days: what the air asks for, and when it was given."""
    of = _needed(machine, "needles")
    rows = [row for row in asking.of_machine(connection, settings, of["uid"]) if _counted(row)]
    if not rows:
        raise BookTrouble(f"'{of['name']}' has no needle setting in the book; diagnose book add setting writes one")
    first = _day(rows[0]["at"])
    days = [_day(row["at"]) - first for row in rows]
    began = rows[0]["at"][:10]
    over_days = Chart(
        f"{of['name']}: needles",
        Axis(f"days since {began}"),
        Axis("out from lightly seated", "turns"),
        _needle_traces(rows, days),
    )
    aired = [row for row in rows if row["density_altitude_m"] is not None]
    if not aired:
        return (over_days,)
    heights = [row["density_altitude_m"] for row in aired]
    against_air = Chart(
        f"{of['name']}: needles against the air",
        Axis("density altitude", "m"),
        Axis("out from lightly seated", "turns"),
        _needle_traces(aired, heights),
    )
    air_over_days = Chart(
        f"{of['name']}: the air of the settings",
        Axis(f"days since {began}"),
        Axis("density altitude", "m"),
        (Trace("density altitude", [_day(row["at"]) - first for row in aired], heights, points=True),),
    )
    return (against_air, over_days, air_over_days)


def _counted(row: Row) -> bool:
    return row["h_sixteenths"] is not None or row["l_sixteenths"] is not None


def _needle_traces(rows: Sequence[Row], across: Sequence[float]) -> tuple[Trace, ...]:
    traces = []
    for needle, column in (("H", "h_sixteenths"), ("L", "l_sixteenths")):
        known = [(x, row[column] / SIXTEENTHS) for x, row in zip(across, rows, strict=True) if row[column] is not None]
        if known:
            traces.append(Trace(needle, [x for x, _ in known], [y for _, y in known], points=True))
    return tuple(traces)


def faults_by_month(connection: Connection, knowledge: Knowledge, machine: Row | None) -> tuple[Chart, ...]:
    """How often each cause was found in each month; the commonest by themselves, the others together."""
    month = func.substr(cases.c.closed, 1, 7)
    query = (
        select(month, causes_found.c.cause, func.count())
        .join(cases, cases.c.uid == causes_found.c.case)
        .where(cases.c.how == "found", *_of(machine))
        .group_by(month, causes_found.c.cause)
    )
    counted: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for at, cause, many in connection.execute(query):
        counted[cause][_month(at)] += many
    if not counted:
        raise BookTrouble("no case in the book was closed with a cause yet, so there is nothing to draw")
    by_size = sorted(counted, key=lambda cause: (-sum(counted[cause].values()), cause))
    months = [month for of_cause in counted.values() for month in of_cause]
    span = range(min(months), max(months) + 1)
    since = min(months)
    drawn = [(cause_name(knowledge, cause), [counted[cause]]) for cause in by_size[:MOST_CAUSES]]
    if by_size[MOST_CAUSES:]:
        drawn.append(("all other causes", [counted[cause] for cause in by_size[MOST_CAUSES:]]))
    traces = tuple(
        Trace(
            name,
            [month - since for month in span],
            [float(sum(one.get(month, 0) for one in several)) for month in span],
            points=len(span) == 1,
        )
        for name, several in drawn
    )
    return (Chart(_titled("Causes found", machine), Axis(f"months since {_month_name(since)}"), Axis("cases"), traces),)


def head_temperature(connection: Connection, knowledge: Knowledge, machine: Row | None) -> tuple[Chart, ...]:
    """Head temperatures of a machine over the days, from its settings and its cases."""
    of = _needed(machine, "heat")
    read = select(cases.c.closed, case_findings.c.value).join(cases, cases.c.uid == case_findings.c.case)
    in_cases = connection.execute(
        read.where(case_findings.c.finding == HEAD, case_findings.c.value.is_not(None), cases.c.machine == of["uid"])
    ).all()
    in_settings = [
        (row["at"], row["head_temperature_c"])
        for row in asking.of_machine(connection, settings, of["uid"])
        if row["head_temperature_c"] is not None
    ]
    everything = sorted([(at, value) for at, value in in_cases] + in_settings)
    if not everything:
        raise BookTrouble(f"the book has no head temperature of '{of['name']}' yet")
    first = _day(everything[0][0])
    traces = tuple(
        Trace(name, [_day(at) - first for at, _ in some], [value for _, value in some], points=True)
        for name, some in (("with a setting", in_settings), ("during a fault", sorted(tuple(row) for row in in_cases)))
        if some
    )
    days = Axis(f"days since {everything[0][0][:10]}")
    return (Chart(f"{of['name']}: head temperature", days, Axis("head temperature", "degrees C"), traces),)


def minutes_to_the_cause(connection: Connection, knowledge: Knowledge, machine: Row | None) -> tuple[Chart, ...]:
    """The middle case of each month, and the slowest of its quicker three quarters."""
    query = select(cases.c.closed, cases.c.minutes).where(
        cases.c.how == "found", cases.c.minutes.is_not(None), *_of(machine)
    )
    by_month: dict[int, list[float]] = defaultdict(list)
    for at, minutes in connection.execute(query):
        by_month[_month(at)].append(minutes)
    if not by_month:
        raise BookTrouble("no case in the book was closed with a cause yet, so there is nothing to draw")
    months = sorted(by_month)
    across = [float(month - months[0]) for month in months]
    alone = len(months) == 1
    traces = (
        Trace("half of the cases", across, [median(by_month[month]) for month in months], points=alone),
        Trace("three in four", across, [_quarter(by_month[month]) for month in months], points=alone),
    )
    since = Axis(f"months since {_month_name(months[0])}")
    return (Chart(_titled("Minutes to the cause, or less", machine), since, Axis("time", "minutes"), traces),)


def _quarter(values: list[float]) -> float:
    return sorted(values)[int(0.75 * (len(values) - 1) + 0.5)]


Draws = Callable[[Connection, Knowledge, "Row | None"], tuple[Chart, ...]]

CHARTS: Mapping[str, Draws] = MappingProxyType(
    {
        "needles": needles_over_time,
        "faults": faults_by_month,
        "heat": head_temperature,
        "minutes": minutes_to_the_cause,
    }
)
"""What `diagnose book plot` can draw."""


def _needed(machine: Row | None, what: str) -> Row:
    if machine is None:
        raise BookTrouble(f"say whose: diagnose book plot {what} --machine NAME")
    return machine


def _of(machine: Row | None) -> list[ColumnElement[bool]]:
    return [cases.c.machine == machine["uid"]] if machine else []


def _titled(title: str, machine: Row | None) -> str:
    return f"{title}: {machine['name']}" if machine else title


def _day(at: str) -> float:
    return float(date.fromisoformat(at[:10]).toordinal())


def _month(at: str) -> int:
    return int(at[:4]) * 12 + int(at[5:7]) - 1


def _month_name(month: int) -> str:
    return f"{month // 12}-{month % 12 + 1:02}"
