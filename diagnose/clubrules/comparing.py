"""Two sets of packs on the same cases: which causes change rank, by how much, and which cautions come or go.

Pure but for reading the case files. A caution or hold that goes away is the one thing that must never pass unseen, so
it is looked for in the cases and, because no set of cases tries everything, also where it is written.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..case.casefile import CaseFile, read_case
from ..case.readings import percent
from ..knowledge.model import Holds, Knowledge, Warns
from ..knowledge.source import FaultyFiles, Problem, printable
from ..planning.examine import Examined, examine

FIRST = 5
"""Causes that count as put forward: nobody reads further down at the pits."""

WIDTH = 80

NAMED = 8
"""Cases named where something goes away; each is listed below anyway."""

GROUPS = ("cautions", "holds", "conditions")


@dataclass(frozen=True, slots=True)
class Move:
    """One cause before and after. A rank counts from 1; None where the rules do not have the cause, or the machine not."""

    cause: str
    rank_before: int | None
    rank_after: int | None
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Turnover:
    """Ids of one group that come and that go."""

    come: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ComparedCase:
    """One case under both sets: its first causes where they moved, and what comes and goes of each group."""

    title: str
    path: str
    moves: tuple[Move, ...]
    turnover: Mapping[str, Turnover]

    @property
    def changes_rank(self) -> bool:
        """True if the first five are not the same causes in the same order."""
        return any(move.rank_before != move.rank_after for move in self.moves)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Every case, and what goes away where it is written: (caution or hold, id, where it no longer stands)."""

    before: tuple[str, ...]
    after: tuple[str, ...]
    cases: tuple[ComparedCase, ...]
    unwritten: tuple[tuple[str, str, str], ...]

    def count(self, group: str, side: str) -> Counter[str]:
        """Return id -> in how many cases it comes (`come`) or goes (`gone`)."""
        return Counter(name for case in self.cases for name in getattr(case.turnover[group], side))

    @property
    def less_safe(self) -> bool:
        """True if a caution or a hold goes away, in a case or where it is written."""
        return bool(self.unwritten or self.count("cautions", "gone") or self.count("holds", "gone"))


def compare(before: Knowledge, after: Knowledge, files: Sequence[Path]) -> Comparison:
    """Return how the cases in `files` differ. Raises FaultyFiles with everything wrong in them."""
    problems: list[Problem] = []
    cases = []
    for path in files:
        try:
            first, second = _read(path, before, after), _read(path, after, before)
        except FaultyFiles as faulty:
            problems += faulty.problems
            continue
        cases.append(_compared(first, examine(before, first.state), examine(after, second.state)))
    if problems:
        raise FaultyFiles(problems)
    return Comparison(_named(before), _named(after), tuple(cases), tuple(_unwritten(before, after)))


def _read(path: Path, own: Knowledge, other: Knowledge) -> CaseFile:
    """The case as one set reads it; where it asks what only the other set knows, as that one reads it."""
    try:
        return read_case(path, own)
    except FaultyFiles as faulty:
        try:
            return read_case(path, other)
        except FaultyFiles:
            raise faulty from None


def _named(knowledge: Knowledge) -> tuple[str, ...]:
    return tuple(f"{pack.id} {pack.version}" for pack in knowledge.packs)


def _compared(case: CaseFile, before: Examined, after: Examined) -> ComparedCase:
    ranks = [{one.cause: place for place, one in enumerate(seen.standing.causes, 1)} for seen in (before, after)]
    first = dict.fromkeys(one.cause for seen in (after, before) for one in seen.standing.causes[:FIRST])
    moves = (
        Move(cause, ranks[0].get(cause), ranks[1].get(cause), _share(before, cause), _share(after, cause))
        for cause in first
    )
    return ComparedCase(
        case.title,
        case.path,
        tuple(move for move in moves if (move.rank_before, move.before) != (move.rank_after, move.after)),
        {group: _turnover(getattr(before.conclusions, group), getattr(after.conclusions, group)) for group in GROUPS},
    )


def _share(seen: Examined, cause: str) -> float:
    ranked = seen.standing.of(cause)
    return ranked.probability if ranked else 0.0


def _turnover(before: Iterable[str], after: Iterable[str]) -> Turnover:
    before, after = tuple(before), tuple(after)
    return Turnover(
        come=tuple(name for name in after if name not in before), gone=tuple(name for name in before if name not in after)
    )


def _unwritten(before: Knowledge, after: Knowledge) -> Iterator[tuple[str, str, str]]:
    """What both sets have but only the first guards, and rules of safety that only the first has.

    A rule of the same name whose premise changed is left to the cases: only they can say whether it guards less.
    """
    stands = set(_guards(after))
    both = {where for where, _, _ in _things(after)}
    given = {(kind, name, rule.when) for rule in after.rules.values() for kind, name in _given(rule.outcome)}
    for kind, name, where in _guards(before):
        if (kind, name, where) not in stands and where in both:
            yield kind, name, where
    for rule in before.rules.values():
        same = after.rules.get(rule.id)
        for kind, name in _given(rule.outcome):
            if (kind, name) in (_given(same.outcome) if same else ()):
                continue
            if (kind, name, rule.when) not in given:
                yield kind, name, f"rule {rule.id}"


