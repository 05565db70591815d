"""The one module that knows experta: packs become production rules, answers become facts, and the rules fire.

Every run resets the engine, declares all answers at once and fires to the end. Nothing is retracted, so nothing
stale can remain. The strata are saliences: conditions, then evidence, then cautions and holds, then questions.
The right-hand sides only record; what follows from the record is worked out in `reason`.
"""

from __future__ import annotations

import collections
import collections.abc
import inspect
import logging
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any as Whatever

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
    Proves,
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
    from experta.matchers.rete.abstract import OneInputNode
    from experta.matchers.rete.check import SameContextCheck
    from experta.matchers.rete.mixins import AnyChild, NoMemory
    from experta.matchers.rete.nodes import BusNode, ConflictSetNode, NotNode, OrdinaryMatchNode
    from experta.matchers.rete.token import Token
    from experta.matchers.rete.utils import extract_facts
    from experta.strategies import DepthStrategy
finally:
    if _patched:
        del collections.Mapping  # type: ignore[attr-defined]
    logging.root.handlers[:] = _handlers
logging.getLogger("experta").addHandler(logging.NullHandler())
logging.getLogger("experta").propagate = False

SALIENCE: Mapping[type, int] = {
    Means: 40, Lacks: 40, Clash: 40, Warns: 20, Holds: 20, Skips: 10, First: 10, Sooner: 10,
    Proves: 10,
}  # fmt: skip
EVIDENCE_SALIENCE = 30


class _Keyed(experta.Fact):
    """A fact that is wholly told by its `key`. As a pattern it takes one key, or one of several by a P(_OneOf)."""

    @property
    def keys_taken(self) -> tuple[str, ...]:
        key = self["key"]
        return tuple(key.match.keys) if isinstance(key, experta.P) else (key,)


class AnswerFact(_Keyed):
    """A question was answered: key `finding: answer`."""


class ChoiceFact(_Keyed):
    """One of the branches of an `any:` inside a rule holds: key `rule #number` of the choice in it."""


class ConditionFact(_Keyed):
    """A condition was concluded: key is the condition."""


@dataclass(frozen=True)
class _OneOf:
    """Alternatives as one test: experta would multiply `L | L` out into a rule for every combination."""

    keys: frozenset[str]

    def __call__(self, key: str) -> bool:
        return key in self.keys


@dataclass(frozen=True, slots=True)
class Fired:
    """One firing: a rule of a pack (`rule`), or the evidence of an answer or condition (`of`, `answer`)."""

    rule: str = ""
    of: str = ""
    answer: str = ""


class _Production(experta.Rule):
    """A rule that is not bound to the engine it is looked up on, so that it need not be copied."""

    def __get__(self, engine: Whatever, owner: Whatever) -> _Production:
        return self


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


class _Door(AnyChild, NoMemory, OneInputNode):
    """The start of one pattern: what comes in goes on to every rule that has this pattern."""

    def _activate(self, token: Whatever) -> None:
        for child in self.children:
            child.callback(token)


class _DoorsNode(BusNode):
    """Sends a fact to the doors that take it, found by its key; experta would try it against every pattern."""

    def __init__(self) -> None:
        super().__init__()
        self.doors: dict[tuple[type, str], list[_Door]] = {}
        self.opened: list[_Door] = []

    def door(self, pattern: Whatever) -> _Door:
        made = _Door()
        self.add_child(made, made.activate)
        for key in _keys(pattern):
            self.doors.setdefault((type(pattern), key), []).append(made)
        return made

    def add(self, fact: Whatever) -> None:
        self._send(Token.valid(fact), fact)

    def remove(self, fact: Whatever) -> None:
        self._send(Token.invalid(fact), fact)

    def _send(self, token: Whatever, fact: Whatever) -> None:
        for key in _keys(fact):
            for door in self.doors.get((type(fact), key), ()):
                self.opened.append(door)
                door.activate(token)


def _keys(fact: Whatever) -> tuple[str, ...]:
    return fact.keys_taken if isinstance(fact, _Keyed) else ("",)  # InitialFact has no key


