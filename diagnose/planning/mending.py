"""What a repair puts right: the answers that were seen of the part itself, and are different once it is mended."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache

from ..case.casefile import MACHINE
from ..knowledge.chains import grouped
from ..knowledge.model import Cause, Knowledge
from ..reasoning.tables import tables_of

SEEN_SO = 4.0
"""How many times oftener than with other faults an answer must be met for the look that finds it to name the part."""


RUNNING = ("idling", "loaded")
"""States of the engine in which a test shows how it runs, not how a part of it is."""


def mending(knowledge: Knowledge, finding: str, answer: str) -> tuple[str, ...]:
    """Return the causes whose repair puts this answer right: those that the answer names, else those that are settled by
    the look that finds it and show it; () for what no one repair ends, such as a symptom."""
    named = tuple(map(str, knowledge.findings[finding].answers[answer].mend))
    return named or _settled(knowledge).get((finding, answer), ())


def may_mend(knowledge: Knowledge, finding: str, answer: str) -> tuple[str, ...]:
    """Return the causes after whose repair this answer is looked for anew: those whose repair puts it right and, where the
    test hangs on many parts, all that show it."""
    if not knowledge.findings[finding].tests_the_whole:
        return mending(knowledge, finding, answer)
    return tuple(dict.fromkeys((*mending(knowledge, finding, answer), *_showing(knowledge).get((finding, answer), ()))))


def put_right(knowledge: Knowledge, cause: str, answers: Mapping[str, str]) -> tuple[str, ...]:
    """Return the answered findings that the repair of this cause has put right, or may have, to be looked at anew."""
    return tuple(name for name, answer in answers.items() if cause in may_mend(knowledge, name, answer))


def seen_bad(knowledge: Knowledge, cause: str, answers: Mapping[str, str]) -> tuple[str, ...]:
    """Return what the repair of this cause puts right and somebody has looked at: a filter is not bad for its age."""
    return tuple(
        name
        for name, answer in answers.items()
        if cause in mending(knowledge, name, answer) and not knowledge.findings[name].past
    )


def may_be_gone(knowledge: Knowledge, cause: str, answers: Mapping[str, str]) -> tuple[str, ...]:
    """Return the answered findings that the repair of this cause may have ended with the part of the fault it cured: the
    complaints, and what tests of the running engine showed. What is past stays true, and what the repair has put right
    is no question."""
    no_question = {MACHINE, *put_right(knowledge, cause, answers)}
    asked = (name for name, answer in answers.items() if _of_its_running(knowledge, name, answer))
    return tuple(name for name in asked if name not in no_question)


def _of_its_running(knowledge: Knowledge, name: str, answer: str) -> bool:
    finding = knowledge.findings[name]
    if finding.past:
        return False
    tested = finding.check is not None and knowledge.checks[finding.check].engine in RUNNING
    return finding.unusual(answer) if tested else finding.complaint(answer)


@lru_cache(maxsize=8)
def _settled(knowledge: Knowledge) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """(finding, answer) -> the causes that are settled by the look that finds it, and show it."""
    return grouped(_shown(knowledge, lambda cause: knowledge.checks[cause.settled_by].finds))


@lru_cache(maxsize=8)
def _showing(knowledge: Knowledge) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """(finding, answer) -> the causes that show it, for the tests that hang on many parts."""
    tests = tuple(finding.id for finding in knowledge.findings.values() if finding.tests_the_whole)
    return grouped(_shown(knowledge, lambda cause: tests))


def _shown(knowledge: Knowledge, of: Callable[[Cause], Iterable[str]]) -> Iterable[tuple[tuple[str, str], str]]:
    """Each answer with each cause that shows it, far oftener than others do; `of` are the findings to look at."""
    tables = tables_of(knowledge)
    for row, cause in enumerate(knowledge.causes.values()):
        for finding in (str(name) for name in of(cause) if name in cause.shows):
            for answer, column in tables.column[finding].items():
                if tables.likelihood[finding][row, column] >= SEEN_SO * tables.general[finding][column]:
                    yield (finding, answer), str(cause.id)
