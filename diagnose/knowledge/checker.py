"""What can be wrong between entries: names that lead nowhere, tells without a question, rules in the wrong stratum."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

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
    Rule,
    Skips,
    Sooner,
    Step,
    Warns,
    leaves,
)
from .reader import likeliest
from .source import Problem, Text

CLOSE_NEEDLE = "close-needle"
"""The hold that must stand over every step that weakens the mixture."""

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
_FORBIDS = re.compile(r"\b(never|not|no|nobody|without|instead of|don't)\b", re.IGNORECASE)


def weakens(sentence: str) -> bool:
    """True if a sentence tells someone to close a needle or weaken the mixture, and does not forbid it."""
    for clause in re.split(r"(?<=[.;:,])\s+", sentence):  # a "not" excuses only its own clause
        found = _WEAKENS.search(clause)
        if found and _NEEDLE.search(clause) and not _FORBIDS.search(clause[: found.start()]):
            return True
    return False


def problems(knowledge: Knowledge) -> list[Problem]:
    """Return everything wrong between the entries of the loaded packs."""
    return [*_links(knowledge), *_findings(knowledge), *_tells(knowledge), *_rules(knowledge), *_leaning(knowledge)]


def _unknown(names: Iterable[Text], shelf: Mapping[str, object], kind: str) -> Iterator[Problem]:
    for name in names:
        if name not in shelf:
            yield Problem(name.place, f"no {kind} is called '{name}'", likeliest(name, shelf))


def _links(knowledge: Knowledge) -> Iterator[Problem]:
    for kin in knowledge.kin.values():
        yield from _unknown(kin.of, knowledge.findings, "finding")
    for cause in knowledge.causes.values():
        yield from _unknown((cause.settled_by,), knowledge.checks, "check")
        yield from _unknown(cause.fix.cautions, knowledge.cautions, "caution")
        yield from _unknown(cause.fix.under, knowledge.holds, "hold")
    for check in knowledge.checks.values():
        yield from _unknown(check.finds, knowledge.findings, "finding")
    asked: list[Finding | Check] = [*knowledge.findings.values(), *knowledge.checks.values()]
    for thing in asked:
        yield from _unknown(thing.under, knowledge.holds, "hold")
        yield from _unknown(thing.cautions, knowledge.cautions, "caution")
        yield from _unknown(thing.needs, knowledge.needs, "need")
    for retest in knowledge.retests.values():
        yield from _unknown(retest.cautions, knowledge.cautions, "caution")
        yield from _unknown(retest.needs, knowledge.needs, "need")
    for cause in knowledge.causes.values():
        yield from _unknown(cause.needs, knowledge.needs, "need")
    for step in _all_steps(knowledge):
        yield from _unknown(step.under, knowledge.holds, "hold")


def _all_steps(knowledge: Knowledge) -> Iterator[Step]:
    for cause in knowledge.causes.values():
        yield from cause.fix.steps
    for check in knowledge.checks.values():
        yield from check.steps
    for retest in knowledge.retests.values():
        yield from retest.steps


def _findings(knowledge: Knowledge) -> Iterator[Problem]:
    for finding in knowledge.findings.values():
        if finding.check is None:
            continue
        if finding.check not in knowledge.checks:
            yield from _unknown((finding.check,), knowledge.checks, "check")
        elif finding.id not in knowledge.checks[finding.check].finds:
            yield Problem(finding.check.place, f"check '{finding.check}' does not list '{finding.id}' in its finds:")
    for check in knowledge.checks.values():
        for name in check.finds:
            finding_found: Finding | None = knowledge.findings.get(name)
            if finding_found is not None and finding_found.check != check.id:
                yield Problem(name.place, f"finding '{name}' does not say 'check: {check.id}'")


def _tells(knowledge: Knowledge) -> Iterator[Problem]:
    shown = knowledge.findings.keys() | knowledge.conditions.keys()
    for cause in knowledge.causes.values():
        for name, tell in cause.shows.items():
            of = tell.of
            if name in knowledge.findings:
                answers = knowledge.findings[name].answers
                if CONCLUDED in tell.words and CONCLUDED not in answers:
                    yield Problem(of.place, f"'{name}' is a finding; name its answers: {', '.join(answers)}")
                else:
                    yield from _unknown(_texts(tell.words), answers, f"answer of '{name}'")
            elif name in knowledge.conditions:
                if set(tell.words) != {CONCLUDED}:
                    yield Problem(of.place, f"'{name}' is a condition; it takes one frequency word")
            else:
                yield from _unknown((of,), dict.fromkeys(shown), "finding or condition")


def _texts(words: Mapping[str, Text]) -> list[Text]:
    return [key for key in words if isinstance(key, Text)]


def _rules(knowledge: Knowledge) -> Iterator[Problem]:
    concluded = {rule.outcome.condition for rule in knowledge.rules.values() if isinstance(rule.outcome, Means)}
    for condition in knowledge.conditions.values():
        if condition.id not in concluded:
            yield Problem(condition.id.place, f"no rule concludes the condition '{condition.id}'")
    for rule in knowledge.rules.values():
        yield from _premises(knowledge, rule)
        yield from _outcome(knowledge, rule)


def _premises(knowledge: Knowledge, rule: Rule) -> Iterator[Problem]:
    silence_counts = isinstance(rule.outcome, (Warns, Holds, Skips, First, Sooner))
    for leaf in leaves(rule.when):
        match leaf:
            case Answered(finding, answers):
                if finding not in knowledge.findings:
                    yield from _unknown((finding,), knowledge.findings, "finding")
                elif answers != (KNOWN,):
                    yield from _unknown(answers, knowledge.findings[finding].answers, f"answer of '{finding}'")
            case Is(condition):
                yield from _unknown((condition,), knowledge.conditions, "condition")
            case IsNot(condition):
                yield from _unknown((condition,), knowledge.conditions, "condition")
                if not silence_counts:
                    yield Problem(
                        condition.place,
                        f"rule '{rule.id}': is_not: may stand only where silence errs to the safe side"
                        " (caution, hold, skip, first, sooner)",
                    )


def _outcome(knowledge: Knowledge, rule: Rule) -> Iterator[Problem]:
    match rule.outcome:
        case Means(condition):
            yield from _unknown((condition,), knowledge.conditions, "condition")
        case Lacks(needs):
            yield from _unknown(needs, knowledge.needs, "need")
        case Warns(cautions):
            yield from _unknown(cautions, knowledge.cautions, "caution")
        case Holds(holds, _):
            yield from _unknown(holds, knowledge.holds, "hold")
        case Skips(ids) | First(ids) | Sooner(ids):
            yield from _unknown(ids, {**knowledge.findings, **knowledge.checks}, "finding or check")


def _leaning(knowledge: Knowledge) -> Iterator[Problem]:
    """Text that tells someone to weaken the mixture stands under the hold that can forbid it, or not at all."""
    for step in _all_steps(knowledge):
        if weakens(step.do) and CLOSE_NEEDLE not in step.under:
            yield Problem(step.do.place, f"this step weakens the mixture; write it as {{do: ..., under: [{CLOSE_NEEDLE}]}}")
    for text in _all_texts(knowledge):
        if weakens(text):
            yield Problem(text.place, "this text tells someone to weaken the mixture; only a held step may do so")


def _all_texts(knowledge: Knowledge) -> Iterator[Text]:
    for finding in knowledge.findings.values():
        yield from (finding.ask, finding.why)
        if finding.how:
            yield finding.how
        yield from (answer.say for answer in finding.answers.values())
    for cause in knowledge.causes.values():
        yield from (cause.name, cause.explains, cause.proof, cause.harm)
    for check in knowledge.checks.values():
        yield from (check.name, check.why)
    for condition in knowledge.conditions.values():
        yield from (condition.name, condition.says)
    for caution in knowledge.cautions.values():
        yield caution.says
    for hold in knowledge.holds.values():
        yield hold.says
    for rule in knowledge.rules.values():
        yield rule.because
        if isinstance(rule.outcome, Holds):
            yield rule.outcome.until
