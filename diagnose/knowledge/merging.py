"""Several packs put together, one after the other. A later pack adds, switches off and weighs anew; it takes no caution,
no hold and no proof away, and no id over. Nothing of an earlier pack is edited: what changes is replaced by a copy.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from .chains import by_outcome, down_the_chains
from .model import (
    Cause,
    Change,
    Holds,
    Is,
    IsNot,
    Knowledge,
    Means,
    Pack,
    Proves,
    Reweigh,
    Rule,
    SwitchOff,
    Warns,
    leaves,
)
from .nearness import Names
from .source import Problem

SHELVES = MappingProxyType(
    {
        "need": "needs", "finding": "findings", "kin": "kin", "condition": "conditions", "cause": "causes",
        "check": "checks", "retest": "retests", "caution": "cautions", "hold": "holds", "rule": "rules",
        "setup_step": "setup_steps", "carburettor": "carburettors", "needle_move": "needle_moves",
        "hearing": "hearings", "slang": "slang",
    }
)  # fmt: skip
"""Kind of entry -> where Knowledge keeps it."""


KINDS = MappingProxyType({Warns: "caution", Holds: "hold", Proves: "proof"})
"""What no later pack takes away, as it is called."""


@dataclass(frozen=True, slots=True)
class ReadPack:
    """One pack as it was read: what it says of itself (None: unreadable), and its entries as (kind, object).

    unread: ids of entries that could not be read.
    whole: False when a file could not be read at all, so that nobody knows what it defines.
    """

    pack: Pack | None
    entries: tuple[tuple[str, Any], ...]
    unread: frozenset[str]
    whole: bool


def merge(read: Sequence[ReadPack], problems: list[Problem]) -> Knowledge:
    """Return what the packs say together; what may not be put together is left out and noted in `problems`."""
    shelves: dict[str, dict[str, Any]] = {name: {} for name in SHELVES.values()}
    pack_of: dict[tuple[str, str], int] = {}
    for number, one in enumerate(read):
        for kind, made in one.entries:
            if kind in SHELVES:
                _shelve(kind, made, shelves[SHELVES[kind]], problems)
                pack_of.setdefault((kind, made.id), number)
    rules: dict[str, Rule] = shelves["rules"]
    problems.extend(_taken_away(rules, pack_of, len(read)))
    changes = _Changes(rules, shelves["causes"], pack_of, frozenset().union(*(one.unread for one in read)))
    for number, one in enumerate(read):
        problems.extend(changes.apply(number, [made for kind, made in one.entries if kind not in SHELVES]))
    shelves["rules"] = {name: rule for name, rule in rules.items() if name not in changes.off}
    shelves["causes"] = changes.causes
    return Knowledge(
        packs=tuple(one.pack for one in read if one.pack is not None),
        changes=tuple(changes.made),
        **{name: MappingProxyType(shelf) for name, shelf in shelves.items()},  # type: ignore[arg-type]
    )


def _shelve(kind: str, made: Any, shelf: dict[str, Any], problems: list[Problem]) -> None:
    first = shelf.setdefault(made.id, made)
    if first is not made:
        problems.append(Problem(made.id.place, f"{kind} '{made.id}' is already defined at {first.id.place}"))


class _Changes:
    """Applies what packs switch off and weigh anew, in their order. `off`, `causes` and `made` are what has come of it."""

    def __init__(
        self,
        rules: Mapping[str, Rule],
        causes: Mapping[str, Cause],
        pack_of: Mapping[tuple[str, str], int],
        unread: frozenset[str],
    ) -> None:
        self.off: set[str] = set()
        self.causes = dict(causes)
        self.made: list[Change] = []
        self._rules = rules
        self._pack_of = pack_of
        self._unread = unread
        self._guarded = _guarded(rules)
        self._rule_names = Names("rule", rules)
        self._cause_names = Names("cause", causes)

    def apply(self, number: int, changes: Iterable[Change]) -> Iterator[Problem]:
        """Apply the changes of one pack and yield those that are refused."""
        before: dict[tuple[type, str], Change] = {}
        for change in changes:
            first = before.setdefault((type(change), change.id), change)
            if first is not change:
                yield Problem(change.id.place, f"'{change.id}' was already changed at {first.id.place}; keep one")
            elif isinstance(change, SwitchOff) and change.id in self._rules:
                yield from self._switch_off(number, change)
            elif isinstance(change, Reweigh) and change.id in self.causes:
                yield from self._reweigh(number, change)
            elif change.id not in self._unread:
                names = self._rule_names if isinstance(change, SwitchOff) else self._cause_names
                yield Problem(
                    change.id.place,
                    f"no {names.kind} of an earlier pack is called '{change.id}'",
                    names.likeliest(change.id),
                )

    def _switch_off(self, number: int, change: SwitchOff) -> Iterator[Problem]:
        refused = self._refusal(number, self._rules[change.id])
        if refused:
            yield Problem(change.id.place, refused)
        else:
            self.off.add(change.id)
            self.made.append(change)

    def _refusal(self, number: int, rule: Rule) -> str:
        if self._pack_of["rule", rule.id] >= number:
            return f"rule '{rule.id}' is not of an earlier pack; only a rule of an earlier pack is switched off"
        match rule.outcome:
            case Warns():
                return f"rule '{rule.id}' gives a caution; a caution is never switched off"
            case Holds():
                return f"rule '{rule.id}' gives a hold; a hold is never switched off"
            case Proves():
                return f"rule '{rule.id}' asks for a retest; a proof is never switched off"
            case Means(condition) if condition in self._guarded:
                above = self._guarded[condition]
                kind = KINDS[type(above.outcome)]
                return f"rule '{rule.id}' concludes '{condition}', on which the {kind} of '{above.id}' rests; it stays on"
        return ""

    def _reweigh(self, number: int, change: Reweigh) -> Iterator[Problem]:
        if self._pack_of["cause", change.id] >= number:
            says = f"cause '{change.id}' is not of an earlier pack; only a cause of an earlier pack is weighed anew"
            yield Problem(change.id.place, says)
            return
        was = self.causes[change.id]
        self.causes[change.id] = replace(
            was,
            how_common=change.how_common or was.how_common,
            shows=MappingProxyType({**was.shows, **change.shows}),
        )
        self.made.append(change)


def _guarded(rules: Mapping[str, Rule]) -> dict[str, Rule]:
    """Condition -> a caution, hold or proof that rests on it, directly or through a chain of conditions."""
    safe = [rule for kind in (Warns, Holds, Proves) for rule in rules.values() if isinstance(rule.outcome, kind)]
    seeds: dict[str, Rule] = {
        leaf.condition: rule for rule in safe for leaf in leaves(rule.when) if isinstance(leaf, (Is, IsNot))
    }
    return down_the_chains(by_outcome(rules.values()), seeds)


def _taken_away(rules: Mapping[str, Rule], pack_of: Mapping[tuple[str, str], int], packs: int) -> Iterator[Problem]:
    """Rules of club packs that would lift a caution or hold of another pack, which stands while something is not so.

    The first pack is the ground the others stand on; its rules are not asked.
    """
    lifted_by: list[tuple[str, Rule]] = [
        (leaf.condition, rule)
        for rule in rules.values()
        if isinstance(rule.outcome, (Warns, Holds))
        for leaf in leaves(rule.when)
        if isinstance(leaf, IsNot)
    ]
    outcomes = by_outcome(rules.values())
    for number in range(1, packs):
        lifting = down_the_chains(
            outcomes, {condition: rule for condition, rule in lifted_by if pack_of["rule", rule.id] != number}
        )
        for rule in rules.values():
            if pack_of["rule", rule.id] == number and isinstance(rule.outcome, Means) and rule.outcome.condition in lifting:
                above = lifting[rule.outcome.condition]
                kind = "caution" if isinstance(above.outcome, Warns) else "hold"
                yield Problem(
                    rule.outcome.condition.place,
                    f"concluding '{rule.outcome.condition}' here would lift the {kind} of '{above.id}', a rule of another"
                    " pack; conclude a condition of this pack instead",
                )
