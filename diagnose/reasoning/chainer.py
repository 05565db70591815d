"""The one module that knows experta: packs become production rules, answers become facts, and the rules fire.

Every run resets the engine, declares all answers at once and fires to the end. Nothing is retracted, so nothing
stale can remain. The strata are saliences: conditions, then evidence, then cautions and holds, then questions.
The right-hand sides only record; what follows from the record is worked out in `reason`.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
import threading
from dataclasses import dataclass
from typing import Any as Whatever
from typing import Callable, Mapping

from ..knowledge.model import (
    KNOWN,
    All,
    Answered,
    Any,
    Clash,
    First,
    Holds,
    Is,
    IsNot,
    Knowledge,
    Lacks,
    Means,
    Rule,
    Skips,
    Term,
    Warns,
)

# experta 1.9.4 pins frozendict 1.2, which looks for collections.Mapping; Python 3.10 took that name away.
# experta also installs a root log handler on import. Both are undone as soon as it is loaded.
_patched = not hasattr(collections, "Mapping")
if _patched:
    collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
_handlers = logging.root.handlers[:]
try:
    import experta
    from experta.conditionalelement import ConditionalElement
    from experta.matchers import ReteMatcher
    from experta.strategies import DepthStrategy
finally:
    if _patched:
        del collections.Mapping  # type: ignore[attr-defined]
    logging.root.handlers[:] = _handlers
logging.getLogger("experta").addHandler(logging.NullHandler())
logging.getLogger("experta").propagate = False

SALIENCE: Mapping[type, int] = {
    Means: 40, Lacks: 40, Clash: 40, Warns: 20, Holds: 20, Skips: 10, First: 10,
}  # fmt: skip
EVIDENCE_SALIENCE = 30

MOST_FIRINGS = 100_000
"""No pack fires this often; past it something fires itself for ever."""


class AnswerFact(experta.Fact):
    """A question was answered: `finding`, `answer`."""


class ConditionFact(experta.Fact):
    """A condition was concluded: `condition`."""


@dataclass(frozen=True, slots=True)
class Fired:
    """One firing: a rule of a pack (`rule`), or the evidence of an answer or condition (`of`, `answer`)."""

    rule: str = ""
    of: str = ""
    answer: str = ""


class _NamedDepthStrategy(DepthStrategy):
    """Orders equal rules by name. experta leaves their order to chance, and its agenda can then miss a removal."""

    def get_key(self, activation: Whatever) -> tuple:
        facts = sorted((fact["__factid__"] for fact in activation.facts), reverse=True)
        return activation.rule.salience, facts, activation.rule.__name__


class _TouchedNodesMatcher(ReteMatcher):
    """Collects activations only from the rules that a change has touched; experta asks every rule after every firing."""

    def changes(self, adding: Whatever = None, deleting: Whatever = None) -> tuple[list, list]:
        for fact in deleting or ():
            self.root_node.remove(fact)
        for fact in adding or ():
            self.root_node.add(fact)
        added: list = []
        removed: list = []
        for node in self._get_conflict_set_nodes():
            if node.added or node.removed:
                node_added, node_removed = node.get_activations()
                added.extend(node_added)
                removed.extend(node_removed)
        return added, removed


class Chainer:
    """The rules of one Knowledge, ready to fire."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._record: list[Fired] = []
        self._lock = threading.Lock()
        methods = dict(_evidence_rules(knowledge, self._record))
        methods.update(_pack_rules(knowledge, self._record))
        engine = type(
            "Engine",
            (experta.KnowledgeEngine,),
            {"__matcher__": _TouchedNodesMatcher, "__strategy__": _NamedDepthStrategy, **methods},
        )
        self._engine = engine()

    def fire(self, answers: Mapping[str, str]) -> tuple[Fired, ...]:
        """Return what fires for these answers (finding -> answer), in firing order."""
        with self._lock:
            self._record.clear()
            self._engine.reset()
            facts = [AnswerFact(finding=str(name), answer=str(answer)) for name, answer in sorted(answers.items())]
            if facts:
                self._engine.declare(*facts)
            self._engine.run(MOST_FIRINGS)
            if len(self._record) >= MOST_FIRINGS:
                raise RuntimeError("the rules fire without end")
            return tuple(self._record)


def _evidence_rules(knowledge: Knowledge, record: list[Fired]) -> Mapping[str, Whatever]:
    """One production an answer of every finding that some cause shows, and one a condition that some cause shows."""
    shown = {name for cause in knowledge.causes.values() for name in cause.shows}
    rules = {}
    for name in shown & knowledge.findings.keys():
        for answer in knowledge.findings[name].answers:
            pattern = AnswerFact(finding=str(name), answer=str(answer))
            fired = Fired(of=str(name), answer=str(answer))
            rules[f"evidence_{name}_{answer}"] = _rule(pattern, EVIDENCE_SALIENCE, _recorder(record, fired))
    for name in shown & knowledge.conditions.keys():
        pattern = ConditionFact(condition=str(name))
        rules[f"evidence_{name}"] = _rule(pattern, EVIDENCE_SALIENCE, _recorder(record, Fired(of=str(name))))
    return rules


def _pack_rules(knowledge: Knowledge, record: list[Fired]) -> Mapping[str, Whatever]:
    return {
        f"rule_{rule.id}": _rule(
            experta.InitialFact() if rule.when is None else _pattern(rule.when),
            SALIENCE[type(rule.outcome)],
            _concluder(record, rule),
        )
        for rule in knowledge.rules.values()
    }


def _rule(pattern: Whatever, salience: int, action: Callable) -> Whatever:
    return experta.Rule(pattern, salience=salience)(action)


def _recorder(record: list[Fired], fired: Fired) -> Callable:
    def action(engine: Whatever) -> None:
        record.append(fired)

    action.__name__ = f"evidence_{fired.of}_{fired.answer}"
    return action


def _concluder(record: list[Fired], rule: Rule) -> Callable:
    fired = Fired(rule=str(rule.id))

    def record_only(engine: Whatever) -> None:
        record.append(fired)

    def conclude(engine: Whatever) -> None:
        record.append(fired)
        engine.declare(ConditionFact(condition=str(rule.outcome.condition)))  # type: ignore[union-attr]

    action = conclude if isinstance(rule.outcome, Means) else record_only
    action.__name__ = f"rule_{rule.id}"
    return action


def _pattern(term: Term) -> ConditionalElement:
    """A term as experta's left-hand side. Every pattern names one fact exactly, so nothing multiplies out."""
    match term:
        case Answered(finding, answers):
            if answers == (KNOWN,):
                return AnswerFact(finding=str(finding))
            literal = experta.L(str(answers[0]))
            for answer in answers[1:]:
                literal = literal | experta.L(str(answer))
            return AnswerFact(finding=str(finding), answer=literal)
        case Is(condition):
            return ConditionFact(condition=str(condition))
        case IsNot(condition):
            return experta.NOT(ConditionFact(condition=str(condition)))
        case All(terms):
            # NOT comes last: experta tests a NOT that stands first before its neighbours are known.
            ordered = sorted(terms, key=lambda inner: isinstance(inner, IsNot))
            return experta.AND(*map(_pattern, ordered))
        case Any(terms):
            return experta.OR(*map(_pattern, terms))
    raise TypeError(f"not a term: {term!r}")