class _TouchedNodesMatcher(ReteMatcher):
    """Finds a fact's patterns by its key, asks only the rules that a change has reached, and resets only the nodes that
    one may have reached.

    experta tries a fact against every pattern, asks every rule after every firing, and resets a node as often as paths
    lead to it.
    """

    def __init__(self, engine: Whatever) -> None:
        super(ReteMatcher, self).__init__(engine)
        self.root_node = _DoorsNode()
        self.build_network()

    def build_network(self) -> None:
        super().build_network()
        self._touched: list[_MarkedNode] = []
        for node in _below([self.root_node]):
            if isinstance(node, _MarkedNode):
                node.touched = self._touched

    @staticmethod
    def prepare_ruleset(engine: Whatever) -> set:
        """The rules as they are: they are written in the form that experta's preparation would bring them to."""
        return set(engine.get_rules())

    @staticmethod
    def build_alpha_part(ruleset: set, root_node: Whatever) -> Mapping:
        """A door for every pattern of the rules."""
        patterns = {pattern for rule in ruleset for pattern in extract_facts(rule)}
        return {pattern: root_node.door(pattern) for pattern in patterns}

    @staticmethod
    def build_beta_part(ruleset: set, alpha_terminals: Mapping) -> None:
        """Joins the facts of each rule, as experta does for such rules, without its dispatch made anew for each."""
        for rule in ruleset:
            for branch in rule[0] if isinstance(rule[0], experta.OR) else (rule,):
                first, *others = branch if isinstance(branch, (experta.AND, _Production)) else (branch,)
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
        for node in _below(self.root_node.opened):
            node._reset()
        self.root_node.opened.clear()

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


def _below(nodes_above: Iterable[Whatever]) -> list:
    """These nodes and all that they lead to, each once."""
    nodes = {id(node): node for node in nodes_above}
    waiting = list(nodes.values())
    while waiting:
        for child in waiting.pop().children:
            if id(child.node) not in nodes:
                nodes[id(child.node)] = child.node
                waiting.append(child.node)
    return list(nodes.values())


class _Engine(experta.KnowledgeEngine):
    """An engine that looks for its initial facts once: experta looks through all its rules at every reset."""

    __matcher__ = _TouchedNodesMatcher
    __strategy__ = _NamedDepthStrategy

    def __init__(self) -> None:
        super().__init__()
        self._initial = super().get_deffacts()

    def get_deffacts(self) -> list:
        return self._initial


class Chainer:
    """The rules of one Knowledge, ready to fire."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._record: list[Fired] = []
        self._lock = threading.Lock()
        methods = dict(evidence_rules(knowledge, self._record))
        methods.update(pack_rules(knowledge, self._record))
        self._engine = type("Engine", (_Engine,), methods)()

    def fire(self, answers: Mapping[str, str], brought_about: Iterable[str] = ()) -> tuple[Fired, ...]:
        """Return what fires for these answers (finding -> answer) and these conditions of the walk, in firing order."""
        with self._lock:
            self._record.clear()
            self._engine.reset()
            facts = [AnswerFact(key=answer_key(name, answer)) for name, answer in sorted(answers.items())]
            facts += [ConditionFact(key=condition) for condition in sorted(brought_about)]
            if facts:
                self._engine.declare(*facts)
            self._engine.run()  # it ends: facts are only added, and rules can name no more than there are ids
            return tuple(self._record)


def evidence_rules(knowledge: Knowledge, record: list[Fired]) -> Mapping[str, Whatever]:
    """One production an answer of every finding that some cause shows, and one a condition that some cause shows."""
    shown = {name for cause in knowledge.causes.values() for name in cause.shows}
    rules = {}
    for name in shown & knowledge.findings.keys():
        for answer in knowledge.findings[name].answers:
            pattern = AnswerFact(key=answer_key(name, answer))
            fired = Fired(of=str(name), answer=str(answer))
            rules[f"evidence_{name}_{answer}"] = _rule(pattern, EVIDENCE_SALIENCE, _recorder(record, fired))
    for name in shown & knowledge.conditions.keys():
        pattern = ConditionFact(key=str(name))
        rules[f"evidence_{name}"] = _rule(pattern, EVIDENCE_SALIENCE, _recorder(record, Fired(of=str(name))))
    return rules


def pack_rules(knowledge: Knowledge, record: list[Fired]) -> Mapping[str, Whatever]:
    """A production a rule, and one for each `any:` inside an `all:`, which declares that the choice is met.

    Without the choices experta would multiply every `any:` out with every other: 0.7 s to build instead of 0.2.
    """
    rules: dict[str, Whatever] = {}
    for rule in knowledge.rules.values():
        salience = SALIENCE[type(rule.outcome)]
        choices: list[tuple[Whatever, ...]] = []
        patterns = (experta.InitialFact(),) if rule.when is None else _conjunction(knowledge, rule.when, rule.id, choices)
        for number, branches in enumerate(choices):
            name = f"choice_{rule.id}_{number}"
            # A choice may rest on a later one (an any: in an any:), so all of them come before their rule.
            rules[name] = _Production(experta.OR(*branches), salience=salience + 1)(_chooser(name, rule.id, number))
        rules[f"rule_{rule.id}"] = _Production(*patterns, salience=salience)(_concluder(record, rule))
    return rules


def _conjunction(knowledge: Knowledge, term: Term, rule: str, choices: list[tuple[Whatever, ...]]) -> tuple[Whatever, ...]:
    """The facts that must all be there, NOTs last and never first: the form experta's network is built from."""
    facts, nots = [], []
    for inner in _flat(term):
        if isinstance(inner, Any):
            branches = tuple(_branch(_conjunction(knowledge, branch, rule, choices)) for branch in inner.terms)
            choices.append(branches)
            facts.append(ChoiceFact(key=_choice_key(rule, len(choices) - 1)))
        elif isinstance(inner, IsNot):
            nots.append(experta.NOT(ConditionFact(key=str(inner.condition))))
        else:
            facts.append(_fact(knowledge, inner))
    return (*(facts or [experta.InitialFact()]), *nots)


