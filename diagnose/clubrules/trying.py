"""Try a pack: its own cases against the base rules and the packs, and which of its rules the cases reach."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..case.casefile import PackCase, read_pack_case
from ..knowledge.model import Knowledge, Pack, Rule
from ..knowledge.source import OUTSIDE, FaultyFiles, Place, Problem, Text, leads_outside
from ..planning.examine import Examined, examine

CASES = "cases"
"""The folder in a pack that holds its cases. Packs are read from their own folder only, so cases are no rules."""

ENDINGS = (".yaml", ".yml")
MOST_CASES = 5_000

DOCUMENT = "diagnose-tried"
VERSION = 1


@dataclass(frozen=True, slots=True)
class TriedCase:
    """A case that was run: what did not come out as expected, and every rule that fired."""

    case: PackCase
    missed: tuple[Problem, ...]
    fired: frozenset[str]


@dataclass(frozen=True, slots=True)
class Reached:
    """In how many cases a rule fires and in how many it is silent. A rule without `when` cannot be silent."""

    rule: Rule
    fires: int
    silent: int

    @property
    def lacks(self) -> tuple[str, ...]:
        """Return which sort of case is missing: 'where it fires', 'where it is silent'."""
        never_fires = () if self.fires else ("where it fires",)
        never_silent = () if self.silent or self.rule.when is None else ("where it is silent",)
        return never_fires + never_silent


@dataclass(frozen=True, slots=True)
class Trial:
    """The packs that were tried, each case in order, and how far the cases reach the packs' rules."""

    packs: tuple[Pack, ...]
    cases: tuple[TriedCase, ...]
    rules: tuple[Reached, ...]

    @property
    def well(self) -> bool:
        """True when every case came out as expected and every rule is reached both ways."""
        return not any(tried.missed for tried in self.cases) and not any(reached.lacks for reached in self.rules)


def case_files(pack: Path) -> list[Path]:
    """Return the case files of the pack in this folder, sorted.

    Raises FaultyFiles when there is none, when there are too many, or when one leads out of the pack.
    """
    folder = pack / CASES
    if folder.exists() and leads_outside(folder, pack):
        raise FaultyFiles([Problem(Place(str(folder)), OUTSIDE)])
    files = sorted(
        path for path in folder.rglob("*") if path.suffix in ENDINGS and path.is_file() and not path.name.startswith(".")
    )
    if not files:
        raise FaultyFiles([Problem(Place(str(folder)), "no case found; write one into this folder, such as first.yaml")])
    if len(files) > MOST_CASES:
        raise FaultyFiles([Problem(Place(str(folder)), f"more than {MOST_CASES:,} cases in one pack")])
    outside = [Problem(Place(str(path)), OUTSIDE) for path in files if leads_outside(path, pack)]
    if outside:
        raise FaultyFiles(outside)
    return files


def try_packs(knowledge: Knowledge, packs: Sequence[Pack]) -> Trial:
    """Run every case of the packs, which `knowledge` holds. Raises FaultyFiles with all that is wrong in their cases."""
    problems: list[Problem] = []
    cases: list[PackCase] = []
    for pack in packs:
        try:
            files = case_files(Path(pack.folder))
        except FaultyFiles as faulty:
            problems += faulty.problems
            continue
        for path in files:
            try:
                cases.append(read_pack_case(path, knowledge))
            except FaultyFiles as faulty:
                problems += faulty.problems
    if problems:
        raise FaultyFiles(problems)
    tried = tuple(try_case(knowledge, case) for case in cases)
    return Trial(tuple(packs), tried, reach(rules_of(knowledge, packs), tried))


def try_case(knowledge: Knowledge, case: PackCase) -> TriedCase:
    """Run one case."""
    seen = examine(knowledge, case.state)
    fired = seen.conclusions.fired
    missed = tuple(problem for key, names in case.expects.items() for problem in _JUDGES[key](names, seen, fired))
    return TriedCase(case, missed, fired)


def rules_of(knowledge: Knowledge, packs: Iterable[Pack]) -> tuple[Rule, ...]:
    """Return the rules that are written in these packs."""
    packs = tuple(packs)
    return tuple(rule for rule in knowledge.rules.values() if any(pack.wrote(rule.place) for pack in packs))


def reach(rules: Iterable[Rule], tried: Sequence[TriedCase]) -> tuple[Reached, ...]:
    """Return in how many of the cases each rule fires and is silent."""
    counts = ((rule, sum(rule.id in one.fired for one in tried)) for rule in rules)
    return tuple(Reached(rule, fires, len(tried) - fires) for rule, fires in counts)


