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
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any as Whatever
from zlib import crc32

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
    Sooner,
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
    from experta.matchers import ReteMatcher
    from experta.matchers.rete.check import SameContextCheck
    from experta.matchers.rete.nodes import ConflictSetNode, NotNode, OrdinaryMatchNode
    from experta.strategies import DepthStrategy
finally:
    if _patched:
        del collections.Mapping  # type: ignore[attr-defined]
    logging.root.handlers[:] = _handlers
logging.getLogger("experta").addHandler(logging.NullHandler())
logging.getLogger("experta").propagate = False

SALIENCE: Mapping[type, int] = {
    Means: 40, Lacks: 40, Clash: 40, Warns: 20, Holds: 20, Skips: 10, First: 10, Sooner: 10,
}  # fmt: skip
EVIDENCE_SALIENCE = 30

MOST_FIRINGS = 100_000
"""No pack fires this often; past it something fires itself for ever."""


DRAWERS = 16


class AnswerFact(experta.Fact):
    """A question was answered: `finding`, `answer`, and the `drawer` the finding is kept in."""


class ChoiceFact(experta.Fact):
    """One of the branches of an `any:` inside a rule holds: `rule`, `number` of the choice in it."""


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


class _MarkedNode(ConflictSetNode):
    """The end of a rule in the network. It puts itself on the matcher's list when a change reaches it."""

    touched: list

    def _activate(self, token: Whatever) -> None:
        super()._activate(token)
        self.touched.append(self)


class _TouchedNodesMatcher(ReteMatcher):
    """Asks only the rules that a change has reached, and resets every node once.

    experta asks every rule after every firing, and resets a node as often as paths lead to it.
    """

    def build_network(self) -> None:
        super().build_network()
        self._touched: list[_MarkedNode] = []
        self._nodes = _all_nodes(self.root_node)
        for node in self._nodes:
            if isinstance(node, _MarkedNode):
                node.touched = self._touched

    @staticmethod
    def prepare_ruleset(engine: Whatever) -> set:
        """The rules as they are: they are written in the form that experta's preparation would bring them to."""
        return {rule.new_conditions(*rule) for rule in engine.get_rules()}  # copies, not bound to the engine

    @staticmethod
    def build_beta_part(ruleset: set, alpha_terminals: Mapping) -> None:
        """Joins the facts of each rule, as experta does for such rules, without its dispatch made anew for each."""
        for rule in ruleset:
            for branch in rule[0] if isinstance(rule[0], experta.OR) else (rule,):
                first, *others = branch if isinstance(branch, (experta.AND, experta.Rule)) else (branch,)
                node = alpha_terminals[first]
                for pattern in others:
                    negated = isinstance(pattern, experta.NOT)
                    joined = (NotNode if negated else OrdinaryMatchNode)(SameContextCheck())
                    node.add_child(joined, joined.activate_left)
                    right = alpha_terminals[pattern[0] if negated else pattern]
                    right.add_child(joined, joined.activate_right)
                    node = joined
                end = _MarkedNode(rule)
                node.add_child(end, end.activate)

    def reset(self) -> None:
        for node in self._nodes:
            node._reset()

    def changes(self, adding: Whatever = None, deleting: Whatever = None) -> tuple[list, list]:
        for fact in deleting or ():
            self.root_node.remove(fact)
        for fact in adding or ():
            self.root_node.add(fact)
        added: list = []
        removed: list = []
        for node in self._touched:
            node_added, node_removed = node.get_activations()
            added.extend(node_added)
            removed.extend(node_removed)
        self._touched.clear()
        return added, removed


