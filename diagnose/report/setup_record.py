"""The content of the record of a set-up: what was done and what was not, the needles, and what has to wait."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..case.casefile import MACHINE
from ..case.state import DONE, CaseState
from ..knowledge.model import Knowledge
from ..planning.examine import Examined
from ..planning.setup import facts, in_order, waits_for_running
from .fault_report import (
    STEP_SAYS,
    BenchLine,
    Line,
    Needles,
    answer_of,
    bench_lines,
    hold_line,
    needles_of,
    when,
    without_files,
)


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step, what came of it and when; `why` it matters where it was not done."""

    name: str
    says: str
    at: str
    why: str


@dataclass(frozen=True, slots=True)
class SetupRecord:
    """Everything on the page, in the order it is read."""

    case: str
    opened: str
    closed: str
    machine: str
    facts: tuple[Line, ...]
    done: int
    steps: tuple[StepLine, ...]
    undone: tuple[StepLine, ...]
    still_open: tuple[str, ...]
    waiting: tuple[str, ...]
    found: tuple[Line, ...]
    cautions: tuple[Line, ...]
    holds: tuple[Line, ...]
    needles: Needles
    bench: tuple[BenchLine, ...]
    notes: tuple[Line, ...]
    packs: tuple[Line, ...]
    program: str


def setup_record(knowledge: Knowledge, state: CaseState, examined: Examined, program: str) -> SetupRecord:
    """Gather the record of a set-up as it stands."""
    conclusions = examined.conclusions
    steps = in_order(knowledge)
    lines = [
        StepLine(
            str(step.name),
            STEP_SAYS[taken.outcome],
            when(taken.at),
            "" if taken.outcome == DONE else str(step.why),
        )
        for step in steps
        if (taken := state.steps.get(str(step.id))) is not None
    ]
    said_of_it = facts(knowledge, state)
    shown = dict.fromkeys(finding for _, finding in state.answered if finding in knowledge.findings)
    waiting = waits_for_running(knowledge, conclusions, state)
    return SetupRecord(
        case=state.case,
        opened=when(state.opened),
        closed=when(state.closing.at) if state.closing else "",
        machine=answer_of(knowledge, state, MACHINE) or "not said",
        facts=tuple(
            Line(str(knowledge.findings[name].ask), answer_of(knowledge, state, name))
            for name in said_of_it
            if name in knowledge.findings and name != MACHINE
        ),
        done=sum(taken.outcome == DONE for taken in state.steps.values()),
        steps=tuple(lines),
        undone=tuple(line for line in lines if line.why),
        still_open=tuple(
            str(step.name)
            for step in steps
            if step.id not in state.steps and step not in waiting and conclusions.applies(step.needs)
        ),
        waiting=tuple(str(step.name) for step in waiting),
        found=tuple(
            Line(str(knowledge.findings[name].ask), answer_of(knowledge, state, name))
            for name in shown
            if name not in said_of_it and name in state.findings
        ),
        cautions=tuple(
            Line(f"{knowledge.cautions[name].level}", str(knowledge.cautions[name].says)) for name in conclusions.cautions
        ),
        holds=tuple(hold_line(knowledge, conclusions, name) for name in conclusions.holds),
        needles=needles_of(knowledge, state, conclusions),
        bench=bench_lines(state),
        notes=tuple(Line(when(at), text) for at, text in state.notes),
        packs=tuple(Line(str(pack.name), f"{pack.id} {pack.version}") for pack in knowledge.packs),
        program=program,
    )


def for_the_workshop(record: SetupRecord) -> SetupRecord:
    """The same record without personal data: nothing that a person typed in their own words, and no name of a file."""
    return replace(record, notes=(), bench=without_files(record.bench))
