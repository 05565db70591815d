"""What would lift a hold: the cheapest answers that could still bring about a condition that is not yet concluded.

This looks ahead along the rules; it concludes nothing. Only the chainer concludes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ..case.casefile import MACHINE
from ..knowledge.model import KNOWN, All, Answered, Any, Is, IsNot, Knowledge, Means, Term, leaves
from ..reasoning.reason import Conclusions


@dataclass(frozen=True, slots=True)
class Way:
    """Questions still to be answered, and their minutes together; infinite when there is no way."""

    minutes: float
    findings: tuple[str, ...] = ()


NO_WAY = Way(math.inf)
DONE = Way(0.0)


def way_to_lift(
    knowledge: Knowledge, conclusions: Conclusions, holds: Iterable[str], minutes: Mapping[str, float]
) -> tuple[str, ...]:
    """Return the questions that may lift all these holds, the quickest first; () when no answer can.

    minutes: what each open question costs. A rule that stands because something is not yet concluded is lifted by
    concluding it. A rule that stands on what was answered is lifted by no question, only by putting that right.
    """
    wanted: dict[str, None] = {}
    for hold in holds:
        for name in conclusions.holds[hold]:
            missing = [leaf.condition for leaf in leaves(knowledge.rules[name].when) if isinstance(leaf, IsNot)]
            way = min((_to_conclude(knowledge, conclusions, c, minutes, ()) for c in missing), key=_cost, default=NO_WAY)
            if way.minutes == math.inf:
                return ()
            wanted.update(dict.fromkeys(way.findings))
    return tuple(sorted(wanted, key=lambda finding: minutes[finding]))


def behind(knowledge: Knowledge, conclusions: Conclusions, hold: str) -> tuple[str, ...]:
    """Return the answered findings that a standing hold rests on: what to answer again once it is put right.

    What the machine is does not change by a repair, so it is left out.
    """
    found: dict[str, None] = {}
    for name in conclusions.holds.get(hold, ()):
        for leaf in leaves(knowledge.rules[name].when):
            match leaf:
                case Answered(finding, answers) if conclusions.answers.get(finding) in answers:
                    found[str(finding)] = None
                case Is(condition) if condition in conclusions.conditions:
                    found.update(dict.fromkeys(sorted(conclusions.conditions[condition].rests_on)))
    return tuple(name for name in found if name != MACHINE)


def _cost(way: Way) -> float:
    return way.minutes


def _to_conclude(
    knowledge: Knowledge, conclusions: Conclusions, condition: str, minutes: Mapping[str, float], above: tuple[str, ...]
) -> Way:
    if condition in conclusions.conditions:
        return DONE
    if condition in above:
        return NO_WAY
    ways = (
        _to_hold(knowledge, conclusions, rule.when, minutes, (*above, condition))
        for rule in knowledge.rules.values()
        if isinstance(rule.outcome, Means) and rule.outcome.condition == condition
    )
    return min(ways, key=_cost, default=NO_WAY)


def _to_hold(
    knowledge: Knowledge, conclusions: Conclusions, term: Term | None, minutes: Mapping[str, float], above: tuple[str, ...]
) -> Way:
    match term:
        case Answered(finding, answers) if finding in conclusions.answers:
            return DONE if answers == (KNOWN,) or conclusions.answers[finding] in answers else NO_WAY
        case Answered(finding, _):
            return Way(minutes[finding], (str(finding),)) if finding in minutes else NO_WAY
        case Is(condition):
            return _to_conclude(knowledge, conclusions, condition, minutes, above)
        case All(terms):
            ways = [_to_hold(knowledge, conclusions, inner, minutes, above) for inner in terms]
            findings = tuple(dict.fromkeys(finding for way in ways for finding in way.findings))
            return Way(sum(way.minutes for way in ways), findings)
        case Any(terms):
            return min((_to_hold(knowledge, conclusions, inner, minutes, above) for inner in terms), key=_cost)
        case _:
            return DONE