def _all_nodes(root: Whatever) -> list:
    nodes = {id(root): root}
    waiting = [root]
    while waiting:
        for child in waiting.pop().children:
            if id(child.node) not in nodes:
                nodes[id(child.node)] = child.node
                waiting.append(child.node)
    return list(nodes.values())


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
            facts = [_answer_fact(name, str(answer)) for name, answer in sorted(answers.items())]
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
            pattern = _answer_fact(name, str(answer))
            fired = Fired(of=str(name), answer=str(answer))
            rules[f"evidence_{name}_{answer}"] = _rule(pattern, EVIDENCE_SALIENCE, _recorder(record, fired))
    for name in shown & knowledge.conditions.keys():
        pattern = ConditionFact(condition=str(name))
        rules[f"evidence_{name}"] = _rule(pattern, EVIDENCE_SALIENCE, _recorder(record, Fired(of=str(name))))
    return rules


def _pack_rules(knowledge: Knowledge, record: list[Fired]) -> Mapping[str, Whatever]:
    """A production a rule, and one for each `any:` inside an `all:`, which declares that the choice is met.

    Without the choices experta would multiply every `any:` out with every other: 0.7 s to build instead of 0.2.
    """
    rules: dict[str, Whatever] = {}
    for rule in knowledge.rules.values():
        salience = SALIENCE[type(rule.outcome)]
        choices: list[tuple[Whatever, ...]] = []
        patterns = (experta.InitialFact(),) if rule.when is None else _conjunction(rule.when, rule.id, choices)
        for number, branches in enumerate(choices):
            name = f"choice_{rule.id}_{number}"
            # A choice may rest on a later one (an any: in an any:), so all of them come before their rule.
            rules[name] = experta.Rule(experta.OR(*branches), salience=salience + 1)(_chooser(name, rule.id, number))
        rules[f"rule_{rule.id}"] = experta.Rule(*patterns, salience=salience)(_concluder(record, rule))
    return rules


def _conjunction(term: Term, rule: str, choices: list[tuple[Whatever, ...]]) -> tuple[Whatever, ...]:
    """The facts that must all be there, NOTs last and never first: the form experta's network is built from."""
    facts, nots = [], []
    for inner in _flat(term):
        if isinstance(inner, Any):
            branches = tuple(_branch(_conjunction(branch, rule, choices)) for branch in inner.terms)
            choices.append(branches)
            facts.append(ChoiceFact(rule=str(rule), number=len(choices) - 1))
        elif isinstance(inner, IsNot):
            nots.append(experta.NOT(ConditionFact(condition=str(inner.condition))))
        else:
            facts.append(_fact(inner))
    return (*(facts or [experta.InitialFact()]), *nots)


def _flat(term: Term) -> Iterator[Term]:
    if isinstance(term, All):
        for inner in term.terms:
            yield from _flat(inner)
    else:
        yield term


def _branch(patterns: tuple[Whatever, ...]) -> Whatever:
    return patterns[0] if len(patterns) == 1 else experta.AND(*patterns)


def _fact(leaf: Term) -> Whatever:
    match leaf:
        case Answered(finding, (only,)) if only == KNOWN:
            return AnswerFact(drawer=_drawer(finding), finding=str(finding))
        case Answered(finding, (only,)):
            return _answer_fact(finding, str(only))
        case Answered(finding, answers):
            return _answer_fact(finding, experta.P(_one_of(frozenset(map(str, answers)))))
        case Is(condition):
            return ConditionFact(condition=str(condition))
    raise TypeError(f"not a premise: {leaf!r}")


def _chooser(name: str, rule: str, number: int) -> Callable:
    def action(engine: Whatever) -> None:
        engine.declare(ChoiceFact(rule=str(rule), number=number))

    action.__name__ = name
    return action


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


def _drawer(finding: str) -> int:
    """A fact is tried against every drawer and then only against the findings in its own, not against all findings."""
    return crc32(finding.encode()) % DRAWERS


def _answer_fact(finding: str, answer: Whatever) -> AnswerFact:
    return AnswerFact(drawer=_drawer(finding), finding=str(finding), answer=answer)


@cache
def _one_of(answers: frozenset[str]) -> Callable[[str], bool]:
    """Alternatives as one test: experta would multiply `L | L` out into a rule for every combination."""
    return answers.__contains__
