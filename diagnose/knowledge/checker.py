"""What can be wrong between entries: names that lead nowhere, tells without a question, rules in the wrong stratum."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, islice

from . import hearing
from .model import (
    CONCLUDED,
    KNOWN,
    Answered,
    Check,
    Finding,
    First,
    Holds,
    Is,
    IsNot,
    Knowledge,
    Lacks,
    Means,
    Proves,
    Reweigh,
    Rule,
    Skips,
    Sooner,
    Step,
    SwitchOff,
    Warns,
    leaves,
)
from .nearness import Names
from .reader import MOST_PROBLEMS, TOO_MANY_PROBLEMS
from .setup_checker import setup_problems
from .source import Place, Problem, Text

CLOSE_NEEDLE = "close-needle"
"""The hold that must stand over every step that weakens the mixture."""

RUN = "run"
"""The hold under which no engine is started."""

NEEDLE_HOLDS = (CLOSE_NEEDLE, "turn-needles")
"""While any of these stands no needle is moved in. Opening, the safe side, is always allowed."""

_WEAKENS = re.compile(
    r"\b(?:clos(?:e|es|ing)|weaken(?:s|ing)?|tighten(?:s|ing)?"
    r"|(?:screw|turn|wind|bring|nip|set|take|go|make)(?:s|ing)?\b[^.;:,]{0,50}\b(?:in|down|leaner|weaker|clockwise)"
    r"|nip(?:s|ping)? up|\d ?(?:turn )?clockwise|eighth clockwise|sixteenth clockwise"
    r"|(?<!a )lean(?:s|ing)? (?:it|the|a|H|L|out))\b[^.;:,]*",
    re.IGNORECASE,
)
_NEEDLE = re.compile(r"\b(needles?|mixture|H|L)\b")
CLAUSE = re.compile(r"(?<=[.;:,])\s+")
FORBIDS = re.compile(r"\b(never|not|no|nobody|without|instead of|don't)\b", re.IGNORECASE)


def weakens(sentence: str) -> bool:
    """True if a sentence tells someone to close a needle or weaken the mixture, and does not forbid it."""
    if not _NEEDLE.search(sentence):
        return False
    for clause in CLAUSE.split(sentence):  # a "not" excuses only its own clause
        found = _WEAKENS.search(clause)
        if found and _NEEDLE.search(clause) and not FORBIDS.search(clause[: found.start()]):
            return True
    return False


class Shelves:
    """The ids of each kind that may be named; those of entries that could not be read are known, if nothing else is."""

    def __init__(self, knowledge: Knowledge, unread: frozenset[str]) -> None:
        asked = {**knowledge.findings, **knowledge.checks}
        self.unread = unread
        self.need = Names("need", knowledge.needs)
        self.finding = Names("finding", knowledge.findings)
        self.check = Names("check", knowledge.checks)
        self.cause = Names("cause", knowledge.causes)
        self.condition = Names("condition", knowledge.conditions)
        self.caution = Names("caution", knowledge.cautions)
        self.hold = Names("hold", knowledge.holds)
        self.retest = Names("retest", knowledge.retests)
        self.asked = Names("finding or check", asked)
        self.shown = Names("finding or condition", {**knowledge.findings, **knowledge.conditions})

    def unknown(self, names: Iterable[Text], known: Names) -> Iterator[Problem]:
        """A problem for each name that leads nowhere."""
        for name in names:
            if name not in known and name not in self.unread:
                yield Problem(name.place, f"no {known.kind} is called '{name}'", known.likeliest(name))


def problems(knowledge: Knowledge, unread: frozenset[str] = frozenset()) -> list[Problem]:
    """Return everything wrong between the entries of the loaded packs. `unread` are ids of entries left out as faulty."""
    shelves = Shelves(knowledge, unread)
    said = _said(knowledge)
    found = chain(
        _links(knowledge, shelves),
        chain.from_iterable(shelves.unknown(step.under, shelves.hold) for step in said.steps),
        _findings(knowledge, shelves),
        _tells(knowledge, shelves),
        _rules(knowledge, shelves),
        setup_problems(knowledge, shelves),
        _hearings(knowledge, shelves),
        _slang(knowledge),
        _leaning(knowledge, said, unread),
    )
    first = list(islice(found, MOST_PROBLEMS))
    more = next(found, None)
    return first if more is None else [*first, Problem(more.place, TOO_MANY_PROBLEMS)]


def _links(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    unknown = shelves.unknown
    for kin in knowledge.kin.values():
        yield from unknown(kin.of, shelves.finding)
    for cause in knowledge.causes.values():
        yield from unknown((cause.settled_by,), shelves.check)
        yield from unknown(cause.fix.cautions, shelves.caution)
        yield from unknown(cause.fix.under, shelves.hold)
        yield from unknown(cause.needs, shelves.need)
        yield from unknown(cause.prove, shelves.retest)
    for check in knowledge.checks.values():
        yield from unknown(check.finds, shelves.finding)
    asked: list[Finding | Check] = [*knowledge.findings.values(), *knowledge.checks.values()]
    for thing in asked:
        yield from unknown(thing.under, shelves.hold)
        yield from unknown(thing.cautions, shelves.caution)
        yield from unknown(thing.needs, shelves.need)
    for retest in knowledge.retests.values():
        yield from unknown(retest.cautions, shelves.caution)
        yield from unknown(retest.needs, shelves.need)
        yield from unknown(retest.asks, shelves.finding)
        if retest.beyond is not None:
            yield from _outlasted(knowledge, shelves, retest.beyond)


def _outlasted(knowledge: Knowledge, shelves: Shelves, beyond: Answered) -> Iterator[Problem]:
    yield from _answers(knowledge, shelves, beyond)
    finding = knowledge.findings.get(beyond.finding)
    if finding is not None and (finding.measure is None or finding.measure.unit != "minute"):
        yield Problem(beyond.finding.place, f"'beyond' takes a finding in minutes; '{beyond.finding}' is none")


def _findings(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    found_by = {check.id: set(check.finds) for check in knowledge.checks.values()}
    for finding in knowledge.findings.values():
        yield from shelves.unknown((cause for answer in finding.answers.values() for cause in answer.mend), shelves.cause)
        if finding.check is None:
            continue
        if finding.check not in found_by:
            yield from shelves.unknown((finding.check,), shelves.check)
        elif finding.id not in found_by[finding.check]:
            yield Problem(finding.check.place, f"check '{finding.check}' does not list '{finding.id}' in its finds:")
    for check in knowledge.checks.values():
        for name in check.finds:
            finding_found: Finding | None = knowledge.findings.get(name)
            if finding_found is not None and finding_found.check != check.id:
                yield Problem(name.place, f"finding '{name}' does not say 'check: {check.id}'")


def _tells(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    # The words of a pack are looked at even when a later pack replaces them.
    reweighed = [change.shows for change in knowledge.changes if isinstance(change, Reweigh)]
    for shows in [*(cause.shows for cause in knowledge.causes.values()), *reweighed]:
        for name, tell in shows.items():
            of = tell.of
            if name in knowledge.findings:
                answers = knowledge.findings[name].answers
                if CONCLUDED in tell.words and CONCLUDED not in answers:
                    yield Problem(of.place, f"'{name}' is a finding; name its answers: {', '.join(answers)}")
                else:
                    yield from shelves.unknown(_texts(tell.words), Names(f"answer of '{name}'", answers))
            elif name in knowledge.conditions:
                if set(tell.words) != {CONCLUDED}:
                    yield Problem(of.place, f"'{name}' is a condition; it takes one frequency word")
            else:
                yield from shelves.unknown((of,), shelves.shown)


def _texts(words: Mapping[str, Text]) -> list[Text]:
    return [key for key in words if isinstance(key, Text)]


def _rules(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    concluded = {rule.outcome.condition for rule in knowledge.rules.values() if isinstance(rule.outcome, Means)}
    # A rule that was switched off or could not be read may be the one that concludes it.
    rules_are_whole = not shelves.unread and not any(isinstance(change, SwitchOff) for change in knowledge.changes)
    for condition in knowledge.conditions.values():
        if condition.by_the_walk and condition.id in concluded:
            yield Problem(condition.id.place, f"'{condition.id}' is brought about by the walk; no rule may conclude it")
        elif rules_are_whole and condition.id not in concluded and not condition.by_the_walk:
            yield Problem(condition.id.place, f"no rule concludes the condition '{condition.id}'")
    for rule in knowledge.rules.values():
        yield from _premises(knowledge, shelves, rule)
        yield from _outcome(shelves, rule)


def _premises(knowledge: Knowledge, shelves: Shelves, rule: Rule) -> Iterator[Problem]:
    silence_counts = isinstance(rule.outcome, (Warns, Holds, Skips, First, Sooner, Proves))
    for leaf in leaves(rule.when):
        match leaf:
            case Answered():
                yield from _answers(knowledge, shelves, leaf)
            case Is(condition):
                yield from shelves.unknown((condition,), shelves.condition)
            case IsNot(condition):
                yield from shelves.unknown((condition,), shelves.condition)
                if not silence_counts:
                    yield Problem(
                        condition.place,
                        f"rule '{rule.id}': is_not: may stand only where silence errs to the safe side"
                        " (caution, hold, skip, first, sooner, prove)",
                    )


def _answers(knowledge: Knowledge, shelves: Shelves, answered: Answered) -> Iterator[Problem]:
    if answered.finding not in knowledge.findings:
        yield from shelves.unknown((answered.finding,), shelves.finding)
    elif answered.answers != (KNOWN,):
        known = Names(f"answer of '{answered.finding}'", knowledge.findings[answered.finding].answers)
        yield from shelves.unknown(answered.answers, known)


def _outcome(shelves: Shelves, rule: Rule) -> Iterator[Problem]:
    match rule.outcome:
        case Means(condition):
            yield from shelves.unknown((condition,), shelves.condition)
        case Lacks(needs):
            yield from shelves.unknown(needs, shelves.need)
        case Warns(cautions):
            yield from shelves.unknown(cautions, shelves.caution)
        case Holds(holds, _):
            yield from shelves.unknown(holds, shelves.hold)
        case Skips(ids) | First(ids) | Sooner(ids):
            yield from shelves.unknown(ids, shelves.asked)
        case Proves(retests):
            yield from shelves.unknown(retests, shelves.retest)


def _hearings(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    for heard in knowledge.hearings.values():
        yield from shelves.unknown(_texts(heard.says), shelves.finding)
    yield from hearing.problems(knowledge)


def _slang(knowledge: Knowledge) -> Iterator[Problem]:
    """What is said stands for one thing."""
    stands_for: dict[str, str] = {}
    for slang in knowledge.slang.values():
        for said in slang.also:
            other = stands_for.setdefault(said.casefold(), slang.stands_for)
            if other != slang.stands_for:
                yield Problem(
                    said.place, f"'{said}' stands for '{other}' already; it cannot stand for '{slang.stands_for}' too"
                )


_WITHOUT_TEXT = frozenset({str, float, int, bool, type(None), Place})
"""What the entries hold besides what a pack's writer says."""


