"""How rules hang together: which conclude a condition, which rest on it, and so on through every link."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
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


@lru_cache(maxsize=8)
def concluding(knowledge: Knowledge) -> Mapping[str, tuple[Rule, ...]]:
    """Return id -> the rules whose outcome names it, in the order of the packs."""
    return grouped((name, rule) for rule in knowledge.rules.values() for name in dict.fromkeys(names_in(rule.outcome)))


@lru_cache(maxsize=8)
def resting_on(knowledge: Knowledge) -> Mapping[str, tuple[Rule, ...]]:
    """Return finding or condition -> the rules whose premise names it, in the order of the packs."""
    return grouped((name, rule) for rule in knowledge.rules.values() for name in _premises(rule))


def _premises(rule: Rule) -> dict[str, None]:
    named = (leaf.finding if isinstance(leaf, Answered) else leaf.condition for leaf in leaves(rule.when))
    return dict.fromkeys(map(str, named))


def down_the_chains(rules: Mapping[str, Rule], seeds: Mapping[str, Rule]) -> dict[str, Rule]:
    """Return the conditions of `seeds` and those from which rules conclude them, each with the rule of its seed."""
    concluded_by = grouped(
        (str(rule.outcome.condition), rule) for rule in rules.values() if isinstance(rule.outcome, Means)
    )
    reached: dict[str, Rule] = dict(seeds)
    waiting: list[str] = list(seeds)
    while waiting:
        condition = waiting.pop()
        for rule in concluded_by.get(condition, ()):
            for leaf in leaves(rule.when):
                if isinstance(leaf, Is) and leaf.condition not in reached:
                    reached[leaf.condition] = reached[condition]
                    waiting.append(leaf.condition)
    return reached
