"""What a picture of rules joins: symptoms and conditions to conditions and causes, and which of it is asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..knowledge.advice import STRONG
from ..knowledge.fields import likeliest
from ..knowledge.model import (
    CONCLUDED,
    KNOWN,
    Answered,
    Cause,
    Condition,
    Finding,
    Is,
    IsNot,
    Knowledge,
    Means,
    Pack,
    leaves,
)
from ..knowledge.source import Place
from .in_words import ratios
from .showing import NotFound


@dataclass(frozen=True, slots=True)
class Join:
    """A line from a symptom (`finding=answer`) or condition to a condition or cause: what it says, and its rule if any."""

    start: str
    end: str
    says: str
    rule: str = ""
    by_absence: bool = False


def joins_of(knowledge: Knowledge, pack: Pack) -> Iterator[Join]:
    """The lines that this pack draws, rules first; the same two things are joined once by each rule."""
    for rule in knowledge.rules.values():
        if not isinstance(rule.outcome, Means) or not pack.wrote(rule.id.place):
            continue
        for leaf in dict.fromkeys(leaves(rule.when)):
            for start in _starts(knowledge, leaf):
                says = f"rule {rule.id}: {rule.because}"
                yield Join(start, str(rule.outcome.condition), says, str(rule.id), isinstance(leaf, IsNot))
    for cause in knowledge.causes.values():
        for tell in cause.shows.values():
            if not pack.wrote(tell.of.place):
                continue
            for answer, ratio in ratios(knowledge, str(cause.id), str(tell.of)).items():
                if ratio >= STRONG:
                    start = str(tell.of) if answer == CONCLUDED else f"{tell.of}={answer}"
                    yield Join(start, str(cause.id), f"met {ratio:.0f} times as often as with other faults")


def _starts(knowledge: Knowledge, leaf: Answered | Is | IsNot) -> tuple[str, ...]:
    if not isinstance(leaf, Answered):
        return (str(leaf.condition),)
    answers = tuple(knowledge.findings[leaf.finding].answers) if leaf.answers == (KNOWN,) else leaf.answers
    return tuple(f"{leaf.finding}={answer}" for answer in answers)


def joined_to(knowledge: Knowledge, joins: Sequence[Join], about: str) -> tuple[tuple[Join, ...], set[str]]:
    """The boxes that are joined to one id, and every line between them; for a rule the lines it draws."""
    known = _known(knowledge, joins)
    if about not in known:
        meant = likeliest(about, known)
        raise NotFound(
            f"nothing called '{about}' is in this picture"
            + (f"; did you mean {meant}?" if meant else "; name a finding, condition, cause, rule or family of causes")
        )
    if about in knowledge.rules:
        chosen = tuple(join for join in joins if join.rule == about)
        return chosen, {name for join in chosen for name in (join.start, join.end)}
    centre = known[about]
    touching = [join for join in joins if join.start in centre or join.end in centre]
    drawn = centre | {name for join in touching for name in (join.start, join.end)}
    return tuple(join for join in joins if join.start in drawn and join.end in drawn), drawn


def _known(knowledge: Knowledge, joins: Sequence[Join]) -> Mapping[str, set[str]]:
    """Id -> the boxes meant by it."""
    known: dict[str, set[str]] = {}
    for cause in knowledge.causes.values():
        known.setdefault(str(cause.family), set()).add(str(cause.id))
    known.update({name: set() for name in map(str, knowledge.rules)})
    for join in joins:
        for name in (join.start, join.end):
            known.setdefault(name.partition("=")[0], set()).add(name)
    known.update({name: {name} for name in map(str, (*knowledge.conditions, *knowledge.causes))})
    return known


def place_of(knowledge: Knowledge, name: str) -> Place:
    finding = name.partition("=")[0]
    shelves: tuple[Mapping[str, Condition | Cause | Finding], ...] = (
        knowledge.conditions,
        knowledge.causes,
        knowledge.findings,
    )
    for shelf in shelves:
        if finding in shelf:
            return shelf[finding].id.place
    raise KeyError(name)