def _flat(term: Term) -> Iterator[Term]:
    if isinstance(term, All):
        for inner in term.terms:
            yield from _flat(inner)
    else:
        yield term


def _branch(patterns: tuple[Whatever, ...]) -> Whatever:
    return patterns[0] if len(patterns) == 1 else experta.AND(*patterns)


def _fact(knowledge: Knowledge, leaf: Term) -> Whatever:
    match leaf:
        case Answered(finding, answers):
            taken = knowledge.findings[finding].answers if answers == (KNOWN,) else answers
            keys = frozenset(answer_key(finding, answer) for answer in taken)
            return AnswerFact(key=experta.P(_OneOf(keys)) if len(keys) > 1 else next(iter(keys)))
        case Is(condition):
            return ConditionFact(key=str(condition))
    raise TypeError(f"not a premise: {leaf!r}")


def _chooser(name: str, rule: str, number: int) -> Callable:
    def action(engine: Whatever) -> None:
        engine.declare(ChoiceFact(key=_choice_key(rule, number)))

    return _named(action, name)


def _rule(pattern: Whatever, salience: int, action: Callable) -> Whatever:
    return _Production(pattern, salience=salience)(action)


def _recorder(record: list[Fired], fired: Fired) -> Callable:
    def action(engine: Whatever) -> None:
        record.append(fired)

    return _named(action, f"evidence_{fired.of}_{fired.answer}")


def _concluder(record: list[Fired], rule: Rule) -> Callable:
    fired = Fired(rule=str(rule.id))

    def record_only(engine: Whatever) -> None:
        record.append(fired)

    def conclude(engine: Whatever) -> None:
        record.append(fired)
        engine.declare(ConditionFact(key=str(rule.outcome.condition)))  # type: ignore[union-attr]

    return _named(conclude if isinstance(rule.outcome, Means) else record_only, f"rule_{rule.id}")


_ACTION = inspect.Signature([inspect.Parameter("engine", inspect.Parameter.POSITIONAL_OR_KEYWORD)])


def _named(action: Callable, name: str) -> Callable:
    """Experta looks at every action for its arguments; they are told, because finding them takes longer than all else."""
    action.__name__ = name
    action.__signature__ = _ACTION  # type: ignore[attr-defined]
    return action


def answer_key(finding: str, answer: str) -> str:
    return f"{finding}: {answer}"


def _choice_key(rule: str, number: int) -> str:
    return f"{rule} #{number}"
