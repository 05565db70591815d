"""What can be wrong between entries about setting up and all others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from .model import Knowledge, Pack
from .nearness import Names
from .setup_model import SetupStep
from .source import Place, Problem, Text

if TYPE_CHECKING:
    from .checker import Shelves


def setup_problems(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    """Names that lead nowhere, steps behind a step that comes later, answers that a pack may not give."""
    for step in knowledge.setup_steps.values():
        yield from shelves.unknown(step.needs, shelves.need)
        yield from shelves.unknown(step.cautions, shelves.caution)
        yield from shelves.unknown(step.under, shelves.hold)
        yield from shelves.unknown((*step.asks, *step.finds), shelves.finding)
        for answers in (step.makes, step.done, step.not_done):
            yield from _answers(knowledge, shelves, answers)
        yield from _of_another_pack(knowledge, step)
    yield from _order(knowledge, shelves)
    for carburettor in knowledge.carburettors.values():
        yield from _answers(knowledge, shelves, carburettor.told_by)
    for move in knowledge.needle_moves.values():
        yield from shelves.unknown(move.concluded, shelves.condition)


def _answers(knowledge: Knowledge, shelves: Shelves, answers: Mapping[Text, Text]) -> Iterator[Problem]:
    for name, answer in answers.items():
        if name in knowledge.findings:
            known = Names(f"answer of '{name}'", knowledge.findings[name].answers)
            yield from shelves.unknown((answer,), known)
        else:
            yield from shelves.unknown((name,), shelves.finding)


def _order(knowledge: Knowledge, shelves: Shelves) -> Iterator[Problem]:
    before: set[str] = set()
    steps = Names("setup_step", knowledge.setup_steps)
    for step in knowledge.setup_steps.values():
        if step.after is not None and step.after not in before:
            if step.after in knowledge.setup_steps:
                yield Problem(
                    step.after.place, f"'{step.after}' is written later; a step comes after one written before it"
                )
            else:
                yield from shelves.unknown((step.after,), steps)
        before.add(step.id)


def _of_another_pack(knowledge: Knowledge, step: SetupStep) -> Iterator[Problem]:
    """Done is quickly said. A step of a club pack may not settle by it what a hold of another pack waits for."""
    own = _writer(knowledge, step.place)
    if own is None or own is knowledge.packs[0]:
        return
    for answers in (step.makes, step.done, step.not_done):
        for name in answers:
            finding = knowledge.findings.get(name)
            if finding is not None and not own.wrote(finding.place):
                yield Problem(
                    name.place,
                    f"'{name}' is a finding of another pack; ask it with finds:, or answer a finding of this pack here",
                )


def _writer(knowledge: Knowledge, place: Place) -> Pack | None:
    return next((pack for pack in knowledge.packs if pack.wrote(place)), None)