def _given(outcome: object) -> tuple[tuple[str, str], ...]:
    match outcome:
        case Warns(names):
            return tuple(("caution", str(name)) for name in names)
        case Holds(names, _):
            return tuple(("hold", str(name)) for name in names)
    return ()


def _guards(knowledge: Knowledge) -> Iterator[tuple[str, str, str]]:
    """The cautions shown with, and the holds standing over, each question, check, retest and fix and their steps."""
    for where, cautions, under in _things(knowledge):
        yield from (("caution", name, where) for name in cautions)
        yield from (("hold", name, where) for name in under)


def _things(knowledge: Knowledge) -> Iterator[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    for finding in knowledge.findings.values():
        yield f"finding {finding.id}", finding.cautions, finding.under
    for check in knowledge.checks.values():
        yield f"check {check.id}", check.cautions, (*check.under, *(h for step in check.steps for h in step.under))
    for retest in knowledge.retests.values():
        yield f"retest {retest.id}", retest.cautions, tuple(h for step in retest.steps for h in step.under)
    for one in knowledge.setup_steps.values():
        yield f"setup_step {one.id}", one.cautions, (*one.under, *(h for step in one.steps for h in step.under))
    for cause in knowledge.causes.values():
        fix = cause.fix
        yield f"fix of {cause.id}", fix.cautions, (*fix.under, *(h for step in fix.steps for h in step.under))


# As text and as a document.


def lines(comparison: Comparison) -> list[str]:
    """Return the comparison as lines of at most 80 columns, what goes away of cautions and holds first."""
    said = [line for text in _losses(comparison) for line in _wrapped(text)]
    said += [*_wrapped(f"from: {', '.join(comparison.before)}"), *_wrapped(f"to:   {', '.join(comparison.after)}")]
    for case in comparison.cases:
        changes = list(_changes(case))
        if changes:
            said += ["", *_wrapped(f"{case.title} ({case.path})"), *changes]
    return [*said, "", *(line for text in _summed(comparison) for line in _wrapped(text))]


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        printable(text, " "), WIDTH, initial_indent=indent, subsequent_indent=indent + "    ", break_on_hyphens=False
    ) or [""]


def _losses(comparison: Comparison) -> Iterator[str]:
    for group in ("holds", "cautions"):
        for name, count in comparison.count(group, "gone").items():
            named = [Path(case.path).stem for case in comparison.cases if name in case.turnover[group].gone]
            more = f" and {count - NAMED} more" if count > NAMED else ""
            yield f"GONE: {group[:-1]} {name}, in {_cases(count)}: {', '.join(named[:NAMED])}{more}"
    for kind, name, where in comparison.unwritten:
        yield f"GONE: {kind} {name}, no longer with {where}"
    if comparison.less_safe:
        yield ""


def _cases(count: int) -> str:
    return f"{count} case{'' if count == 1 else 's'}"


def _changes(case: ComparedCase) -> Iterator[str]:
    if case.changes_rank:
        for move in case.moves:
            rank = f"{_rank(move.rank_before)} -> {_rank(move.rank_after)}"
            share = f"{percent(move.before)} -> {percent(move.after)}"
            yield from _wrapped(f"{rank:<8}  {share:<22}  {move.cause}", "  ")
    for group in GROUPS:
        yield from (line for name in case.turnover[group].gone for line in _wrapped(f"{group[:-1]} {name} goes", "  "))
        yield from (line for name in case.turnover[group].come for line in _wrapped(f"{group[:-1]} {name} comes", "  "))


def _rank(rank: int | None) -> str:
    return "-" if rank is None else str(rank)


def _summed(comparison: Comparison) -> Iterator[str]:
    moved = sum(case.changes_rank for case in comparison.cases)
    # Neither set changes the order where only shares move; the largest of those shifts is worth a line.
    shift = max((abs(m.after - m.before) for case in comparison.cases for m in case.moves), default=0.0)
    yield (
        f"{_cases(len(comparison.cases))}: {moved or 'none'} with another order in the first five;"
        f" the largest shift of a share is {100 * shift:.0f} points"
    )
    for group in GROUPS:
        for side, verb in (("gone", "goes"), ("come", "comes")):
            for name, count in comparison.count(group, side).items():
                yield f"{group[:-1]} {name} {verb} in {_cases(count)}"


def document(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison for programs; its shape changes only with the version."""
    return {
        "format": "diagnose-comparison",
        "version": 1,
        "from": list(comparison.before),
        "to": list(comparison.after),
        "less_safe": comparison.less_safe,
        "no_longer_written": [{"kind": kind, "id": name, "with": where} for kind, name, where in comparison.unwritten],
        "cases": [_case_document(case) for case in comparison.cases],
        "summed": {group: {side: dict(comparison.count(group, side)) for side in ("come", "gone")} for group in GROUPS}
        | {"change_rank": sum(case.changes_rank for case in comparison.cases)},
    }


def _case_document(case: ComparedCase) -> dict[str, Any]:
    return {
        "title": case.title,
        "path": case.path,
        "changes_rank": case.changes_rank,
        "causes": [
            {
                "cause": move.cause,
                "rank": [move.rank_before, move.rank_after],
                "probability": [move.before, move.after],
            }
            for move in case.moves
        ],
        **{group: {"come": list(case.turnover[group].come), "gone": list(case.turnover[group].gone)} for group in GROUPS},
    }
