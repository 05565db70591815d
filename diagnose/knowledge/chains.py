"""How rules hang together: which conclude a condition, which rest on it, and so on through every link."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Set
from functools import lru_cache
from typing import TypeVar

from .model import Answered, Is, Knowledge, Means, Rule, leaves, names_in

Name = TypeVar("Name", bound=Hashable)
Member = TypeVar("Member")


def grouped(pairs: Iterable[tuple[Name, Member]]) -> dict[Name, tuple[Member, ...]]:
    """Return name -> its members, both in the order they come."""
    groups: dict[Name, list[Member]] = {}
    for name, member in pairs:
        groups.setdefault(name, []).append(member)
    return {name: tuple(members) for name, members in groups.items()}


def by_outcome(rules: Iterable[Rule]) -> dict[str, tuple[Rule, ...]]:
    """Return id -> the rules whose outcome names it, in the order they come."""
    return grouped((name, rule) for rule in rules for name in dict.fromkeys(names_in(rule.outcome)))


@lru_cache(maxsize=8)
def concluding(knowledge: Knowledge) -> Mapping[str, tuple[Rule, ...]]:
    """Return id -> the rules whose outcome names it, in the order of the packs."""
    return by_outcome(knowledge.rules.values())


@lru_cache(maxsize=8)
def resting_on(knowledge: Knowledge) -> Mapping[str, tuple[Rule, ...]]:
    """Return finding or condition -> the rules whose premise names it, in the order of the packs."""
    return grouped((name, rule) for rule in knowledge.rules.values() for name in _premises(rule))


def _premises(rule: Rule) -> dict[str, None]:
    named = (leaf.finding if isinstance(leaf, Answered) else leaf.condition for leaf in leaves(rule.when))
    return dict.fromkeys(map(str, named))


def below(outcomes: Mapping[str, Iterable[Rule]], conditions: Iterable[str]) -> Iterator[Rule]:
    """Yield the rules that conclude these conditions, then those that conclude what these rules rest on, and so on.

    `outcomes` are the rules by outcome. The nearest come first, then in that order; each comes once.
    """
    waiting = list(dict.fromkeys(conditions))
    reached = set(waiting)
    for condition in waiting:  # grows as it is gone through
        for rule in outcomes.get(condition, ()):
            if not isinstance(rule.outcome, Means):
                continue
            yield rule
            for needed in _needed(rule):
                if needed not in reached:
                    reached.add(needed)
                    waiting.append(needed)


def above(
    knowledge: Knowledge,
    names: Iterable[str],
    follows: Callable[[Rule, Set[str]], bool] = lambda rule, reached: True,
) -> Iterator[Rule]:
    """Yield the rules that rest on these findings or conditions, then those that rest on what they conclude, and so on.

    The nearest come first, then in the order of the packs; each comes once. A rule that does not follow from what is
    reached so far is looked at again with each further condition that it names.
    """
    waiting = list(dict.fromkeys(names))
    reached = set(waiting)
    told: set[str] = set()
    for name in waiting:  # grows as it is gone through
        for rule in resting_on(knowledge).get(name, ()):
            if rule.id in told or not follows(rule, reached):
                continue
            told.add(rule.id)
            yield rule
            if isinstance(rule.outcome, Means) and rule.outcome.condition not in reached:
                reached.add(rule.outcome.condition)
                waiting.append(rule.outcome.condition)


def _needed(rule: Rule) -> Iterator[str]:
    return (leaf.condition for leaf in leaves(rule.when) if isinstance(leaf, Is))


def down_the_chains(outcomes: Mapping[str, Iterable[Rule]], seeds: Mapping[str, Rule]) -> dict[str, Rule]:
    """Return the conditions of `seeds` and those from which rules conclude them, each with the rule of its seed.

    `outcomes` are the rules by outcome. A condition under several seeds goes to the last of them: all that lies under one
    is gone through before the next, where `below` goes level by level.
    """
    reached: dict[str, Rule] = dict(seeds)
    waiting: list[str] = list(seeds)
    while waiting:
        condition = waiting.pop()
        for rule in outcomes.get(condition, ()):
            if isinstance(rule.outcome, Means):
                for needed in _needed(rule):
                    if needed not in reached:
                        reached[needed] = reached[condition]
                        waiting.append(needed)
    return reached
