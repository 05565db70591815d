"""Pulse -> speed of the engine: is a burst a turn, or every other one? Said only where it is certain.

An engine that misses every other firing from the first second to the last makes the sound of a two-stroke at half its
speed. Three things settle it: some firing of the other kind in the same recording (the pulse goes on, so the speed does);
a speed, or a gear ratio, that somebody gives; the blades, whose passing stands in a fixed ratio to the engine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .blades import BladeLines
from .known import Known
from .over_frames import runs
from .recording import Array

POSSIBLE = (1_000.0, 17_000.0)
"""Speeds, rpm, between which small petrol two-strokes idle and turn (common practice, from memory)."""

HEADS = (900.0, 2_800.0)
"""Head speeds, rpm, at which model helicopters fly (common practice, from memory)."""

WITHIN = 1.35
"""How far off, as a factor, a speed that is given may be: less than the square root of two, or it settles no octave."""

MIXED, LEAST_MIXED = 0.02, 4
"""Share of the frames of either kind, and their least number, that proves the pulse by the other kind."""

AT_WORK = 0.45
"""Speed over the highest in the recording over which a stretch is judged by itself; idle follows."""

BREAKS, BROKEN, ELSEWHERE = 0.3, 4, 0.2
"""A break: so much less clear than around it, for so many frames, and so many octaves away behind it."""

SHORTEST = 10
"""Frames of the shortest stretch that is judged."""

OVERLOOKED = 0.1
"""Share of the work that may stay unsettled by itself."""

BOTH_WAYS = "some of it fires every turn and some every other turn"
NO_SPEED = "the other reading is no speed of such an engine"
BLADES = "the blades are heard where that speed puts them"


@dataclass(frozen=True, slots=True)
class Octave:
    """What a burst is. factor: speed of the shaft over the pulse. others: factors that the sound allows as well; where
    there is one, nobody can tell. because: what settled it, or what would."""

    factor: float
    others: tuple[float, ...]
    because: str

    @property
    def certain(self) -> bool:
        return not self.others


@dataclass(frozen=True, slots=True)
class _Thread:
    """A stretch in which the pulse was followed without a break. factors: what a burst may be in it, by itself."""

    frames: slice
    middle: float
    high: float
    factors: tuple[float, ...]

    @property
    def length(self) -> int:
        return self.frames.stop - self.frames.start


def settle(
    pulse: Array, halved: NDArray[np.bool_], clear: Array, running: Any, known: Known, blades: BladeLines | None
) -> tuple[Octave, Array]:
    """Return what a burst is, and the factor of every frame: an idle that by itself can only be read one way keeps to it.

    pulse: bursts a minute over `firings`; halved: which frames are explained by every other burst; clear: how well;
    running: in which an engine is heard.
    """
    factors = np.ones(len(pulse), dtype=np.float32)
    threads = _threads(pulse, halved, clear, running)
    if not threads:
        return Octave(1.0, (), ""), factors
    heard = pulse[running]
    top, bottom = float(np.percentile(heard, 95)), float(np.percentile(heard, 5))
    working = [thread for thread in threads if thread.high >= AT_WORK * top]
    octave = _octave(top, bottom, _factors_of(working), known, blades)
    for thread in threads:
        if thread in working or octave.factor in thread.factors:
            factors[thread.frames] = octave.factor
    return octave, factors


def _threads(pulse: Array, halved: NDArray[np.bool_], clear: Array, running: Any) -> list[_Thread]:
    """The stretches between breaks: where no engine is heard, or the way went on elsewhere after an unclear moment."""
    from scipy.ndimage import binary_dilation, median_filter

    unclear = binary_dilation(clear < BREAKS * median_filter(clear, 41, mode="nearest"), np.ones(3)) & running
    whole = np.array(running, dtype=bool)
    for gap in runs(unclear, BROKEN):
        before, after = pulse[max(gap.start - 1, 0)], pulse[min(gap.stop, len(pulse) - 1)]
        if abs(float(np.log2(after / before))) > ELSEWHERE:
            whole[gap] = False
    threads = []
    for run in runs(whole, SHORTEST):
        middle, high = float(np.median(pulse[run])), float(np.percentile(pulse[run], 90))
        threads.append(_Thread(run, middle, high, _readings(halved[run])))
    return threads


def _readings(halved: NDArray[np.bool_]) -> tuple[float, ...]:
    """What a burst may be, of frames of which some are explained by every other burst: if both kinds are there, one."""
    mixed = max(MIXED, LEAST_MIXED / len(halved))
    share = float(np.mean(halved))
    if share <= mixed:
        return (1.0, 2.0)
    return (1.0, 0.5) if share >= 1 - mixed else (1.0,)


def _factors_of(working: Sequence[_Thread]) -> tuple[float, ...]:
    """What a burst may be at work. A thread that settles itself settles those at its own speed."""
    settled = [thread.middle for thread in working if len(thread.factors) == 1]
    open_ones = [
        thread
        for thread in working
        if len(thread.factors) > 1 and not any(1 / WITHIN < thread.middle / one < WITHIN for one in settled)
    ]
    length = sum(thread.length for thread in open_ones)
    if length <= OVERLOOKED * sum(thread.length for thread in working):
        return (1.0,)
    return max(open_ones, key=lambda thread: thread.length).factors


def _octave(top: float, bottom: float, factors: Sequence[float], known: Known, blades: BladeLines | None) -> Octave:
    """The reading that is left, of those the sound allows."""
    given = _given(known)
    if given is not None:
        return _by_speed(top, factors, *given, known)
    possible = [factor for factor in factors if _possible(top, bottom, factor)]
    if len(possible) == 1:
        return Octave(possible[0], (), BOTH_WAYS if len(factors) == 1 else NO_SPEED)
    if not possible:
        return Octave(1.0, (), "though it is no speed that such engines turn at")
    if blades is not None:
        at_once, doubled = blades.present(1.0), blades.present(2.0)
        if at_once:
            return Octave(1.0, (), BLADES)
        if at_once is False and doubled and 2.0 in possible:
            return Octave(2.0, (), BLADES)
    if known.gear:
        flies = [factor for factor in possible if HEADS[0] <= top * factor / known.gear <= HEADS[1]]
        if len(flies) == 1:
            return Octave(flies[0], (), "the other reading is no head speed to fly at")
        return Octave(possible[0], tuple(possible[1:]), "say about how fast head or engine turn at their fastest in it")
    return Octave(possible[0], tuple(possible[1:]), "give the gear ratio, or about how fast it turns at its fastest")


def _possible(top: float, bottom: float, factor: float) -> bool:
    return bottom * factor >= POSSIBLE[0] and top * factor <= POSSIBLE[1]


def _given(known: Known) -> tuple[float, str] | None:
    """The highest speed of the engine that somebody gave, and as what."""
    if known.speed:
        return known.speed, f"about {known.speed:,.0f} rpm was given"
    if known.head and known.gear:
        return known.head * known.gear, f"about {known.head:,.0f} rpm at the head was given"
    return None


def _by_speed(top: float, factors: Sequence[float], speed: float, says: str, known: Known) -> Octave:
    """The reading that comes to the speed given. A strong rotor may have been followed instead of the engine; then the
    gear says what the engine does."""
    rotor = [known.gear / known.blades * times for times in (1.0, 0.5)] if known.gear else []
    fits = [factor for factor in (*factors, 2.0, 0.5, *rotor) if speed / WITHIN <= top * factor <= speed * WITHIN]
    if fits:
        return Octave(fits[0], (), says)
    return Octave(1.0, (), f"but {says}: one of the two is wrong")
