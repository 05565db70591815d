"""reason(): what follows from the answers. Forward chaining owns what is true or false and holds no number."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from ..knowledge.chains import grouped
from ..knowledge.model import (
    Answered,
    Clash,
    First,
    Holds,
    Is,
    Knowledge,
    Lacks,
    Means,
    Proves,
    Rule,
    Skips,
    Sooner,
    Tell,
    Warns,
    leaves,
    names_in,
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
    """What follows from the answers, and the rules that `fired`. Mappings go from id to the rules that say so.

    cured: the fault is gone in every run after a repair; the holds on the needles are those of the engine as it is now, all
        else is what was told of it.
    """

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
    cured: bool = False

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


def reason(knowledge: Knowledge, answers: Mapping[str, str], brought_about: Iterable[str] = ()) -> Conclusions:
    """Return what follows from the answers (finding -> answer), whatever order they came in, and from the conditions that
    the walk has brought about."""
    firings = chainer_of(knowledge).fire(answers, brought_about)
    names = frozenset(firing.rule for firing in firings if firing.rule)
    fired = [rule for name, rule in knowledge.rules.items() if name in names]
    return Conclusions(
        answers=MappingProxyType(dict(answers)),
        fired=names,
        conditions=_conditions(knowledge, fired, answers),
        evidence=_evidence(knowledge, {(f.of, f.answer) for f in firings if f.of}),
        lacks=_by_id(fired, Lacks),
        clashes=tuple(str(rule.id) for rule in fired if isinstance(rule.outcome, Clash)),
        cautions=_by_id(fired, Warns),
        holds=_by_id(fired, Holds),
        skips=_by_id(fired, Skips),
        first=_by_id(fired, First),
        sooner=_by_id(fired, Sooner),
        proofs=_by_id(fired, Proves),
    )


def _by_id(fired: Iterable[Rule], kind: type) -> Mapping[str, tuple[str, ...]]:
    """Outcomes of one kind, in the order of the packs: id -> the rules that say so."""
    return MappingProxyType(
        grouped((name, str(rule.id)) for rule in fired if isinstance(rule.outcome, kind) for name in names_in(rule.outcome))
    )


def _conditions(knowledge: Knowledge, fired: Iterable[Rule], answers: Mapping[str, str]) -> Mapping[str, Concluded]:
    """The concluded conditions, in the order of the packs, each with the findings at the root of its chain."""
    concluded_by = grouped((str(rule.outcome.condition), rule) for rule in fired if isinstance(rule.outcome, Means))
    rests_on: dict[str, set[str]] = {}
    leads_to: dict[str, set[str]] = {}
    for condition, rules in concluded_by.items():
        found = rests_on[condition] = set()
        for leaf in (leaf for rule in rules for leaf in leaves(rule.when)):
            if isinstance(leaf, Is):
                leads_to.setdefault(str(leaf.condition), set()).add(condition)
            elif isinstance(leaf, Answered) and leaf.holds(answers):
                found.add(str(leaf.finding))
    waiting = list(concluded_by)
    # A link may rest on a condition that another rule has yet to widen. `chains.below` for each condition would come to the
    # same, and take minutes over a long chain.
    while waiting:
        condition = waiting.pop()
        for above in leads_to.get(condition, ()):
            if not rests_on[condition] <= rests_on[above]:
                rests_on[above] |= rests_on[condition]
                waiting.append(above)
    return MappingProxyType(
        {
            name: Concluded(name, tuple(str(rule.id) for rule in concluded_by[name]), frozenset(rests_on[name]))
            for name in map(str, knowledge.conditions)
            if name in concluded_by
        }
    )


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
    return grouped(
        (str(name), (str(cause.id), tell)) for cause in knowledge.causes.values() for name, tell in cause.shows.items()
    )
