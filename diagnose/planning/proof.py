"""The proof of a repair: which retests it needs, and how long each must run before a fault counts as gone."""

from __future__ import annotations

from collections.abc import Iterable

from ..case.casefile import MACHINE
from ..case.readings import number_of, parse_reading
from ..case.state import CaseState
from ..knowledge.model import Cause, Finding, Knowledge, Measure, Retest
from ..knowledge.source import Place, Text
from ..reasoning.reason import Conclusions, reason
from .steps import Progress, askable

LONGER = 1.5
"""A proof runs half as long again as the fault took to show: common practice, since no two runs warm up alike."""

_MINUTES = Measure(Text("time", Place("")), Text("minute", Place("")), 0.0, 600.0)
"""What is accepted as the length of a run."""


def retests_of(knowledge: Knowledge, conclusions: Conclusions, cause: Cause) -> tuple[Retest, ...]:
    """Return the retests that prove the repair of this cause, in the order in which they are done.

    The machine alone decides which there can be: what the fault took away, the fix may have given back.
    """
    answers = conclusions.answers
    able = reason(knowledge, {MACHINE: answers[MACHINE]} if MACHINE in answers else {})
    return tuple(
        retest
        for retest in knowledge.retests.values()
        if able.applies(retest.needs)
        and (not retest.only_when_asked or retest.id in cause.prove or retest.id in conclusions.proofs)
    )


def asked_before_proof(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> tuple[Finding, ...]:
    """Return the open questions on which it hangs whether some retest is wanted: nobody came to them in the walk."""
    not_yet = (retest for retest in knowledge.retests.values() if retest.id not in conclusions.proofs)
    names = dict.fromkeys(name for retest in not_yet for name in retest.asks)
    findings = (knowledge.findings[name] for name in names)
    return tuple(finding for finding in findings if askable(knowledge, conclusions, progress, finding))


def proved_by(retests: Iterable[Retest]) -> str:
    """Return what is kept of a repair that was good in these retests, when nobody says more."""
    return f"Gone in every retest: {'; '.join(str(retest.name) for retest in retests)}."


def least_minutes(knowledge: Knowledge, state: CaseState, retest: Retest) -> float:
    """Return how many minutes this retest must have run, by its own length and by when the fault showed; 0 for any."""
    if retest.beyond is None:
        return retest.lasts
    given = state.findings.get(str(retest.beyond.finding))
    if given is None or given.answer not in retest.beyond.answers:
        return retest.lasts
    showed_after = number_of(given.reading, knowledge.findings[retest.beyond.finding].measure)
    return retest.lasts if showed_after is None else max(retest.lasts, LONGER * showed_after)


def minutes_run(text: str) -> float:
    """Return the minutes meant by what was typed, such as '12' or '12 min'. Raises NotAReading."""
    return parse_reading(text, _MINUTES).value
