"""Rules of a pack, from text with its place to what they rest on and what they conclude."""

from __future__ import annotations

from .fields import Fields
from .model import (
    All,
    Answered,
    Any,
    Clash,
    First,
    Holds,
    Is,
    IsNot,
    Lacks,
    Means,
    Outcome,
    Proves,
    Rule,
    Skips,
    Sooner,
    Term,
    Warns,
    leaves,
)
from .source import Items, Node, Table, Text

DEEPEST_RULE = 4
MOST_PREMISES = 100
"""Findings and conditions in one rule. All that must hold together is joined one by one, each within the last."""

OUTCOMES = ("means", "lacks", "clash", "caution", "hold", "skip", "first", "sooner", "prove")


def rule(it: Fields) -> Rule | None:
    outcome = _outcome(it)
    when = it.node("when")
    rule_id, because, basis = it.id("rule"), it.text("because"), it.text("basis")
    term = None if when is None else premise(it, when, 1)
    if len(leaves(term)) > MOST_PREMISES:
        it.wrong(it.table.place, f"more than {MOST_PREMISES} premises in one rule; make conditions of some of them")
    if outcome is None or (when is not None and term is None):
        return None
    return Rule(rule_id, term, outcome, because, basis, it.table.place)


def _outcome(it: Fields) -> Outcome | None:
    given = [kind for kind in OUTCOMES if it.node(kind) is not None]
    if len(given) != 1:
        it.node("until")
        it.wrong(it.table.place, f"a rule has exactly one of {', '.join(OUTCOMES)}; this one has {len(given)}")
        return None
    match given[0]:
        case "means":
            return Means(it.id("means"))
        case "lacks":
            return Lacks(it.ids("lacks", required=True))
        case "clash":
            return Clash(it.text("clash"))
        case "caution":
            return Warns(it.ids("caution", required=True))
        case "hold":
            return Holds(it.ids("hold", required=True), it.text("until"))
        case "skip":
            return Skips(it.ids("skip", required=True))
        case "first":
            return First(it.ids("first", required=True))
        case "sooner":
            return Sooner(it.ids("sooner", required=True))
        case _:
            return Proves(it.ids("prove", required=True))


def premise(it: Fields, node: Node, depth: int) -> Term | None:
    """Return what a rule rests on, or None when it cannot be read; what is wrong is noted."""
    if not isinstance(node, Table) or not node.pairs:
        it.wrong(node.place, "'when' takes a finding with its answers, is:, is_not:, all: or any:")
        return None
    if depth > DEEPEST_RULE:
        it.wrong(node.place, f"all: and any: are nested more than {DEEPEST_RULE} deep; make a condition of the inner part")
        return None
    terms = [term for key, value in node if (term := _one_term(it, key, value, depth)) is not None]
    if len(terms) < len(node.pairs):
        return None
    return terms[0] if len(terms) == 1 else All(tuple(terms))


def _one_term(it: Fields, key: Text, value: Node, depth: int) -> Term | None:
    if key in ("all", "any"):
        if not isinstance(value, Items) or not value.items:
            it.wrong(value.place, f"'{key}' takes a list")
            return None
        read = [premise(it, item, depth + 1) for item in value]
        terms = tuple(term for term in read if term is not None)
        if len(terms) < len(read):
            return None
        return All(terms) if key == "all" else Any(terms)
    inner = Fields(Table(((key, value),), key.place), it.problems)
    names = inner.ids(key)
    if not names:
        return None
    if key == "is":
        return _every(tuple(Is(name) for name in names))
    if key == "is_not":
        return _every(tuple(IsNot(name) for name in names))
    it.an_id(key)
    return Answered(key, names)


def _every(terms: tuple[Term, ...]) -> Term:
    return terms[0] if len(terms) == 1 else All(terms)
