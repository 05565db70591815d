"""Hearings: what a recording answers. A hearing says between which limits something measured must lie for an answer.

What can be measured is fixed here, as the kinds of numbers are: the program measures, the rules judge.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from .source import Place, Problem, Text

if TYPE_CHECKING:
    from .model import Finding, Knowledge
    from .reader import Fields


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something measured in a recording: its unit, what it is called, and what it is the number of."""

    unit: str
    label: str
    says: str


MEASURED: Mapping[str, Quantity] = MappingProxyType(
    {
        "share-idle": Quantity("percent", "four-stroking at idle", "of the time at idle"),
        "share-power": Quantity("percent", "four-stroking at power", "of the time at power"),
        "share-loaded": Quantity("percent", "four-stroking under load", "of the time under load"),
        "share-unloaded": Quantity("percent", "four-stroking, load off", "of the time after the load came off"),
        "misses-power": Quantity("percent", "beats missed in no order", "of the beats at power outside four-stroking"),
        "hiccups-power": Quantity("count", "hiccups in a minute", "at power, several beats missed in a row"),
        "idle-swing": Quantity("percent", "idle swings through", "of its speed, from low to high"),
        "idle-drift": Quantity("percent", "idle climbs in a minute", "of its speed; below nothing it sinks"),
        "surge-depth": Quantity(
            "percent", "swing of speed at power", "of its speed, from low to high, the throttle left alone"
        ),
        "surge-period": Quantity("second", "one swing lasts", "from one swing to the next"),
        "surge-alike": Quantity("percent", "one swing like the next", "how far one swing is like the next"),
        "sag-depth": Quantity("percent", "sag under load", "of its speed before the load"),
        "sag-recovery": Quantity("second", "back after the load", "until the speed is what it was"),
        "stop-fall": Quantity("second", "stops within", "while speed or sound goes, when it stops by itself"),
        "stop-rise": Quantity("percent", "speeds up before it stops", "of its speed"),
        "stop-share": Quantity("percent", "four-stroking before it stops", "of the last five seconds"),
    }
)
"""What can be measured in a recording."""

SPAN = re.compile(r"(?:(under|over) )?(-?\d+(?:\.\d+)?)(?: to (-?\d+(?:\.\d+)?))?")
SPAN_SAYS = "'under 2', 'over 8' or '1 to 12'"


@dataclass(frozen=True, slots=True)
class Span:
    """From `least` up to `most`, in the unit of what is measured."""

    least: float
    most: float
    place: Place

    def __str__(self) -> str:
        if self.least == float("-inf"):
            return f"under {self.most:g}"
        return f"over {self.least:g}" if self.most == float("inf") else f"{self.least:g} to {self.most:g}"

    def holds(self, low: float, high: float) -> bool:
        """True if everything from `low` to `high` lies in it."""
        return self.least <= low and high <= self.most

    def meets(self, other: Span) -> bool:
        """True if some number lies in both."""
        return max(self.least, other.least) < min(self.most, other.most)


@dataclass(frozen=True, slots=True)
class Hearing:
    """What a recording answers when all it measures lies in these spans.

    says: finding -> its answer; for a finding with a number, the measure that is its number.
    """

    id: Text
    measured: Mapping[str, Span]
    says: Mapping[str, Text]
    because: Text
    basis: Text
    place: Place


def read_hearing(it: Fields) -> Hearing:
    """Return the hearing written in one entry; what is wrong with it is noted."""
    spans: dict[str, Span] = {}
    for key, node in it.table_of("measured") or ():
        it.one_of(key, "measured", tuple(MEASURED))
        text = it.plain(node, key)
        span = None if text is None else _span(text)
        if span is None:
            it.wrong(node.place, f"'{key}' takes {SPAN_SAYS}")
        else:
            spans[key] = span
    says: dict[str, Text] = {}
    for key, node in it.table_of("says") or ():
        answer = it.plain(node, key)
        if answer is not None:
            says[it.an_id(key)] = it.an_id(answer)
    return Hearing(
        id=it.id("hearing"),
        measured=MappingProxyType(spans),
        says=MappingProxyType(says),
        because=it.text("because"),
        basis=it.text("basis"),
        place=it.table.place,
    )


def _span(text: Text) -> Span | None:
    found = SPAN.fullmatch(text)
    if not found or bool(found[1]) == bool(found[3]):
        return None
    first = float(found[2])
    least, most = {"under": (float("-inf"), first), "over": (first, float("inf"))}.get(
        found[1] or "", (first, float(found[3] or "nan"))
    )
    return Span(least, most, text.place) if least < most else None


def problems(knowledge: Knowledge) -> Iterator[Problem]:
    """Yield what is wrong with hearings: answers nobody can give, and two that answer one question differently."""
    hearings = list(knowledge.hearings.values())
    for number, hearing in enumerate(hearings):
        for name, answer in hearing.says.items():
            if name in knowledge.findings:
                yield from _answer(knowledge.findings[name], answer)
            for other in hearings[:number]:
                if other.says.get(name, answer) != answer and not _apart(hearing, other):
                    says = f"hearings '{other.id}' and '{hearing.id}' can answer '{name}' differently of one recording"
                    yield Problem(hearing.id.place, f"{says}; let one measure part them")


def _answer(finding: Finding, answer: Text) -> Iterator[Problem]:
    if finding.measure is None:
        if answer not in finding.answers:
            yield Problem(answer.place, f"no answer of '{finding.id}' is called '{answer}'")
    elif answer not in MEASURED or MEASURED[answer].unit != finding.measure.unit:
        yield Problem(
            answer.place, f"'{finding.id}' is a number; name what is measured in its unit, {finding.measure.unit}"
        )


def _apart(one: Hearing, other: Hearing) -> bool:
    """True if a measure that both name parts them."""
    shared = one.measured.keys() & other.measured.keys()
    return any(not one.measured[name].meets(other.measured[name]) for name in shared)
