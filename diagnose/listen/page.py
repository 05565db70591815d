"""The page of results: what was heard, how sure it is, and what nobody can tell from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from ..bench.calculator import Page, Row
from ..knowledge.hearing import MEASURED
from .answers import written
from .hearing import Heard
from .measures import FOREIGN, Measure, Measured, clock, spans
from .record import chart, record

CAUTIONS = ("record-from-behind-the-line",)
"""Shown before anything else: the next recording is made after this one is read."""

HANGING = ("surge-period", "surge-alike", "sag-recovery", "stop-rise", "stop-share")
"""Measures that hang on another: where they have no number, that one says why."""

SMALL_SURGE = 3.0
"""Percent under which the rhythm of a swing is nobody's concern."""

SURE, FAIRLY = (1.5, 0.25), (6.0, 0.6)
"""How far a number may be off, in its unit or over itself, whichever is more, to be called so."""

PLAIN = 0.6
"""How well a speed explains the sound, in the middle frame, when it is plain."""

CLIPPED = 0.01
"""Share of samples at full scale that wants saying."""

SOURCES = (
    "A two-stroke fires once a turn, so it beats rpm / 60 times a second; firing every other turn brings the half order"
    " (engine orders as in Terwilliger and Siegel, Sensors 22, 2022, 7736).",
    "Tried on invented sounds only, not yet on real engines. Where a trained ear says otherwise, believe the ear.",
)


def kept(heard: Heard, found: Measured) -> dict[str, Any]:
    """Return what a case keeps of a recording, as the particulars of its event."""
    small = asdict(record(heard, found, tuple(_rows(heard, found))))
    return {name: list(value) if isinstance(value, tuple) else value for name, value in small.items() if name != "at"}


def page(heard: Heard, found: Measured) -> Page:
    """Return the page of a recording."""
    rows = tuple(_rows(heard, found))
    drawn = record(heard, found, rows)
    return Page(
        title=f"What is heard in {heard.recording.name}",
        rows=rows,
        says=tuple(_says(heard, found)),
        sources=SOURCES,
        cautions=CAUTIONS,
        charts=(chart(drawn),) if any(drawn.speeds) else (),
    )


def sureness(measure: Measure) -> str:
    """How sure a number is, in a word or two."""
    off, own = measure.high - measure.low, abs(measure.value or 0.0)
    if off <= max(SURE[0], SURE[1] * own):
        return "sure"
    return "fairly sure" if off <= max(FAIRLY[0], FAIRLY[1] * own) else "unsure"


def _rows(heard: Heard, found: Measured) -> Iterator[Row]:
    seconds = float(heard.running.mean()) * heard.seconds
    yield Row("heard", "Engine heard for", seconds, "second", f"{seconds:.0f} of {heard.seconds:.0f} seconds")
    yield from _speeds(heard, found)
    for name, measure in found.of.items():
        of = MEASURED[name]
        small = name in ("surge-period", "surge-alike") and (found.of["surge-depth"].value or 0.0) < SMALL_SURGE
        if measure.value is not None and not small:
            at = f", {measure.where}" if measure.where else ""
            said = f"{written(name, measure)}, {sureness(measure)}{at}"
            yield Row(name, of.label.capitalize(), measure.value, of.unit, said, measure.low, measure.high)


def untold(found: Measured) -> dict[str, list[str]]:
    """Return why nobody can tell -> what: the measures without a number, those together that want the same."""
    reasons: dict[str, list[str]] = {}
    for name, measure in found.of.items():
        if measure.value is None and name not in HANGING and not (name == "stop-fall" and found.stop is None):
            reasons.setdefault(measure.why, []).append(MEASURED[name].label)
    return reasons


def _speeds(heard: Heard, found: Measured) -> Iterator[Row]:
    when = found.phases
    for name, label, frames in (("idle-speed", "Speed at idle", when.idle), ("power-speed", "Speed at power", when.power)):
        speeds: Any = heard.rpm[frames]
        if speeds.size < 20:
            continue
        middle = float(np.median(speeds))
        low, high = (float(x) for x in np.percentile(speeds, (5, 95)))
        if heard.octave.certain:
            sure = "sure" if float(np.median(heard.clear[frames])) > PLAIN else "fairly sure"
            sure = "unsure" if _disturbed(heard, frames) else sure
            said = f"{middle:,.0f} rpm ({low:,.0f} to {high:,.0f}), {sure}, {spans(frames)}".rstrip(", ")
            yield Row(name, label, middle, "rpm", said, low, high)
        else:
            both = sorted(middle * factor / heard.octave.factor for factor in (heard.octave.factor, *heard.octave.others))
            said = " or ".join(f"{round(speed, -1):,.0f}" for speed in both)
            yield Row(name, label, float("nan"), "rpm", f"cannot tell: {said} rpm", both[0], both[-1])


def _beat(factor: float) -> str:
    """What a beat of the sound is, in words."""
    if factor == 1:
        return "A beat of the sound is taken for a turn of the engine"
    if factor == 2:
        return "A beat of the sound is taken for two turns, of which one fires"
    return f"A beat of the sound is taken for {factor:g} turns of the engine"


def _disturbed(heard: Heard, frames: Any) -> bool:
    return bool(float(np.mean(heard.foreign[frames])) > FOREIGN)


def _says(heard: Heard, found: Measured) -> Iterator[str]:
    if not heard.whole:
        yield f"The file is cut off after {clock(heard.seconds)}. What is there was heard."
    if not found.phases.top:
        yield "No engine is heard in it: too far away, too much wind, or none was running."
        return
    if heard.octave.certain:
        yield f"{_beat(heard.octave.factor)}: {heard.octave.because}."
    else:
        lower, higher = sorted((heard.octave.factor, *heard.octave.others))[:2]
        times = "twice" if higher == 2 * lower else f"{higher / lower:g} times"
        yield (
            "Two readings make this sound: it fires every turn at the lower speed, or every other turn, from end to end, at"
            f" {times} that. To tell them apart, {heard.octave.because}."
        )
    if max(found.of[name].value or 0.0 for name in found.of if name.startswith("share-")) > 1:
        yield (
            "While it four-strokes every other turn misses, so the beats skipped are half of what the time says. A missed"
            f" turn is {100 * heard.contrast:.0f} % weaker than one that fires."
        )
    if _disturbed(heard, heard.running):
        yield (
            "Something else beats along with the engine, most likely a rotor: the speed may be followed wrongly. Record it"
            " from where the exhaust is louder than the blades."
        )
    if heard.clipped > CLIPPED:
        yield "It is overloaded (clipped). It was heard all the same; hold the phone farther away next time."
    if found.dips:
        said = ", ".join(f"{100 * dip.depth:.0f} % at {clock(dip.start)}" for dip in found.dips[:4])
        yield (
            f"The speed dips: {said}. A machine that flies past, or a throttle that is moved, sounds the same; say when it"
            " worked hard to have it judged."
        )
    if found.stop is not None:
        how = "between one beat and the next" if found.stop.fall < 0.6 else f"over {found.stop.fall:.0f} seconds"
        yield f"The firing ends at {clock(found.stop.at)}, {how}."
    elif found.phases.top and heard.running.size and not heard.running[-20:].any():
        yield "It is not heard to the end, and nothing says that it stopped: it may only have gone out of hearing."
    for why, what in untold(found).items():
        yield f"Cannot tell: {'; '.join(what)} ({why})."