# What an expectation asks. Each judge takes the ids it names, the case as the rules see it and the rules that fired.

Judge = Callable[[tuple[Text, ...], Examined, frozenset[str]], Iterable[Problem]]


def _leading(seen: Examined, most: int) -> list[str]:
    return [ranked.cause for ranked in seen.standing.causes[:most]]


def _came(seen: Examined) -> str:
    """The three leading causes, each with its probability, as one reads them in the standing."""
    return ", ".join(f"{ranked.cause} {ranked.probability:.0%}" for ranked in seen.standing.causes[:3]) or "no cause"


def _named(names: Sequence[str], joined: str) -> str:
    return joined.join(f"'{name}'" for name in names)


def _first(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    if not set(names) & set(_leading(seen, 1)):
        yield Problem(names[0].place, f"expected {_named(names, ' or ')} first; what came: {_came(seen)}")


def _first_three(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    if not set(names) & set(_leading(seen, 3)):
        yield Problem(names[0].place, f"expected {_named(names, ' or ')} in the first three; what came: {_came(seen)}")


def _never(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    for name in names:
        if name in _leading(seen, 3):
            yield Problem(name.place, f"expected '{name}' not in the first three; what came: {_came(seen)}")


def _cautions(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    return _absent("caution", names, seen.conclusions.cautions)


def _holds(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    return _absent("hold", names, seen.conclusions.holds)


def _absent(kind: str, names: tuple[Text, ...], standing: Mapping[str, object]) -> Iterable[Problem]:
    for name in names:
        if name not in standing:
            came = ", ".join(standing) or "none"
            yield Problem(name.place, f"expected the {kind} '{name}'; what came: {came}")


def _fires(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    for name in names:
        if name not in fired:
            yield Problem(name.place, f"expected the rule '{name}' to fire; it is silent")


def _silent(names: tuple[Text, ...], seen: Examined, fired: frozenset[str]) -> Iterable[Problem]:
    for name in names:
        if name in fired:
            yield Problem(name.place, f"expected the rule '{name}' to be silent; it fires")


_JUDGES: Mapping[str, Judge] = MappingProxyType(
    {
        "first": _first,
        "first_three": _first_three,
        "never": _never,
        "cautions": _cautions,
        "holds": _holds,
        "fires": _fires,
        "silent": _silent,
    }
)
"""Expectation -> what is missed."""


# What is said of a trial.


def lines(trial: Trial) -> list[str]:
    """Return a line for each case, or for each thing in it that came otherwise; then the rules and how they are reached."""
    said: list[str] = []
    for tried in trial.cases:
        said += [f"wrong  {problem}" for problem in tried.missed] or [f"good   {tried.case.path}: {tried.case.title}"]
    wrong = sum(bool(tried.missed) for tried in trial.cases)
    width = max((len(reached.rule.id) for reached in trial.rules), default=0)
    said += ["", f"{_counted(len(trial.cases), 'case')}, {wrong or 'none'} wrong."]
    if trial.rules:
        said += ["", f"Rules of {' and '.join(str(pack.id) for pack in trial.packs)}:"]
    for reached in trial.rules:
        counts = f"fires in {_counted(reached.fires, 'case')}, silent in {reached.silent}"
        said.append(f"  {reached.rule.id:{width}}  {counts}")
    return said + [str(problem) for reached in trial.rules for problem in unreached(reached)]


def unreached(reached: Reached) -> list[Problem]:
    """Return what is missing of a rule that lacks a case, at the place where the rule is written."""
    rule = reached.rule
    return [Problem(rule.id.place, f"rule '{rule.id}' has no case {lack}; write one") for lack in reached.lacks]


def _counted(count: int, of: str) -> str:
    return f"{count} {of}" if count == 1 else f"{count} {of}s"


def document(trial: Trial) -> dict[str, Any]:
    """Return the trial as a document for programs."""
    return {
        "format": DOCUMENT,
        "version": VERSION,
        "packs": [{"pack": str(pack.id), "version": str(pack.version)} for pack in trial.packs],
        "well": trial.well,
        "cases": [
            {
                "title": tried.case.title,
                "file": tried.case.path,
                "missed": [problem.document() for problem in tried.missed],
                "fired": sorted(tried.fired),
            }
            for tried in trial.cases
        ],
        "rules": [
            {
                "rule": str(reached.rule.id),
                "fires": reached.fires,
                "silent": reached.silent,
                "lacks": [problem.document() for problem in unreached(reached)],
            }
            for reached in trial.rules
        ],
    }
