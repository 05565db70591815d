"""The set-up list: its order, which step comes next, what would lift a hold that a step waits for, and what of it is
kept for faults that come later. Pure functions of the rules and the case."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from ..case.casefile import MACHINE, understood
from ..case.ledger import stands
from ..case.readings import NotAReading
from ..case.state import DONE, CaseState, Given
from ..knowledge.model import Finding, IsNot, Knowledge, leaves
from ..knowledge.setup_model import NEEDLES, SetupStep
from ..reasoning.reason import Conclusions, reason
from .lifting import behind, way_to_lift
from .needles import told_by_ledger
from .steps import needs_of, under_of


def in_order(knowledge: Knowledge) -> tuple[SetupStep, ...]:
    """Return all steps: as written, but one with `after:` behind the step it names, and behind others that named it."""
    ordered: list[SetupStep] = []
    for step in knowledge.setup_steps.values():
        place = len(ordered)
        if step.after is not None:
            behind_it = [number for number, one in enumerate(ordered) if step.after in (one.id, one.after)]
            place = behind_it[-1] + 1 if behind_it else place
        ordered.insert(place, step)
    return tuple(ordered)


def steps_now(knowledge: Knowledge, conclusions: Conclusions) -> tuple[SetupStep, ...]:
    """Return the steps that this machine has and can do now, in order."""
    return tuple(step for step in in_order(knowledge) if conclusions.applies(step.needs))


def next_step(knowledge: Knowledge, conclusions: Conclusions, state: CaseState) -> SetupStep | None:
    """Return the first step that nothing has been said of yet; None when the list is gone through."""
    return next((step for step in steps_now(knowledge, conclusions) if step.id not in state.steps), None)


def open_of(knowledge: Knowledge, conclusions: Conclusions, state: CaseState, step: SetupStep) -> tuple[str, ...]:
    """Return the questions of a step that are not answered yet and can be, those about the machine first."""
    names = [str(name) for name in (*step.asks, *step.finds) if name not in state.findings and name not in state.unknown]
    return tuple(name for name in names if _can_be_asked(knowledge, conclusions, knowledge.findings[name]))


def _can_be_asked(knowledge: Knowledge, conclusions: Conclusions, finding: Finding) -> bool:
    able = conclusions.applies(needs_of(knowledge, finding))
    return able and not conclusions.held(under_of(knowledge, finding))


def uncounted_of(state: CaseState, step: SetupStep) -> tuple[str, ...]:
    """Return the needles of a step that was done whose count is still to be asked for."""
    declined = {needle for _, needle in state.uncounted}
    return tuple(str(n) for n in step.counts if stands(state.needles, n) is None and n not in declined)


def waits_for_running(knowledge: Knowledge, conclusions: Conclusions, state: CaseState) -> tuple[SetupStep, ...]:
    """Return the steps that this kind of machine has but cannot do now, because of how it runs."""
    able = reason(knowledge, {name: given.answer for name, given in facts(knowledge, state).items()})
    return tuple(
        step
        for step in in_order(knowledge)
        if able.applies(step.needs) and not conclusions.applies(step.needs) and step.id not in state.steps
    )


def that_lift(
    knowledge: Knowledge, conclusions: Conclusions, state: CaseState, holds: Iterable[str]
) -> tuple[SetupStep, ...]:
    """Return the steps which, done or done again, may lift one of these holds, in order."""
    steps = steps_now(knowledge, conclusions)
    wanted: set[str] = set()
    for hold in holds:
        wanted |= {name for name in behind(knowledge, conclusions, hold) if name in state.findings}
        wanted |= _proving(knowledge, conclusions, steps, hold)
    return tuple(step for step in steps if wanted & _answerable(step) and _worth_doing(state, step, wanted))


def _proving(knowledge: Knowledge, conclusions: Conclusions, steps: tuple[SetupStep, ...], hold: str) -> set[str]:
    """The findings that would prove what a hold waits for, out of those that steps answer."""
    answerable = ((str(name), step.minutes) for step in steps for name in (*step.makes, *step.finds, *step.done))
    minutes = {name: cost for name, cost in answerable if name not in conclusions.answers}
    rules = (knowledge.rules[name] for name in conclusions.holds.get(hold, ()))
    if not any(isinstance(leaf, IsNot) for rule in rules for leaf in leaves(rule.when)):
        return set()
    return set(way_to_lift(knowledge, conclusions, (hold,), minutes))


def _answerable(step: SetupStep) -> set[str]:
    return {str(name) for name in (*step.makes, *step.finds, *step.done, *step.not_done)}


def _worth_doing(state: CaseState, step: SetupStep, wanted: set[str]) -> bool:
    """A step that was done says nothing new, except by what was found with it."""
    taken = state.steps.get(step.id)
    return taken is None or taken.outcome != DONE or bool(wanted & set(map(str, step.finds)))


def answers_of(step: SetupStep, outcome: str) -> dict[str, str]:
    """Return finding -> answer that follows from what came of a step, as long as the set-up lasts."""
    answers = {**step.done, **step.makes} if outcome == DONE else step.not_done
    return {str(name): str(answer) for name, answer in answers.items()}


def facts(knowledge: Knowledge, state: CaseState) -> dict[str, Given]:
    """Return what was said of the machine itself: it stays true."""
    names = {MACHINE, *(str(name) for step in knowledge.setup_steps.values() for name in step.asks)}
    return {name: given for name, given in state.findings.items() if name in names}


@dataclass(frozen=True, slots=True)
class Carried:
    """What a set-up gives to a fault that comes later: answers, what came of each step, the count of each needle when it
    was last good, and how far it has been moved since, in sixteenths."""

    answers: dict[str, str] = field(default_factory=dict)
    readings: dict[str, str] = field(default_factory=dict)
    steps: dict[str, str] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    moves: dict[str, int] = field(default_factory=dict)


def carried(knowledge: Knowledge, state: CaseState) -> Carried:
    """Return what of a set-up is kept. What was seen on its day is not: bolts do not stay tight for good."""
    given = facts(knowledge, state)
    for step in in_order(knowledge):
        taken = state.steps.get(step.id)
        if taken is not None:
            lasting = step.done if taken.outcome == DONE else step.not_done
            given |= {str(name): Given(str(answer)) for name, answer in lasting.items()}
    for name, text in told_by_ledger(state.needles).items():
        if name in knowledge.findings:
            try:
                given[name] = understood(knowledge.findings[name], text)
            except NotAReading:  # another pack's finding of that name
                continue
    places = {needle: place for needle in NEEDLES if (place := stands(state.needles, needle)) is not None}
    return Carried(
        answers={name: one.answer for name, one in given.items()},
        readings={name: one.reading for name, one in given.items() if one.reading},
        steps={name: taken.outcome for name, taken in state.steps.items()},
        counts={needle: place.baseline for needle, place in places.items()},
        moves={needle: place.moved_by for needle, place in places.items() if place.moved_by},
    )
