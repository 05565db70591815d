"""What would lift a hold: the cheapest answers that could still bring about a condition that is not yet concluded.

This looks ahead along the rules; it concludes nothing. Only the chainer concludes.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ..case.casefile import MACHINE
from ..knowledge.chains import below, concluding, resting_on
from ..knowledge.model import All, Answered, Any, Is, IsNot, Knowledge, Rule, Term, leaves, names_in
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

    minutes: what each question costs that may be asked. A rule that stands because something is not yet concluded is
    lifted by concluding it. A rule that stands on what was answered is lifted by giving that answer anew, where it may be
    asked again: when it was a mistake, or has been put right.
    """
    wanted: dict[str, None] = {}
    for hold in holds:
        for name in conclusions.holds[hold]:
            rule = knowledge.rules[name]
            absent = (str(leaf.condition) for leaf in leaves(rule.when) if isinstance(leaf, IsNot))
            missing = [condition for condition in absent if condition not in conclusions.conditions]
            concluded = _ways_to_conclude(knowledge, conclusions, missing, minutes)
            ways = [concluded.get(condition, NO_WAY) for condition in missing]
            way = min((*ways, _to_answer_anew(knowledge, conclusions, rule, minutes)), key=_cost)
            if way.minutes == math.inf:
                return ()
            wanted.update(dict.fromkeys(way.findings))
    return tuple(sorted(wanted, key=lambda finding: minutes[finding]))


def behind(knowledge: Knowledge, conclusions: Conclusions, hold: str) -> tuple[str, ...]:
    """Return the answered findings that a standing hold rests on: what to answer again once it is put right.

    What the machine is does not change by a repair, so it is left out.
    """
    rules = (knowledge.rules[name] for name in conclusions.holds.get(hold, ()))
    return tuple(dict.fromkeys(finding for rule in rules for finding in _rests_on(conclusions, rule)))


def _rests_on(conclusions: Conclusions, rule: Rule) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for leaf in leaves(rule.when):
        match leaf:
            case Answered() if leaf.holds(conclusions.answers):
                found[str(leaf.finding)] = None
            case Is(condition) if condition in conclusions.conditions:
                found.update(dict.fromkeys(sorted(conclusions.conditions[condition].rests_on)))
    return tuple(name for name in found if name != MACHINE)


def _to_answer_anew(knowledge: Knowledge, conclusions: Conclusions, rule: Rule, minutes: Mapping[str, float]) -> Way:
    """All that a standing rule rests on, asked again."""
    found = _rests_on(conclusions, rule)
    if not found or not minutes.keys() >= set(found):
        return NO_WAY
    return Way(sum(minutes[name] for name in found), found)


def _cost(way: Way) -> float:
    return way.minutes


def _ways_to_conclude(
    knowledge: Knowledge, conclusions: Conclusions, wanted: Iterable[str], minutes: Mapping[str, float]
) -> Mapping[str, Way]:
    """The quickest way to each of these conditions and to those they rest on; those that nothing can bring about are left
    out. The cheapest condition is settled first, so each rule is looked at once for each that it rests on (Knuth, "A
    generalization of Dijkstra's algorithm", 1977; from memory).
    """
    concerned = {rule.id for rule in below(concluding(knowledge), wanted)}
    rules = [rule for name, rule in knowledge.rules.items() if name in concerned]
    order = {str(rule.id): place for place, rule in enumerate(rules)}
    settled: dict[str, Way] = dict.fromkeys(conclusions.conditions, DONE)
    waiting: list[tuple[float, int, int, str, Way]] = []
    looks = itertools.count()

    def look(rule: Rule) -> None:
        way = _to_hold(conclusions, rule.when, minutes, settled)
        if way.minutes < math.inf:
            # Of equal ways the earlier rule counts, and of one rule the later look, which knew more.
            heapq.heappush(waiting, (way.minutes, order[rule.id], -next(looks), names_in(rule.outcome)[0], way))

    for rule in rules:
        look(rule)
    while waiting:
        _, _, _, condition, way = heapq.heappop(waiting)
        if condition in settled:
            continue
        settled[condition] = way
        for rule in resting_on(knowledge).get(condition, ()):
            if rule.id in order:
                look(rule)
    return settled


def _to_hold(conclusions: Conclusions, term: Term | None, minutes: Mapping[str, float], settled: Mapping[str, Way]) -> Way:
    """The quickest way to make a premise hold, as far as the ways to its conditions are settled."""
    match term:
        case Answered() if term.holds(conclusions.answers):
            return DONE
        case Answered(finding):
            return Way(minutes[finding], (str(finding),)) if finding in minutes else NO_WAY
        case Is(condition):
            return settled.get(condition, NO_WAY)
        case All(terms):
            ways = [_to_hold(conclusions, inner, minutes, settled) for inner in terms]
            findings = tuple(dict.fromkeys(finding for way in ways for finding in way.findings))
            return Way(sum(way.minutes for way in ways), findings)
        case Any(terms):
            return min((_to_hold(conclusions, inner, minutes, settled) for inner in terms), key=_cost)
        case _:
            return DONE
