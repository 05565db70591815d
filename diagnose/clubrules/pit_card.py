"""The pit card: for each main complaint one A4 page with its cautions, the order of questions and checks, the causes.

Pure: knowledge and complaints in, cards out; how they look is in the template. The order is in `card_order`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from types import MappingProxyType

import numpy as np

from ..knowledge.fields import likeliest
from ..knowledge.model import Check, Finding, Knowledge, Step
from ..planning.worth import kin_of
from ..reasoning.rank import RankedCause, rank
from ..reasoning.reason import reason
from ..reasoning.tables import Floats, tables_of
from ..report.files import filled
from ..report.wording import ENGINE, minutes
from .card_order import Asked, Point, Way, order_of

COMPLAINTS = 8
"""Pages when no complaint is named: what fits in a flight box and covers most days."""

LIKELIEST = 6

LETTERS_A_LINE = 110
LINES_A_PAGE = 84
"""What an A4 page holds in the print of the template, with room to spare; a card with more gives up its last steps."""


class NoSymptom(Exception):
    """A complaint named on the command line is none; the message says what it takes."""


@dataclass(frozen=True, slots=True)
class Guard:
    """A caution (`level` danger, warning or care) or a hold (`level` hold), and what it says."""

    level: str
    says: str


@dataclass(frozen=True, slots=True)
class Result:
    """A question of a step, and what its telling answers point to."""

    ask: str
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class CardStep:
    """One question, or a check (`name`) with the questions it answers: what it takes, how, and what is seen."""

    name: str
    facts: str
    how: tuple[str, ...]
    results: tuple[Result, ...]


@dataclass(frozen=True, slots=True)
class CardCause:
    """A cause with its share after the complaint alone, and the check that settles it, unnamed while it is on hold."""

    name: str
    share: float
    settled_by: str


@dataclass(frozen=True, slots=True)
class Card:
    """One page."""

    asked: str
    symptom: str
    guards: tuple[Guard, ...]
    opening: tuple[str, ...]
    steps: tuple[CardStep, ...]
    causes: tuple[CardCause, ...]
    other: float


def as_html(knowledge: Knowledge, cards: Sequence[Card], program: str) -> str:
    """Return the cards as one page that needs nothing else and prints one card a sheet; all text is escaped."""
    packs = [f"{pack.name} ({pack.id} {pack.version})" for pack in knowledge.packs]
    return filled("pit-card.html.j2", {"cards": [asdict(card) for card in cards], "packs": packs, "program": program})


def symptoms_named(knowledge: Knowledge, texts: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Return (finding, answer) of each FINDING=ANSWER. Raises NoSymptom."""
    found = []
    for text in texts:
        name, _, answer = text.partition("=")
        finding = knowledge.findings.get(name)
        if finding is None:
            meant = likeliest(name, knowledge.findings)
            raise NoSymptom(
                f"--symptom {text}: no finding is called '{name}'"
                + (f"; did you mean {meant}?" if meant else "; write FINDING=ANSWER")
            )
        if answer not in finding.answers:
            raise NoSymptom(f"--symptom {text}: '{answer}' is no answer of '{name}'; it takes {', '.join(finding.answers)}")
        found.append((name, answer))
    return tuple(found)


def main_symptoms(knowledge: Knowledge, most: int = COMPLAINTS) -> tuple[tuple[str, str], ...]:
    """Return the complaints that owners call across the pits and that tell most, one of each finding, best first.

    What an answer tells is its part of the information between finding and cause, so rare answers and those that fit
    every cause tell little; the more phrases a pack gives for it, the more often it is called. Of findings that say the
    same only the best is taken.
    """
    prior = _prior(knowledge)
    best = sorted(
        _complaints(knowledge),
        key=lambda one: -_told(knowledge, prior, *one) * len(knowledge.findings[one[0]].answers[one[1]].like),
    )
    chosen: dict[str, str] = {}
    for name, answer in best:
        same = {str(other) for kin in kin_of(knowledge).get(name, ()) if kin.are == "same" for other in kin.of}
        if len(chosen) < most and name not in chosen and not same & chosen.keys():
            chosen[name] = answer
    return tuple(chosen.items())


