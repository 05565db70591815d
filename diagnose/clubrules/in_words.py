"""Rules in words: what a rule rests on and does, and how strongly an answer speaks for a cause."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from math import exp

import numpy as np

from ..knowledge.frequency import FREQUENCY
from ..knowledge.model import (
    CONCLUDED,
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
    Outcome,
    Proves,
    Skips,
    Tell,
    Term,
    Warns,
    names_in,
)
from ..reasoning.rank import answer_ratios
from ..reasoning.tables import tables_of

NO_NEWS = 1.25
"""An answer that is met less than this many times as often, or as seldom, says next to nothing."""

_STRENGTHS = ((10.0, "very strongly"), (5.0, "strongly"), (2.0, "clearly"), (NO_NEWS, "a little"))
"""Least times as often -> how an answer speaks for a cause. At five times it alone overturns most first guesses."""


def ratios(knowledge: Knowledge, cause: str, of: str) -> Mapping[str, float]:
    """Return answer -> how many times as often it is met with this cause alone as with some other fault.

    `of` is a finding, or a condition, which has the one answer `concluded`.
    """
    tables = tables_of(knowledge)
    row = _rows(knowledge)[cause]
    if of in tables.concluded:
        # As rank() bounds it: a condition is never certain.
        return {CONCLUDED: float(np.clip(tables.concluded[of][row], 0.01, 0.99)) / tables.concluded_in_general[of]}
    told = answer_ratios(tables, of, np.array([row]))[0]
    return {answer: exp(float(told[column])) for answer, column in tables.column[of].items()}


@lru_cache(maxsize=8)
def _rows(knowledge: Knowledge) -> Mapping[str, int]:
    return {cause: row for row, cause in enumerate(tables_of(knowledge).causes)}


def strength(ratio: float) -> str:
    """Return in words how an answer that is met `ratio` times as often speaks for a cause."""
    times = max(ratio, 1 / ratio)
    for least, word in _STRENGTHS:
        if times >= least:
            side, how = ("for", "often") if ratio > 1 else ("against", "seldom")
            return f"speaks {word} {side} it, {_count(times)} times as {how}"
    return "says next to nothing"


def _count(times: float) -> str:
    return f"{times:.1f}" if times < 9.95 else f"{times:.0f}"


def tell_said(knowledge: Knowledge, cause: str, tell: Tell, answer: str) -> str:
    """What one answer says of one cause: the word here, the word otherwise, and what follows from the two."""
    of = str(tell.of)
    seen = knowledge.conditions[of].seen if of in knowledge.conditions else knowledge.findings[of].answers[answer].seen
    ratio = ratios(knowledge, cause, of)[answer]
    here = f"{word_said(tell.words[answer])} here, " if answer in tell.words else "not named here, "
    return f"{here}{word_said(seen)} otherwise; {strength(ratio)}"


def word_said(word: str) -> str:
    return word.replace("-", " ") if word in FREQUENCY else word


def speaking(knowledge: Knowledge, cause: str, tell: Tell) -> Iterator[str]:
    """The answers of a tell worth reading: those it names, and those that speak against because it does not."""
    for answer, ratio in ratios(knowledge, cause, str(tell.of)).items():
        if answer in tell.words or ratio <= 1 / NO_NEWS:
            yield answer


def when(knowledge: Knowledge, term: Term | None, depth: int = 0) -> Iterator[str]:
    """Return a premise as paragraphs, deeper ones indented."""
    space = " " * depth
    match term:
        case None:
            yield f"{space}always"
        case Answered(finding, answers) if answers == (KNOWN,):
            yield f"{space}{question_said(knowledge, finding)} has any answer"
        case Answered(finding, answers):
            says = " or ".join(f"'{knowledge.findings[finding].answers[a].say}'" for a in answers)
            yield f"{space}{question_said(knowledge, finding)} {says}"
        case Is(condition):
            yield f"{space}concluded: {knowledge.conditions[condition].name} [{condition}]"
        case IsNot(condition):
            yield f"{space}not concluded: {knowledge.conditions[condition].name} [{condition}]"
        case All(terms) | Any(terms):
            yield f"{space}all of these:" if isinstance(term, All) else f"{space}any of these:"
            for inner in terms:
                yield from when(knowledge, inner, depth + 2)


def question_said(knowledge: Knowledge, finding: str) -> str:
    return f"{knowledge.findings[finding].ask} [{finding}]"


def outcome(knowledge: Knowledge, what: Outcome) -> str:
    """Return in words what a rule does."""
    names = names_in(what)
    match what:
        case Means():
            return f"concludes: {knowledge.conditions[names[0]].name} [{names[0]}]"
        case Lacks():
            return "the machine is without " + ", ".join(f"{knowledge.needs[n].name} [{n}]" for n in names)
        case Clash(says):
            return f"these answers cannot all be true: {says}"
        case Warns():
            return f"gives the caution {', '.join(names)}"
        case Holds(_, until):
            return f"puts on hold {', '.join(f'{knowledge.holds[n].name} [{n}]' for n in names)}, until {until}"
        case Skips():
            return f"leaves out {', '.join(names)}"
        case First():
            return f"asks first {', '.join(names)}"
        case Proves():
            return f"after a repair wants the retest {', '.join(names)}"
    return f"asks sooner {', '.join(names)}"
