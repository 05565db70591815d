"""reason(): what follows from the answers. Forward chaining owns what is true or false and holds no number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from ..knowledge.model import (
    KNOWN,
    Answered,
    Clash,
    First,
    Holds,
    Is,
    Knowledge,
    Lacks,
    Means,
    Proves,
    Skips,
    Sooner,
    Tell,
    Warns,
    leaves,
)
from ..knowledge.packs import uncollected
from .chainer import Chainer


@dataclass(frozen=True, slots=True)
class Concluded:
    """A condition, the rules that concluded it, and the findings it rests on, through every link of the chain."""

    condition: str
    rules: tuple[str, ...]
    rests_on: frozenset[str]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one answer (or condition) says of one cause. `word` is None when the cause does not name this answer."""

    cause: str
    of: str
    answer: str
    word: str | None


@dataclass(frozen=True, slots=True)
class Conclusions:
    """What follows from the answers, and the rules that `fired`. Mappings go from id to the rules that say so."""

    answers: Mapping[str, str]
    fired: frozenset[str]
    conditions: Mapping[str, Concluded]
    evidence: tuple[Evidence, ...]
    lacks: Mapping[str, tuple[str, ...]]
    clashes: tuple[str, ...]
    cautions: Mapping[str, tuple[str, ...]]
    holds: Mapping[str, tuple[str, ...]]
    skips: Mapping[str, tuple[str, ...]]
    first: Mapping[str, tuple[str, ...]]
    sooner: Mapping[str, tuple[str, ...]]
    proofs: Mapping[str, tuple[str, ...]]

    def applies(self, needs: tuple[str, ...]) -> bool:
        """True unless the machine is known to lack one of these needs."""
        return not any(need in self.lacks for need in needs)

    def held(self, under: tuple[str, ...]) -> tuple[str, ...]:
        """Return those of the named holds that stand."""
        return tuple(hold for hold in under if hold in self.holds)


@lru_cache(maxsize=8)
@uncollected()
def chainer_of(knowledge: Knowledge) -> Chainer:
    """Return the production rules of this knowledge, built once."""
    return Chainer(knowledge)


def reason(knowledge: Knowledge, answers: Mapping[str, str]) -> Conclusions:
    """Return what follows from the answers (finding -> answer), whatever order they came in."""
    fired = chainer_of(knowledge).fire(answers)
    rules = {firing.rule for firing in fired if firing.rule}
    return Conclusions(
        answers=MappingProxyType(dict(answers)),
        fired=frozenset(rules),
        conditions=_conditions(knowledge, rules, answers),
        evidence=_evidence(knowledge, {(f.of, f.answer) for f in fired if f.of}),
        lacks=_by_id(knowledge, rules, Lacks, "needs"),
        clashes=tuple(str(r.id) for r in knowledge.rules.values() if r.id in rules and isinstance(r.outcome, Clash)),
        cautions=_by_id(knowledge, rules, Warns, "cautions"),
        holds=_by_id(knowledge, rules, Holds, "holds"),
        skips=_by_id(knowledge, rules, Skips, "ids"),
        first=_by_id(knowledge, rules, First, "ids"),
        sooner=_by_id(knowledge, rules, Sooner, "ids"),
        proofs=_by_id(knowledge, rules, Proves, "retests"),
    )


def _by_id(knowledge: Knowledge, fired: set[str], kind: type, named: str) -> Mapping[str, tuple[str, ...]]:
    """Outcomes of one kind, in the order of the packs: id -> the rules that say so."""
    found: dict[str, tuple[str, ...]] = {}
    for rule in knowledge.rules.values():
        if rule.id in fired and isinstance(rule.outcome, kind):
            for name in getattr(rule.outcome, named):
                found[str(name)] = (*found.get(name, ()), str(rule.id))
    return MappingProxyType(found)


def _conditions(knowledge: Knowledge, fired: set[str], answers: Mapping[str, str]) -> Mapping[str, Concluded]:
    """The concluded conditions, in the order of the packs, each with the findings at the root of its chain."""
    concluding = [
        (rule, str(rule.outcome.condition))
        for rule in knowledge.rules.values()
        if rule.id in fired and isinstance(rule.outcome, Means)
    ]
    rests_on: dict[str, frozenset[str]] = {condition: frozenset() for _, condition in concluding}
    growing = True
    while growing:  # A link may rest on a condition that another rule has yet to widen.
        growing = False
        for rule, condition in concluding:
            wider = rests_on[condition].union(*(_roots(leaf, answers, rests_on) for leaf in leaves(rule.when)))
            growing |= wider != rests_on[condition]
            rests_on[condition] = wider
    return MappingProxyType(
        {
            name: Concluded(name, tuple(str(rule.id) for rule, of in concluding if of == name), rests_on[name])
            for name in map(str, knowledge.conditions)
            if name in rests_on
        }
    )


def _roots(leaf: object, answers: Mapping[str, str], rests_on: Mapping[str, frozenset[str]]) -> frozenset[str]:
    match leaf:
        case Answered(finding, wanted) if finding in answers and (wanted == (KNOWN,) or answers[finding] in wanted):
            return frozenset({str(finding)})
        case Is(condition):
            return rests_on.get(condition, frozenset())
    return frozenset()


def _evidence(knowledge: Knowledge, fired: set[tuple[str, str]]) -> tuple[Evidence, ...]:
    found = []
    for name, answer in sorted(fired):
        for cause, tell in _told_by(knowledge)[name]:
            word = tell.words.get(answer or "concluded")
            found.append(Evidence(cause, name, answer, None if word is None else str(word)))
    return tuple(found)


@lru_cache(maxsize=8)
def _told_by(knowledge: Knowledge) -> Mapping[str, tuple[tuple[str, Tell], ...]]:
    """Finding or condition -> the causes that show it, each with its tell."""
    told: dict[str, list[tuple[str, Tell]]] = {}
    for cause in knowledge.causes.values():
        for name, tell in cause.shows.items():
            told.setdefault(str(name), []).append((str(cause.id), tell))
    return MappingProxyType({name: tuple(pairs) for name, pairs in told.items()})