def _complaints(knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    """Complaints of what the machine does.

    Left out is what only a check finds, and what can be told from an armchair: a finding that asks nothing of the machine
    and wants no caution is history.
    """
    for finding in knowledge.findings.values():
        if finding.check or not (finding.needs or finding.cautions):
            continue
        yield from ((str(finding.id), str(answer)) for answer in finding.answers if finding.complaint(answer))


def _prior(knowledge: Knowledge) -> Floats:
    common = tables_of(knowledge).how_common
    return common / common.sum()


def _told(knowledge: Knowledge, prior: Floats, finding: str, answer: str) -> float:
    """The part of one answer in the information between finding and cause, in nats."""
    tables = tables_of(knowledge)
    joint = tables.likelihood[finding][:, tables.column[finding][answer]] * prior
    return float((joint * np.log(joint / (joint.sum() * prior))).sum())


def card(knowledge: Knowledge, finding: str, answer: str) -> Card:
    """Return the card of one complaint on an otherwise unknown machine."""
    standing = rank(knowledge, reason(knowledge, {finding: answer}))
    opening, way = order_of(knowledge, finding, answer)
    return _fitting(
        Card(
            asked=str(knowledge.findings[finding].ask),
            symptom=str(knowledge.findings[finding].answers[answer].say),
            guards=_guards(knowledge, way),
            opening=tuple(str(knowledge.findings[name].ask) for name in opening),
            steps=tuple(_card_step(knowledge, way, asked) for asked in way.asked),
            causes=tuple(_card_cause(knowledge, way, ranked) for ranked in standing.causes[:LIKELIEST]),
            other=standing.other,
        )
    )


# What is on the page.

_LEVELS = MappingProxyType({"danger": 0, "hold": 1, "warning": 2, "care": 3})


def _guards(knowledge: Knowledge, way: Way) -> tuple[Guard, ...]:
    """Cautions and holds of the complaint and of all that the card has done, the gravest first."""
    names = dict.fromkeys(way.cautions)
    for asked in way.asked:
        names.update(dict.fromkeys(map(str, knowledge.checks[asked.check].cautions if asked.check else ())))
        for finding in asked.points:
            names.update(dict.fromkeys(map(str, knowledge.findings[finding].cautions)))
    guards = [Guard(str(knowledge.cautions[name].level), str(knowledge.cautions[name].says)) for name in names]
    for hold, rules in way.holds.items():
        until = " ".join(dict.fromkeys(_sentence(knowledge.rules[rule].until) for rule in rules))
        guards.append(Guard("hold", f"{_sentence(knowledge.holds[hold].name)} Until: {until}"))
    return tuple(sorted(guards, key=lambda guard: _LEVELS[guard.level]))


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _card_step(knowledge: Knowledge, way: Way, asked: Asked) -> CardStep:
    results = tuple(
        Result(str(knowledge.findings[name].ask), points)
        for name, points in asked.points.items()
        if points or len(asked.points) == 1
    )
    if asked.check:
        check = knowledge.checks[asked.check]
        how = tuple(_step_said(knowledge, way, step) for step in check.steps)
        return CardStep(str(check.name), _facts(knowledge, check), how, results)
    finding = knowledge.findings[next(iter(asked.points))]
    return CardStep("", _facts(knowledge, finding), (str(finding.how),) if finding.how else (), results)


def _step_said(knowledge: Knowledge, way: Way, step: Step) -> str:
    """A step as the card says it: not at all while it is on hold, and never without the hold that may forbid it."""
    if way.holds.keys() & set(map(str, step.under)):
        return f"(this step is on hold: {_held(knowledge, step.under)})"
    return f"{step.do} (Not while this is on hold: {_held(knowledge, step.under)}.)" if step.under else str(step.do)


def _held(knowledge: Knowledge, holds: Iterable[str]) -> str:
    return ", ".join(str(knowledge.holds[hold].name) for hold in holds)


def _facts(knowledge: Knowledge, thing: Finding | Check) -> str:
    facts = [minutes(thing.minutes)]
    if isinstance(thing, Check):
        facts.append(ENGINE[thing.engine])
    if thing.tools:
        facts.append(", ".join(thing.tools))
    if thing.under:
        facts.append(f"not while this is on hold: {_held(knowledge, thing.under)}")
    return "; ".join(facts)


def _card_cause(knowledge: Knowledge, way: Way, ranked: RankedCause) -> CardCause:
    cause = knowledge.causes[ranked.cause]
    check = knowledge.checks[cause.settled_by]
    under = {str(hold) for hold in (*check.under, *(hold for step in check.steps for hold in step.under))}
    settled_by = "a check that is on hold" if way.holds.keys() & under else str(check.name)
    return CardCause(str(cause.name), ranked.probability, settled_by)


def _fitting(whole: Card) -> Card:
    """The card without the last steps that a page has no room for. Cautions, holds and causes are never left out."""
    while len(whole.steps) > 1 and _lines(whole) > LINES_A_PAGE:
        whole = replace(whole, steps=whole.steps[:-1])
    return whole


def _lines(page: Card) -> float:
    """About how many lines a card takes: boxes and headings count for a little more than their text."""
    guards = sum(_wrapped(guard.says) + 0.5 for guard in page.guards)
    steps = 0.0
    for step in page.steps:
        steps += 0.5 + _wrapped(f"{step.name} {step.facts}") + _wrapped(" ".join(step.how))
        steps += sum(_wrapped(_said(result)) for result in step.results)
    return 10 + guards + _wrapped(" ".join(page.opening)) + steps + len(page.causes)


def _said(result: Result) -> str:
    return " ".join([result.ask, *(f"{point.says} -> {point.cause};" for point in result.points)])


def _wrapped(text: str) -> int:
    return math.ceil(len(text) / LETTERS_A_LINE)
