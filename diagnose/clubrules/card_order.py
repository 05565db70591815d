"""The order of a pit card: a walk in which nobody answers, simulated with the planner itself.

After every question it goes on as after the answer that settles nothing, which is where a paper card has to lead.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ..knowledge.model import Knowledge
from ..planning.plan import next_questions
from ..planning.steps import DoCheck, Progress, askable, question, under_of
from ..reasoning.rank import Standing, rank
from ..reasoning.reason import Conclusions, reason
from ..reasoning.tables import tables_of

STEPS = 12
"""Questions and checks on a card at most; past these it is quicker to walk with the program."""

DECISIVE = 2.0
"""An answer that multiplies the odds of its cause by at least so much is worth a remark."""

LEAST_SHARE = 0.05
"""An answer that leaves its cause less likely than this points nowhere yet."""


@dataclass(frozen=True, slots=True)
class Point:
    """An answer, and the cause it makes much likelier."""

    says: str
    cause: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A step of the simulated walk: the findings asked at once, each with what its telling answers point to."""

    check: str
    points: Mapping[str, tuple[Point, ...]]


@dataclass(frozen=True, slots=True)
class Way:
    """Where the simulated walk is: what was answered, what was left open, what was asked, what was ever warned of or on
    hold."""

    answers: Mapping[str, str]
    unknown: frozenset[str] = frozenset()
    asked: tuple[Asked, ...] = ()
    cautions: tuple[str, ...] = ()
    holds: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def order_of(knowledge: Knowledge, finding: str, answer: str) -> tuple[tuple[str, ...], Way]:
    """Return what comes before everything else and stays open on paper, and the way of the card of one complaint."""
    conclusions = reason(knowledge, {finding: answer})
    opening = _opening(knowledge, conclusions)
    way = _guarded(Way({finding: answer}, unknown=frozenset(opening)), conclusions)
    while len(way.asked) < STEPS:
        further = _further(knowledge, way)
        if further is None:
            break
        way = further
    return opening, way


def _opening(knowledge: Knowledge, conclusions: Conclusions) -> tuple[str, ...]:
    """The findings that rules put before everything else. A card cannot know their answers, so they stay open."""
    found: dict[str, None] = {}
    for name in conclusions.first:
        found.update(dict.fromkeys(map(str, knowledge.checks[name].finds if name in knowledge.checks else (name,))))
    return tuple(n for n in found if askable(knowledge, conclusions, Progress(), knowledge.findings[n]))


def _further(knowledge: Knowledge, way: Way) -> Way | None:
    """Ask what tells most a minute, and go on as after the answer that settles nothing; None when nothing is left."""
    conclusions = reason(knowledge, way.answers)
    standing = rank(knowledge, conclusions)
    progress = Progress(unknown=way.unknown)
    telling = next_questions(knowledge, conclusions, standing, progress, most=len(knowledge.findings))
    # The card is read with other answers than those assumed, so what was ever on hold here stays off the card.
    allowed = (name for name, _ in telling if not way.holds.keys() & _under(knowledge, name))
    name = next(allowed, None)
    if name is None:
        return None
    match question(knowledge, conclusions, progress, knowledge.findings[name]):
        case DoCheck(check, finds):
            asked = tuple(one for one in finds if not way.holds.keys() & _under(knowledge, one))
        case _:
            check, asked = "", (name,)
    parted = {one: _parted(knowledge, standing, one) for one in asked}
    step = Asked(check, {one: points for one, (points, _) in parted.items()})
    way = replace(way, asked=(*way.asked, step))
    for one, (_, idle) in parted.items():
        way = _answered(knowledge, way, one, idle)
    return way


def _answered(knowledge: Knowledge, way: Way, name: str, idle: str) -> Way:
    """Go on with an answer, unless it says what the machine is or cannot be true: then the question is left open."""
    before = reason(knowledge, way.answers)
    settled = {**way.answers, name: idle}
    after = reason(knowledge, settled)
    if after.clashes or after.lacks.keys() - before.lacks.keys():
        return replace(way, unknown=way.unknown | {name})
    return _guarded(replace(way, answers=settled), after)


def _guarded(way: Way, conclusions: Conclusions) -> Way:
    """Add the cautions and holds that follow; none that was ever there is taken away."""
    holds = dict(way.holds)
    for hold, rules in conclusions.holds.items():
        holds[hold] = tuple(dict.fromkeys((*holds.get(hold, ()), *rules)))
    return replace(way, cautions=tuple(dict.fromkeys((*way.cautions, *conclusions.cautions))), holds=holds)


def _under(knowledge: Knowledge, name: str) -> set[str]:
    return set(map(str, under_of(knowledge, knowledge.findings[name])))


def _parted(knowledge: Knowledge, standing: Standing, name: str) -> tuple[tuple[Point, ...], str]:
    """What the telling answers point to, the most settling first, and the answer to go on with: of all but the most
    settling one the likeliest."""
    tables = tables_of(knowledge)
    answers = list(knowledge.findings[name].answers.values())
    joint = tables.likelihood[name] * standing.cures[:, None]
    chance = joint.sum(axis=0) + tables.general[name] * standing.other
    share = joint / chance
    pointed = np.argmax(share - standing.cures[:, None], axis=0)
    settling = sorted(range(len(answers)), key=lambda column: -share[pointed[column], column])
    idle = max(settling[1:], key=lambda column: chance[column], default=settling[0])
    points = tuple(
        Point(str(answers[column].say), str(knowledge.causes[tables.causes[pointed[column]]].name))
        for column in settling
        if column != idle
        and share[pointed[column], column] >= max(LEAST_SHARE, _raised(float(standing.cures[pointed[column]])))
    )
    return points[:3], str(answers[idle].id)


def _raised(share: float) -> float:
    """The share of a cause whose odds are multiplied by DECISIVE."""
    return DECISIVE * share / (1 + (DECISIVE - 1) * share)