@dataclass(frozen=True, slots=True)
class _Said:
    """Everything a pack's writer says, whatever field it stands in: single texts and steps. `ids` are those of the entries.
    What a step does is judged with the step."""

    texts: list[Text]
    steps: list[Step]
    ids: set[str]


def _said(knowledge: Knowledge) -> _Said:
    said = _Said([], [], set())
    waiting: list[object] = [knowledge]
    while waiting:
        part = waiting.pop()
        kind = type(part)
        if kind is Text:
            said.texts.append(part)  # type: ignore[arg-type]
        elif kind in _WITHOUT_TEXT:
            continue
        elif isinstance(part, Step):
            said.steps.append(part)
            waiting.append(part.under)
        elif isinstance(part, tuple):
            waiting += part
        elif isinstance(part, Mapping):
            waiting += part.keys()
            waiting += part.values()
        else:
            said.ids.add(getattr(part, "id", ""))
            waiting += [getattr(part, field) for field in getattr(kind, "__dataclass_fields__", ())]
    return said


def _leaning(knowledge: Knowledge, said: _Said, unread: frozenset[str]) -> Iterator[Problem]:
    """Text that tells someone to weaken the mixture stands under the hold that can forbid it, or not at all."""
    for step in said.steps:
        if weakens(step.do) and CLOSE_NEEDLE not in step.under:
            yield Problem(step.do.place, f"this step weakens the mixture; write it as {{do: ..., under: [{CLOSE_NEEDLE}]}}")
    # A hold is called by what it forbids.
    closing = {hold.name for hold in knowledge.holds.values() if hold.id == CLOSE_NEEDLE}
    # Most texts are said many times over, and judged once.
    leaning = {text for text in set(said.texts) if weakens(text)} - said.ids - unread - closing
    for text in said.texts if leaning else ():
        if text in leaning:
            yield Problem(text.place, "this text tells someone to weaken the mixture; only a held step may do so")
