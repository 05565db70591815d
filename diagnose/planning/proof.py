"""The proof of a repair: which retests it needs, and how long each must run before a fault counts as gone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..case.casefile import MACHINE
from ..case.readings import number_of, parse_reading
from ..case.state import CaseState
from ..knowledge.model import NORMAL, Cause, Finding, Knowledge, Measure, Retest
from ..knowledge.source import Place, Text
from ..reasoning.reason import Conclusions, reason
from .mending import may_be_gone, mending, put_right
from .steps import Progress, askable

LONGER = 1.5
"""A proof runs half as long again as the fault took to show: common practice, since no two runs warm up alike."""

RETESTS, ALL_GOOD = "retests", "all-good"
"""What the walk answers itself once every run after a repair was good, where the rules have it."""

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


def cured(knowledge: Knowledge, state: CaseState, conclusions: Conclusions) -> Cause | None:
    """Return the cause whose repair ended the fault: every retest that runs the engine was good; None before that."""
    last = state.repairs[-1] if state.repairs else None
    if last and last.result == "gone" and not state.to_retest:
        cause = knowledge.causes.get(last.cause)
        return cause if cause and cause.family != NORMAL else None
    cause = knowledge.causes.get(state.to_retest)
    if cause is None:
        return None
    runs = [retest.id for retest in retests_of(knowledge, conclusions, cause) if retest.engine != "stopped"]
    return cause if runs and state.passed and set(runs) <= set(state.passed) else None


def as_it_runs_now(knowledge: Knowledge, answers: Mapping[str, str], cause: Cause) -> Mapping[str, str]:
    """Return what is still so once the repair of this cause has ended the fault: no complaint, nothing that a test of the
    running engine showed, nothing that was seen of the mended part. What was seen bad of another part stays bad."""
    behaviour = may_be_gone(knowledge, str(cause.id), answers)
    gone = {name for name in behaviour if not mending(knowledge, name, answers[name])}
    gone.update(put_right(knowledge, str(cause.id), answers))
    left = {name: answer for name, answer in answers.items() if name not in gone}
    return {**left, RETESTS: ALL_GOOD} if RETESTS in knowledge.findings else left


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
