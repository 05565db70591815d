"""Cases drawn from the rule base's own odds: faults, what the machine shows, and what its owner says of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from random import Random

import numpy as np

from ..knowledge.model import Answered, Finding, Knowledge, Lacks, leaves
from ..planning.steps import needs_of
from ..reasoning.rank import OTHER, TWO_FAULTS, both_show
from ..reasoning.reason import reason
from ..reasoning.tables import Floats, general_rates, shown_rates, tables_of

MOST_DRAWS = 60
"""Draws before a machine or a set of answers is given up: some causes are nearly impossible on most machines."""

COMPLAINTS = 3
"""Things an owner tells before anything is asked. The thirty invented owners of the tests tell three or four."""


@dataclass(frozen=True, slots=True)
class OwnerKnows:
    """How well the owner knows: share of answers not known, and share that is wrong. Both 0 to 1."""

    unknown: float = 0.15
    wrong: float = 0.05


CLEAN = OwnerKnows(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Owner:
    """What the owner of one machine says of it.

    told          finding -> the answer he gives; a finding that is missing is not known
    looked_again  finding -> the answer on a second look; what was not known may be known then
    """

    told: Mapping[str, str]
    looked_again: Mapping[str, str]

    def after(self, mended: Mapping[str, str]) -> Owner:
        """The same owner once these findings have been put right; he has seen each of them."""
        return Owner({**self.told, **mended}, {**self.looked_again, **mended})


@dataclass(frozen=True, slots=True)
class DrawnCase:
    """One machine with a hidden fault.

    faults     the causes it has: one, two, or none of the rules' (then nothing in the rules cures it)
    shows      finding -> the answer that is true of it; what a machine without the part cannot show is missing
    owner      what he says of it
    left       of two faults: the one put right first -> what he says then
    complaint  findings that the owner tells of before anything is asked
    """

    number: int
    faults: tuple[str, ...]
    shows: Mapping[str, str]
    owner: Owner
    left: Mapping[str, Owner]
    complaint: tuple[str, ...]


def draw(knowledge: Knowledge, number: int, seed: int, owner: OwnerKnows) -> DrawnCase:
    """Return case `number` of a series. The same seed and number give the same case, whatever else is drawn.

    Faults come by the rules' own odds: how common each cause is, two at once and none of them as often as rank() takes
    it. Answers are drawn independently given the faults, and drawn anew where they cannot all be true.
    """
    rng = Random(f"{seed}/{number}")
    shows = None
    while shows is None:
        faults = _faults(knowledge, rng)
        shows = _shown(knowledge, faults, rng)
    says = _owner(knowledge, shows, owner, rng)
    # He tells of what is truly unusual, and may be mistaken in that as in anything else: picked from his answers instead,
    # the rarest would mostly be his mistakes.
    complaint = complaint_of(knowledge, {name: shows[name] for name in says.told}, rng)
    left = {}
    for fault, other in zip(faults, reversed(faults), strict=True) if len(faults) > 1 else ():
        left[fault] = _owner(knowledge, _shown_after(knowledge, shows, faults, other, rng), owner, rng)
    return DrawnCase(number, faults, shows, says, left, complaint)


def _owner(knowledge: Knowledge, shows: Mapping[str, str], owner: OwnerKnows, rng: Random) -> Owner:
    certain = machine_findings(knowledge)
    told = {name: _said(knowledge, name, shows[name], owner.wrong, rng) for name in shows if name not in certain}
    told = {name: answer for name, answer in told.items() if rng.random() >= owner.unknown}
    told.update((name, shows[name]) for name in certain if name in shows)
    again = {name: _said(knowledge, name, shows[name], owner.wrong, rng) for name in shows}
    return Owner(told, {name: answer for name, answer in again.items() if name in told or rng.random() >= owner.unknown})


def machine_findings(knowledge: Knowledge) -> tuple[str, ...]:
    """Return what an owner can see of the machine itself: findings that decide whether it has the part of some cause."""
    parts = {need for cause in knowledge.causes.values() for need in cause.needs}
    return tuple(
        dict.fromkeys(
            str(leaf.finding)
            for rule in knowledge.rules.values()
            if isinstance(rule.outcome, Lacks) and parts.intersection(rule.outcome.needs)
            for leaf in leaves(rule.when)
            if isinstance(leaf, Answered)
        )
    )


def _faults(knowledge: Knowledge, rng: Random) -> tuple[str, ...]:
    causes = tuple(map(str, knowledge.causes))
    how_common = tables_of(knowledge).how_common.tolist()
    kind = rng.random()
    if kind < OTHER:
        return ()
    first = rng.choices(causes, how_common)[0]
    if kind >= OTHER + TWO_FAULTS:
        return (first,)
    second = first
    while second == first:
        second = rng.choices(causes, how_common)[0]
    return (first, second)


def _shown(knowledge: Knowledge, faults: tuple[str, ...], rng: Random) -> dict[str, str] | None:
    """What a machine with these faults shows; None when none was drawn that can have them, or no answers agree."""
    needs = tuple(str(need) for fault in faults for need in knowledge.causes[fault].needs)
    parts = machine_findings(knowledge)
    shows: dict[str, str] = {}
    for _ in range(MOST_DRAWS):
        shows = _drawn(knowledge, faults, parts, rng)
        machine = reason(knowledge, shows)
        if machine.applies(needs) and not machine.clashes:
            break
    else:
        return None
    shows.update(_drawn(knowledge, faults, [str(name) for name in knowledge.findings if name not in parts], rng))
    return _possible(knowledge, shows, faults, rng)


def _shown_after(
    knowledge: Knowledge, shows: Mapping[str, str], faults: tuple[str, ...], left: str, rng: Random
) -> dict[str, str]:
    """What the same machine shows when only the fault `left` is left of two.

    An answer stays as often as it can while each is met as often as with that fault alone (the maximal coupling of the
    two): what came of the other fault goes, and what neither has a say in stays as it was.
    """
    parts = machine_findings(knowledge)
    for _ in range(MOST_DRAWS):
        after = {name: shows[name] for name in parts if name in shows}
        for name in (str(name) for name in knowledge.findings if name not in parts):
            finding = knowledge.findings[name]
            alone = _rates(knowledge, (left,), finding)
            if name in shows:
                both = _rates(knowledge, faults, finding)
                place = list(finding.answers).index(shows[name])
                if rng.random() * both[place] <= alone[place]:
                    after[name] = shows[name]
                    continue
                alone = np.maximum(alone - both, 0.0)
            after[name] = str(rng.choices(list(finding.answers), alone.tolist())[0])
        possible = _possible(knowledge, after, (left,), rng)
        if possible is not None:
            return possible
    return dict(shows)


def _possible(knowledge: Knowledge, shows: dict[str, str], faults: tuple[str, ...], rng: Random) -> dict[str, str] | None:
    """What of this the machine can show, drawn anew where answers cannot all be true; None when they never agree."""
    parts = machine_findings(knowledge)
    for _ in range(MOST_DRAWS):
        # Nobody can tell how an engine idles that does not start, or how a governor hunts that is not there.
        able = reason(knowledge, shows)
        shown = {n: a for n, a in shows.items() if able.applies(needs_of(knowledge, knowledge.findings[n]))}
        clashes = reason(knowledge, shown).clashes
        if not clashes:
            return shown
        premises = (leaf for rule in clashes for leaf in leaves(knowledge.rules[rule].when))
        redraw = sorted({str(leaf.finding) for leaf in premises if isinstance(leaf, Answered)} - set(parts))
        shows.update(_drawn(knowledge, faults, redraw, rng))
    return None


def _drawn(knowledge: Knowledge, faults: tuple[str, ...], names: Iterable[str], rng: Random) -> dict[str, str]:
    drawn = {}
    for name in names:
        finding = knowledge.findings[name]
        drawn[name] = str(rng.choices(list(finding.answers), _rates(knowledge, faults, finding).tolist())[0])
    return drawn


def _rates(knowledge: Knowledge, faults: tuple[str, ...], finding: Finding) -> Floats:
    general = general_rates(finding)
    rates = [
        shown_rates(finding, knowledge.causes[fault].shows[finding.id])
        if finding.id in knowledge.causes[fault].shows
        else general
        for fault in faults
    ]
    match rates:
        case []:
            return general
        case [alone]:
            return alone
    a, b = (np.array([side]) for side in rates)
    return both_show(a, b, general, not finding.unordered)[0]


def most_usual(finding: Finding) -> str:
    """Return the answer that most machines give."""
    return list(map(str, finding.answers))[int(general_rates(finding).argmax())]


def _said(knowledge: Knowledge, finding: str, true: str, wrong: float, rng: Random) -> str:
    """What the owner says: the truth, or by mistake one of the other answers."""
    others = [str(answer) for answer in knowledge.findings[finding].answers if answer != true]
    return rng.choice(others) if others and rng.random() < wrong else true


def complaint_of(knowledge: Knowledge, shows: Mapping[str, str], rng: Random) -> tuple[str, ...]:
    """Return the most unusual of the things that an owner would call across the pits: what any engine does is not told,
    and what only a check can find is not among the first words."""
    certain = machine_findings(knowledge)
    unusual = []
    for name, answer in shows.items():
        finding = knowledge.findings[name]
        if name not in certain and finding.check is None and finding.complaint(answer):
            rate = general_rates(finding)[list(finding.answers).index(answer)]
            unusual.append((rate, rng.random(), name))
    return tuple(name for _, _, name in sorted(unusual)[:COMPLAINTS])
