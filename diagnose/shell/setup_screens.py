"""What the set-up list shows, as lines of text. Pure: rules and case in, (line, tone) out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..case.state import CANNOT, DONE, NOT_DONE, CaseState
from ..knowledge.model import Knowledge
from ..knowledge.setup_model import SetupStep
from .screens import Lines, paragraph

MARKS = {DONE: "x", NOT_DONE: "-", CANNOT: "-", "": " "}
"""What came of a step -> its mark in the list. The words stand beside it."""

WORDS = {DONE: "done", NOT_DONE: "not done", CANNOT: "cannot be done here", "": "open"}


def why(step: SetupStep, width: int) -> Lines:
    yield from paragraph(str(step.why), width, "    ")
    yield from paragraph(f"It rests on: {step.basis}.", width, "    ")
    if step.not_done:
        yield from paragraph("What is not done is kept, and counts when a fault is walked later.", width, "    ")


def listing(steps: Iterable[SetupStep], state: CaseState, width: int) -> Lines:
    """Every step with what came of it."""
    yield "", ""
    yield "The set-up list:", "head"
    for number, step in enumerate(steps, 1):
        taken = state.steps.get(str(step.id))
        outcome = taken.outcome if taken else ""
        lead = f"  [{MARKS[outcome]}] {number:>2}. "
        yield from paragraph(f"{step.name}: {WORDS[outcome]}", width, lead, rest=" " * len(lead))
    yield from paragraph("'back' takes back the last entry; a step is changed by going back to it.", width, "    ", "quiet")


def summary(
    knowledge: Knowledge, state: CaseState, undone: Sequence[SetupStep], waiting: Sequence[SetupStep], width: int
) -> Lines:
    """The end of the list: what was done, what was not and why it matters, and what waits until it runs."""
    done = sum(taken.outcome == DONE for taken in state.steps.values())
    yield "", ""
    yield from paragraph(f"The list is gone through: {done} done, {len(undone)} not.", width, "", "head")
    for step in undone:
        said = f"{step.name}: {WORDS[state.steps[str(step.id)].outcome]}. {step.why}"
        yield from paragraph(said, width, "  - ", rest="    ")
    if waiting:
        names = "; ".join(str(step.name) for step in waiting)
        yield from paragraph(f"As it runs now these have to wait: {names}.", width, "    ")
        yield from paragraph("'fault' walks what keeps it from running, and the set-up goes on afterwards.", width, "    ")
