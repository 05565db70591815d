"""What happened once: it stopped (all at once, or fading), dipped, hiccuped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .hearing import Heard
from .over_frames import STEP, filled, lasting, smooth

QUIETER = 8.0
"""Decibels that the sound falls by, within half a second, when firing ends: what is left is breath and wind."""

FARTHER = 6.0
"""Decibels under what it was that a silence must lie to be the engine's and not only the wind's."""

AFTER = 1.0
"""Seconds without an engine before it has stopped."""

DIP, DIP_LEAST, DIP_MOST = 0.04, 0.3, 8.0
"""A dip: so far under the speed around it, for so many seconds at least and at most."""

GAP, GAP_LEAST, GAP_MOST = 5.0, 0.1, 2.0
"""A hole in the sound: decibels under what is usual around it, and seconds it lasts at least and at most."""

NOISE_TO_TELL = 0.03
"""Share of turns that noise alone makes look missed, over which hiccups are not told."""


@dataclass(frozen=True, slots=True)
class Stop:
    """The end of firing. at: seconds. fall: seconds over which speed or sound went. rise: how far the speed rose just
    before, over the speed. four: share four-stroking in the last five seconds."""

    at: float
    fall: float
    rise: float
    four: float


@dataclass(frozen=True, slots=True)
class Dip:
    """The speed sagged and came back. depth: over the speed."""

    start: float
    end: float
    depth: float


def stop_of(heard: Heard) -> Stop | None:
    """Return how firing ended; None if it is heard to the end, never heard, or went out of hearing."""
    frames = np.flatnonzero(heard.running)
    if not frames.size or (len(heard.at) - frames[-1]) * STEP < AFTER:
        sudden = _sudden(heard, len(heard.at) - 1) if frames.size else None
        if sudden is None:
            return None
        end, drop = sudden
    else:
        sudden = _sudden(heard, int(frames[-1]))
        end, drop = sudden if sudden else (int(frames[-1]), 0.0)
    before = heard.level[max(end - 60, 0) : max(end - 20, 1)]
    after = heard.level[end + 10 :]
    if end < 20 or not len(after) or float(np.median(before)) - float(np.median(after)) < FARTHER:
        return None
    fall, from_speed = _decline(filled(heard.rpm), end)
    if not drop and not from_speed:
        return None  # it grew fainter at an even speed: it went away
    speed = smooth(filled(heard.rpm), 0.3)[: end - 2]
    shortly, earlier = speed[-80:], speed[-240:-80]
    rise = float(shortly.max() / np.median(earlier) - 1) if len(earlier) >= 40 and len(shortly) else 0.0
    four = heard.four[max(end - 100, 0) : end]
    return Stop(float(heard.at[end]), fall if from_speed else STEP * 4, max(rise, 0.0), float(four.mean()))


def _sudden(heard: Heard, last: int) -> tuple[int, float] | None:
    """The frame at which the sound fell most in half a second, near its end, and by how many decibels; None if little."""
    level = heard.level
    best, at = 0.0, -1
    for frame in range(max(last - 120, 10), min(last + 20, len(level) - 10)):
        drop = float(np.median(level[frame - 10 : frame]) - np.median(level[frame : frame + 10]))
        if drop > best:
            best, at = drop, frame
    return (at, best) if best >= QUIETER else None


def _decline(rpm: Any, end: int) -> tuple[float, bool]:
    """Seconds before `end` since which the speed went down without a halt, and whether it went down by much."""
    step = 8
    ends = range(end - 2, step, -step)
    middles = [float(np.median(rpm[place - step : place])) for place in ends]
    count = 0
    while count + 1 < len(middles) and middles[count + 1] > middles[count] * 1.012:
        count += 1
    return count * step * STEP, bool(middles) and middles[count] > middles[0] * 1.08


def dips_of(heard: Heard, power: Any) -> list[Dip]:
    """Return where the speed sagged and came back, in the frames at power."""
    from scipy.ndimage import median_filter

    found = []
    for run in lasting(power, 4.0):
        speed = smooth(filled(heard.rpm[run]), 0.25)
        usual = median_filter(speed, min(201, len(speed) // 2 * 2 - 1), mode="nearest")
        under = 1 - speed / np.maximum(usual, 1.0)
        for dip in lasting(under > DIP / 2, DIP_LEAST):
            depth = float(under[dip].max())
            inside = dip.start > 5 and dip.stop < len(speed) - 5
            if depth >= DIP and inside and (dip.stop - dip.start) * STEP <= DIP_MOST:
                found.append(Dip(float(heard.at[run.start + dip.start]), float(heard.at[run.start + dip.stop]), depth))
    return found


def hiccups_of(heard: Heard, power: Any) -> tuple[float, ...]:
    """Return the seconds at which firing ceased for moments, in the frames at power: several turns missed in a row, or
    the sound gone for a tenth of a second and more. None where noise would make such."""
    from scipy.ndimage import median_filter

    told = [at for at in heard.hiccups if _at_power(heard, power, at)]
    usual = median_filter(heard.level, 121, mode="nearest")
    for gap in lasting(heard.level < usual - GAP, GAP_LEAST):
        at = float(heard.at[gap.start])
        around = power[max(gap.start - 20, 0) : gap.start].any() and power[gap.stop : gap.stop + 20].any()
        if (gap.stop - gap.start) * STEP <= GAP_MOST and around and all(abs(at - other) > 0.3 for other in told):
            told.append(at)
    return tuple(sorted(told))


def _at_power(heard: Heard, power: Any, at: float) -> bool:
    frame = min(int(at / STEP), len(power) - 1)
    near = slice(max(frame - 10, 0), frame + 10)
    return bool(power[near].mean() > 0.5) and float(heard.chance[near].mean()) < NOISE_TO_TELL
