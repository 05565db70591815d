"""What the engine was doing when: idle, power, neither; and how steady its speed was in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .hearing import Heard
from .over_frames import STEP, closed, filled, lasting, smooth

IDLE_OF_TOP = 0.42
"""Speed over the highest in the recording under which it idles: clutches bite, and propellers begin to pull, above it
(common practice)."""

SLOW = 3_500.0
"""rpm under which all of a recording is idle, however its own highest speed compares."""

LAST = 0.4
"""Seconds before a stop that are neither idle nor power."""

WINDOW, HOP = 8.0, 2.0
"""Seconds of speed looked at for surging, and from one look to the next."""

BRIDGED = 0.35
"""Seconds in which an engine that was not heard, or not at it, still counts as at it."""

SETTLED, SLOWLY = 0.04, 4.0
"""How far the mean of so many seconds may move in a window, over the speed, before the throttle was surely moved."""

PERIODS = (0.4, 3.6)
"""Seconds of one surge that can be told in a window."""


@dataclass(frozen=True, slots=True)
class Phases:
    """Frames: heard at idle, heard at power; and the highest speed, rpm."""

    idle: Any
    power: Any
    top: float


def phases(heard: Heard, until: float | None = None) -> Phases:
    """Return which frames are idle and which power; none of the last moment before `until`, the second it stopped."""
    seen = heard.running & np.isfinite(heard.rpm)
    if until is not None:
        seen = seen & (heard.at < until - LAST)
    if not seen.any():
        nothing = np.zeros(len(heard.at), dtype=bool)
        return Phases(nothing, nothing, 0.0)
    top = float(np.percentile(heard.rpm[seen], 95))
    speed = smooth(filled(heard.rpm), 0.5)
    slow = speed < (np.inf if top < SLOW else IDLE_OF_TOP * top)
    # On the way up or down it is neither: faster than 30 per cent in a second.
    going = np.abs(np.gradient(np.log(np.maximum(speed, 1.0)), STEP)) > 0.3
    return Phases(seen & slow & ~going, seen & ~slow & ~(going & (speed < 0.8 * top)), top)


@dataclass(frozen=True, slots=True)
class Swing:
    """How the speed swings in one window. depth: from low to high over the speed. swings: how often to and fro. period:
    seconds, 0 if there is none. regular: how far one swing is like the next, 0 to 1."""

    at: float
    depth: float
    swings: float
    period: float
    regular: float


def swings(heard: Heard, frames: Any) -> list[Swing]:
    """Return the swings of every window of these frames in which the throttle was left alone."""
    found = []
    for run in lasting(closed(frames, BRIDGED), WINDOW):
        speed = np.log(np.maximum(filled(heard.rpm[run]), 1.0))
        length = int(WINDOW / STEP)
        for start in range(0, len(speed) - length + 1, int(HOP / STEP)):
            window = speed[start : start + length]
            edge = int(SLOWLY / 2 / STEP)
            if np.ptp(smooth(window, SLOWLY)[edge:-edge]) > SETTLED:
                continue
            x = smooth(window - np.polyval(np.polyfit(np.arange(length), window, 1), np.arange(length)), 0.15)
            low, high = np.percentile(x, (4, 96))
            found.append(
                Swing(float(heard.at[run.start + start]), float(high - low), _to_and_fro(x, (high - low) / 4), *_rhythm(x))
            )
    return found


def _to_and_fro(x: Any, least: float) -> float:
    """How often it goes over the middle by `least` and under it by as much."""
    sides = np.sign(np.where(np.abs(x) >= least, x, 0.0))
    sides = sides[sides != 0]
    return float(np.count_nonzero(np.diff(sides))) / 2


def _rhythm(x: Any) -> tuple[float, float]:
    """Period and likeness of a swing, of its autocorrelation: the first high place after it has once been low."""
    x = x - x.mean()
    whole = np.correlate(x, x, "full")[len(x) - 1 :]
    if whole[0] <= 0:
        return 0.0, 0.0
    alike = whole / whole[0] * len(x) / np.arange(len(x), 0, -1)
    first, last = int(PERIODS[0] / STEP), int(PERIODS[1] / STEP)
    below = np.flatnonzero(alike[:last] < 0)
    if not below.size:
        return 0.0, 0.0
    begin = max(first, int(below[0]))
    if begin >= last:
        return 0.0, 0.0
    high = alike[begin : last + 1]
    if high.max() <= 0:
        return 0.0, 0.0
    # Two swings are as like as one; the first high place that is nearly the highest is one.
    peak = begin + int(np.flatnonzero(high >= 0.85 * high.max())[0])
    peak += int(np.argmax(alike[peak : peak + 8]))
    return peak * STEP, float(np.clip(alike[peak], 0, 1))
