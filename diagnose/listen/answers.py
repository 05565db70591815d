"""What was measured -> what the rules are told: answers to their questions, as hearings.yaml has them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..case.readings import SHOWN, convert
from ..knowledge.hearing import MEASURED, Hearing
from ..knowledge.model import Finding, Knowledge
from .measures import Measure


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer that a recording gives. reading: what was measured and in which recording, as the case keeps it.
    because: the hearing's reason."""

    finding: str
    answer: str
    reading: str
    because: str


def answers(knowledge: Knowledge, measures: Mapping[str, Measure], recording: str) -> tuple[Answered, ...]:
    """Return what the recording answers. What two hearings answer differently, or what may be either, is left out."""
    given: dict[str, list[Answered]] = {}
    for hearing in knowledge.hearings.values():
        if _holds(hearing, measures):
            for name, answer in hearing.says.items():
                found = _answered(knowledge.findings[name], str(answer), hearing, measures, recording)
                if found is not None:
                    given.setdefault(name, []).append(found)
    return tuple(several[0] for several in given.values() if all(one.answer == several[0].answer for one in several))


def _holds(hearing: Hearing, measures: Mapping[str, Measure]) -> bool:
    for name, span in hearing.measured.items():
        measure = measures.get(name, Measure())
        if measure.value is None or not span.holds(measure.low, measure.high):
            return False
    return True


def _answered(
    finding: Finding, answer: str, hearing: Hearing, measures: Mapping[str, Measure], recording: str
) -> Answered | None:
    if finding.measure is not None:
        measure = measures[answer]
        unit = MEASURED[answer].unit
        ends = [convert(end, unit, str(finding.measure.unit)) for end in (measure.low, measure.high)]
        bands = {str(finding.band(max(end, finding.measure.least)).id) for end in ends}
        if len(bands) > 1:
            return None
        return Answered(str(finding.id), bands.pop(), f"{_number(answer, measure)} in {recording}", str(hearing.because))
    first = next(iter(hearing.measured))  # what decides stands first; the rest are conditions, and on the page
    said = f"{MEASURED[first].label} {_number(first, measures[first])} in {recording}"
    return Answered(str(finding.id), answer, said, str(hearing.because))


def written(name: str, measure: Measure) -> str:
    """A measure with its unit and how far it may be off: '12 % (10 to 15)'."""
    if measure.value is None:
        return f"cannot tell: {measure.why}"
    high = "more" if measure.high == float("inf") else _short(measure.high)
    return f"{_number(name, measure)} ({_short(measure.low)} to {high})"


def _number(name: str, measure: Measure) -> str:
    unit = SHOWN.get(MEASURED[name].unit, MEASURED[name].unit)
    return f"{_short(measure.value or 0.0)} {unit}".strip()


def _short(value: float) -> str:
    return f"{value:.1f}" if abs(value) < 9.95 and f"{value:.1f}" != f"{value:.0f}.0" else f"{value:.0f}"
