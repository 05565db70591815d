"""House style: what loads and is yet hardly meant. A rule that can never fire or adds nothing, evidence said twice,
findings nobody uses, work without the caution that belongs to it. Advice is sound, not complete: what it says is so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Set
from pathlib import Path

from .chains import above, concluding, down_the_chains
from .frequency import FREQUENCY
from .hands import spoken_of, touched
from .model import (
    CONCLUDED,
    Answered,
    Cause,
    First,
    Holds,
    Is,
    Kin,
    Knowledge,
    Lacks,
    Means,
    Outcome,
    Proves,
    Rule,
    Skips,
    Sooner,
    SwitchOff,
    Tell,
    Warns,
    leaves,
    names_in,
)
from .premises import Way, fires_with, ways
from .source import Problem

STRONG = 5.0
"""A tell is strong when its answer is seen so many times as often, or as rarely, as on engines with another fault."""

MOST_COMPARED = 200
"""Ways of other rules with the same premise and outcome that one rule is compared with; more would take minutes in a
large pack."""


def advice(knowledge: Knowledge) -> list[Problem]:
    """Return what loads and is yet hardly meant, sorted by place."""
    rule_ways = {str(rule.id): ways(rule, knowledge.findings) for rule in knowledge.rules.values()}
    spelt_out = {name: found for name, found in rule_ways.items() if found is not None}
    return sorted(
        {
            *_never_fires(knowledge, rule_ways),
            *_compared(knowledge, {name: found for name, found in spelt_out.items() if found}),
            *_silencing(knowledge),
            *_weak_causes(knowledge),
            *_unused_findings(knowledge),
            *_unused_retests(knowledge),
            *_said_twice(knowledge),
            *_without_caution(knowledge),
            *_no_longer_concluded(knowledge),
        }
    )


# Rules that never fire.


def _never_fires(knowledge: Knowledge, rule_ways: Mapping[str, tuple[Way, ...] | None]) -> Iterator[Problem]:
    concluded = _reachable(knowledge, rule_ways)
    for rule in knowledge.rules.values():
        found = rule_ways[rule.id]
        if found == ():
            yield Problem(rule.id.place, f"rule '{rule.id}' can never fire: its premises exclude each other")
        elif found and not any(way.concluded <= concluded for way in found):
            wanting = min(found[0].concluded - concluded)
            yield Problem(
                rule.id.place,
                f"rule '{rule.id}' can never fire: it needs '{wanting}', which no rule concludes that can fire",
            )


def _reachable(knowledge: Knowledge, rule_ways: Mapping[str, tuple[Way, ...] | None]) -> frozenset[str]:
    """The conditions that some chain of rules can conclude, or the walk itself brings about."""

    def can_fire(rule: Rule, reached: Set[str]) -> bool:
        found = rule_ways[rule.id]  # None, too many ways to spell out, is taken to fire
        return found is None or any(way.concluded <= reached for way in found)

    walked = frozenset(str(name) for name, condition in knowledge.conditions.items() if condition.by_the_walk)
    first = walked | _conditions(rule for rule in knowledge.rules.values() if can_fire(rule, walked))
    return first | _conditions(above(knowledge, first, can_fire))


def _conditions(rules: Iterable[Rule]) -> frozenset[str]:
    return frozenset(str(rule.outcome.condition) for rule in rules if isinstance(rule.outcome, Means))


def _no_longer_concluded(knowledge: Knowledge) -> Iterator[Problem]:
    """Conditions that nothing concludes since their rule was switched off."""
    switched_off = [change for change in knowledge.changes if isinstance(change, SwitchOff)]
    if not switched_off:
        return
    concluded = _conditions(knowledge.rules.values())
    for condition in knowledge.conditions.values():
        if condition.id not in concluded and not condition.by_the_walk:
            for change in switched_off:
                yield Problem(
                    change.id.place, f"with this and what else is switched off, no rule concludes '{condition.id}' any more"
                )


# Rules beside each other.


def _named(outcome: Outcome) -> tuple[str, ...]:
    """What an outcome speaks of; a clash speaks of nothing by name."""
    return names_in(outcome) or ("",)


class _Beside:
    """Finds rules with a given outcome that fire whenever another does. Each is filed under its rarest premise."""

    def __init__(self, knowledge: Knowledge, spelt_out: Mapping[str, tuple[Way, ...]]) -> None:
        self._ways = spelt_out
        self._shelf: dict[tuple[type, str, str, str, str], list[Rule]] = {}
        rules = [rule for rule in knowledge.rules.values() if rule.id in spelt_out]
        used = Counter(leaf[:2] for rule in rules for way in spelt_out[rule.id] for leaf in way.leaves())
        for rule in rules:
            for name in _named(rule.outcome):
                keys = {key for way in spelt_out[rule.id] for key in _filed(way, used)}
                for key in sorted(keys):
                    self._shelf.setdefault((type(rule.outcome), name, *key), []).append(rule)

    def firing_with(self, rule: Rule, outcome: type, named: str) -> Iterator[Rule]:
        """Rules of this outcome that fire whenever `rule` does."""
        first = self._ways[rule.id][0]
        keys = [("", "", ""), *((kind, of, min(taken, default="")) for kind, of, taken in first.leaves())]
        looked = 0
        for key in keys:
            for other in self._shelf.get((outcome, named, *key), ()):
                looked += len(self._ways[other.id])
                if looked > MOST_COMPARED:
                    return
                if other is not rule and fires_with(self._ways[rule.id], self._ways[other.id]):
                    yield other


def _filed(way: Way, used: Counter[tuple[str, str]]) -> Iterator[tuple[str, str, str]]:
    """The keys under which a way is found: every answer it takes of its rarest premise."""
    kind, of, taken = min(way.leaves(), key=lambda leaf: (used[leaf[:2]], leaf[:2]), default=("", "", frozenset()))
    yield from ((kind, of, answer) for answer in taken or ("",))


def _compared(knowledge: Knowledge, spelt_out: Mapping[str, tuple[Way, ...]]) -> Iterator[Problem]:
    beside = _Beside(knowledge, spelt_out)
    order = {name: number for number, name in enumerate(knowledge.rules)}
    for rule in knowledge.rules.values():
        if rule.id not in spelt_out:
            continue
        named = _named(rule.outcome)
        for other in beside.firing_with(rule, type(rule.outcome), named[0]):
            if not set(named) <= set(_named(other.outcome)):
                continue
            same = fires_with(spelt_out[other.id], spelt_out[rule.id]) and set(named) == set(_named(other.outcome))
            if same and order[other.id] > order[rule.id]:
                continue  # said of the later of the two
            yield Problem(
                rule.id.place,
                f"rule '{rule.id}' adds nothing: whenever it fires, '{other.id}' ({other.id.place}) fires too"
                " and says the same",
            )
            break
        if isinstance(rule.outcome, (First, Sooner)):
            for name in rule.outcome.ids:
                against = next(beside.firing_with(rule, Skips, name), None)
                if against is not None:
                    yield Problem(
                        name.place,
                        f"rule '{rule.id}' puts '{name}' forward, and '{against.id}' ({against.id.place}) skips it"
                        " whenever it does",
                    )


# Questions closed that a caution rests on.


def _silencing(knowledge: Knowledge) -> Iterator[Problem]:
    """Rules of club packs that close a question whose answer a caution or hold of the first pack waits for."""
    if len(knowledge.packs) < 2:
        return
    ground = knowledge.packs[0].folder
    waited_for = _waited_for(knowledge, ground)
    by_need: dict[str, list[str]] = {}
    for finding in knowledge.findings.values():
        for need in finding.needs:
            by_need.setdefault(need, []).append(str(finding.id))
    for rule in knowledge.rules.values():
        if _folder(rule) == ground or not isinstance(rule.outcome, (Skips, Lacks)):
            continue
        for name in _named(rule.outcome):
            if isinstance(rule.outcome, Lacks):
                closed = by_need.get(name, [])
            else:
                closed = list(knowledge.checks[name].finds) if name in knowledge.checks else [name]
            of = next((finding for finding in closed if finding in waited_for), None)
            if of is not None:
                yield Problem(
                    rule.id.place,
                    f"rule '{rule.id}' closes the question '{of}', and '{waited_for[of].id}' may give its caution or hold"
                    " only once that is answered",
                )


def _folder(rule: Rule) -> str:
    return str(Path(rule.place.file).parent)


def _waited_for(knowledge: Knowledge, folder: str) -> dict[str, Rule]:
    """Finding -> a caution or hold of the pack in this folder that rests on its answers, through any chain."""
    safe = [r for r in knowledge.rules.values() if _folder(r) == folder and isinstance(r.outcome, (Warns, Holds))]
    seeds: dict[str, Rule] = {leaf.condition: rule for rule in safe for leaf in leaves(rule.when) if isinstance(leaf, Is)}
    resting = down_the_chains(concluding(knowledge), seeds)
    found: dict[str, Rule] = {}
    for rule in knowledge.rules.values():
        rests: Rule | None = None
        if _folder(rule) == folder and isinstance(rule.outcome, (Warns, Holds)):
            rests = rule
        elif isinstance(rule.outcome, Means):
            rests = resting.get(rule.outcome.condition)
        if rests is not None:
            for leaf in leaves(rule.when):
                if isinstance(leaf, Answered):
                    found.setdefault(str(leaf.finding), rests)
    return found


# Causes and findings.


def _weak_causes(knowledge: Knowledge) -> Iterator[Problem]:
    for cause in knowledge.causes.values():
        if not any(_strongest(knowledge, tell) >= STRONG for tell in cause.shows.values()):
            yield Problem(
                cause.id.place,
                f"nothing points to '{cause.id}' strongly: no answer is seen {STRONG:g} times as often, or as rarely,"
                " as on engines with another fault",
            )


def _strongest(knowledge: Knowledge, tell: Tell) -> float:
    """How many times as often, or as rarely, the most telling answer is seen with the cause than without it."""
    if tell.of in knowledge.conditions:
        seen: dict[str, str] = {CONCLUDED: knowledge.conditions[tell.of].seen}
    elif tell.of in knowledge.findings:
        seen = {name: str(answer.seen) for name, answer in knowledge.findings[tell.of].answers.items()}
    else:
        return 1.0
    ratios = [FREQUENCY[word] / FREQUENCY[seen[answer]] for answer, word in tell.words.items() if answer in seen]
    return max((max(ratio, 1 / ratio) for ratio in ratios), default=1.0)


def _unused_findings(knowledge: Knowledge) -> Iterator[Problem]:
    used = {name for cause in knowledge.causes.values() for name in cause.shows}
    used |= {name for check in knowledge.checks.values() for name in check.finds}
    used |= {name for kind in knowledge.carburettors.values() for name in kind.told_by}
    for rule in knowledge.rules.values():
        used |= {leaf.finding for leaf in leaves(rule.when) if isinstance(leaf, Answered)}
        used |= set(_named(rule.outcome))
    for finding in knowledge.findings.values():
        if finding.id not in used:
            yield Problem(finding.id.place, f"nothing uses the finding '{finding.id}': no cause, rule or check")


def _unused_retests(knowledge: Knowledge) -> Iterator[Problem]:
    asked = {name for cause in knowledge.causes.values() for name in cause.prove}
    for rule in knowledge.rules.values():
        if isinstance(rule.outcome, Proves):
            asked |= set(rule.outcome.retests)
    for retest in knowledge.retests.values():
        if retest.only_when_asked and retest.id not in asked:
            yield Problem(retest.id.place, f"nothing asks for the retest '{retest.id}': no rule and no cause")


def _said_twice(knowledge: Knowledge) -> Iterator[Problem]:
    same: dict[str, list[Kin]] = {}
    for kin in knowledge.kin.values():
        if kin.are == "same":
            for member in kin.of:
                same.setdefault(member, []).append(kin)
    roots = _only_roots(knowledge)
    for cause in knowledge.causes.values():
        if not knowledge.packs[0].wrote(cause.place):  # the first pack knows its own kin
            yield from _same_kin(cause, same)
        for name, tell in cause.shows.items():
            root = roots.get(name)
            if root in cause.shows:
                yield Problem(
                    tell.of.place,
                    f"evidence twice: '{cause.id}' shows '{root}' and the condition '{name}', which rests on it alone;"
                    " only the stronger counts",
                )


def _same_kin(cause: Cause, same: Mapping[str, Iterable[Kin]]) -> Iterator[Problem]:
    shown: dict[str, str] = {}
    for name, tell in cause.shows.items():
        for kin in same.get(name, ()):
            first = shown.setdefault(kin.id, name)
            if first != name:
                yield Problem(
                    tell.of.place,
                    f"evidence twice: '{cause.id}' shows '{first}' and '{name}', which say the same (kin '{kin.id}');"
                    " only the stronger counts",
                )


def _only_roots(knowledge: Knowledge) -> dict[str, str]:
    """Condition -> the one finding that everything which concludes it rests on, through any chain."""
    roots: dict[str, list[str]] = {}

    def may_be_the_only_one(rule: Rule, _: Set[str]) -> bool:
        # Two roots are as good as many: what has them need not be gone through again.
        return isinstance(rule.outcome, Means) and len(roots.get(rule.outcome.condition, ())) < 2

    for finding in knowledge.findings:
        for condition in _conditions(above(knowledge, [finding], may_be_the_only_one)):
            roots.setdefault(condition, []).append(finding)
    return {condition: found[0] for condition, found in roots.items() if len(found) == 1}


# Work that wants a caution.


def _without_caution(knowledge: Knowledge) -> Iterator[Problem]:
    """A check or fix that touches what can hurt says so first."""
    speaks = {name: spoken_of(caution) for name, caution in knowledge.cautions.items()}
    work = [
        *((check.steps, check.cautions) for check in knowledge.checks.values()),
        *((cause.fix.steps, cause.fix.cautions) for cause in knowledge.causes.values()),
        *((step.steps, step.cautions) for step in knowledge.setup_steps.values()),
    ]
    for steps, cautions in work:
        said = set().union(*(speaks.get(name, ()) for name in cautions))
        for step in steps:
            for kind in sorted(touched(step.do) - said):
                said.add(kind)  # once for each check or fix
                yield Problem(step.do.place, f"this touches {kind}, and no caution of that kind is among its cautions:")
