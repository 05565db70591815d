"""The proof of a repair: which retests it needs, and how long each must run before a fault counts as gone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from ..case.casefile import MACHINE
from ..case.readings import number_of, parse_reading
from ..case.state import CaseState
from ..knowledge.model import NORMAL, Cause, Finding, Knowledge, Measure, Retest
from ..knowledge.source import Place, Text
from ..reasoning.reason import Conclusions, reason
from .mending import RUNNING, put_right
from .steps import Progress, askable

LONGER = 1.5
"""A proof runs half as long again as the fault took to show: common practice, since no two runs warm up alike."""

FAULT_GONE = "fault-gone"
"""The condition that the walk brings about once every run after a repair was good."""

RUNS = ("running", "idling", "loaded", "flies")
"""Needs of what only a running engine can show: it is another answer once the fault is gone. Whatever can be seen of a
stopped engine is as it was seen."""

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
    """Return the cause whose repair ended the fault: every retest that runs the engine was good and showed no other
    trouble; None before that."""
    last = state.repairs[-1] if state.repairs else None
    if last and last.result == "gone" and not state.to_retest:
        cause = knowledge.causes.get(last.cause)
        return cause if cause and cause.family != NORMAL and last_run(knowledge, state) else None
    cause = knowledge.causes.get(state.to_retest)
    if cause is None or state.another_left:
        return None
    runs = {retest.id for retest in retests_of(knowledge, conclusions, cause) if retest.engine != "stopped"}
    return cause if runs and runs <= set(state.passed) else None


def last_run(knowledge: Knowledge, state: CaseState) -> int:
    """Return the event of the last retest in which the engine ran well, 0 for none."""
    runs = {retest.id for retest in knowledge.retests.values() if retest.engine != "stopped"}
    return max((one.number for one in state.worked if one.what == "passed" and one.of in runs), default=0)


def as_it_runs_now(knowledge: Knowledge, state: CaseState, conclusions: Conclusions, cause: Cause) -> Mapping[str, str]:
    """Return what is still so once the repair of this cause has ended the fault: all that was told or seen since, what is
    past, and whatever can be seen of a stopped engine but what the repair has put right."""
    since = {finding for number, finding in state.answered if number > last_run(knowledge, state)}
    mended = put_right(knowledge, str(cause.id), conclusions.answers)
    gone = {
        name for name in conclusions.answers if name in mended or _shown_by_running(knowledge, knowledge.findings[name])
    }
    return {name: answer for name, answer in conclusions.answers.items() if name in since or name not in gone}


def _shown_by_running(knowledge: Knowledge, finding: Finding) -> bool:
    tested = finding.check is not None and knowledge.checks[finding.check].engine in RUNNING
    return not finding.past and (tested or any(need in RUNS for need in finding.needs))


def asked_before_proof(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> tuple[Finding, ...]:
    """Return the open questions on which it hangs whether some retest is wanted: nobody came to them in the walk."""
    not_yet = (retest for retest in knowledge.retests.values() if retest.id not in conclusions.proofs)
    names = dict.fromkeys(name for retest in not_yet for name in retest.asks)
    findings = (knowledge.findings[name] for name in names)
    return tuple(finding for finding in findings if askable(knowledge, conclusions, progress, finding))


def proved_by(retests: Iterable[Retest], ran: Mapping[str, float] = MappingProxyType({})) -> str:
    """Return what is kept of a repair that was good in these retests. ran: retest -> minutes, where they were asked for."""
    names = (f"{one.name} ({ran[one.id]:.0f} minutes)" if one.id in ran else str(one.name) for one in retests)
    return f"Gone in every retest: {'; '.join(names)}."


def least_minutes(knowledge: Knowledge, state: CaseState, retest: Retest) -> float:
    """Return how many minutes this retest must have run, by its own length and by when the fault showed; 0 for any."""
    showed = showed_after(knowledge, state, retest)
    return retest.lasts if showed is None else max(retest.lasts, LONGER * showed)


def showed_after(knowledge: Knowledge, state: CaseState, retest: Retest) -> float | None:
    """Return after how many minutes the fault showed that this retest must outlast, by an answer or as it was asked for
    before the retest; None while nobody has said."""
    if retest.beyond is None:
        return None
    # What was forgotten after a repair that helped still says how long the fault took to show.
    finding = str(retest.beyond.finding)
    given = state.findings.get(finding) or state.as_found.get(finding)
    if given is None or given.answer not in retest.beyond.answers:
        return state.showed or None
    return number_of(given.reading, knowledge.findings[retest.beyond.finding].measure) or state.showed or None


def minutes_run(text: str) -> float:
    """Return the minutes meant by what was typed, such as '12' or '12 min'. Raises NotAReading."""
    return parse_reading(text, _MINUTES).value
