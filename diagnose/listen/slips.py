"""Pulse -> pulse without slips: where the way through the frames fell by an octave, or rose by one, in an unclear moment.

A stretch of four-stroking is the dearer reading of every frame in it, so in a long one it pays the way to fall to half the
speed at the first unclear moment and to rise again at the last. No engine does that: one that is opened or closed in
earnest is heard all the way, and stops at no octave. Such a jump is taken back, if all of the stretch allows it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .over_frames import STEP
from .recording import Array

NEAR_OCTAVE = 0.12
"""Octaves by which a slip may differ from one."""

WITHIN = int(0.3 / STEP)
"""Frames in which a slip is over."""

UNCLEAR = 0.35
"""How clear a slip is at its worst, over what is usual around it; a throttle that is snapped open stays over 0.4."""

ALIKE = 0.05
"""Share of the frames of a stretch that may be of the other kind and still let it be read an octave off."""


def unslipped(pulse: Array, halved: NDArray[np.bool_], clear: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return pulse and halved with every octave slip taken back that can be."""
    speed, twice = np.array(pulse), np.array(halved)
    borders = _slips(pulse, clear)
    octaves = 0
    for number, (at, jump) in enumerate(borders):
        end = borders[number + 1][0] if number + 1 < len(borders) else len(pulse)
        wanted = octaves - jump
        stretch = slice(at, end)
        # Read an octave up, what fires every turn fires every other; read an octave down, the other way round.
        fits = wanted == 0 or (abs(wanted) == 1 and np.mean(halved[stretch] == (wanted > 0)) <= ALIKE)
        octaves = wanted if fits else 0
        if octaves:
            speed[stretch] *= 2.0**octaves
            twice[stretch] = octaves > 0
    return speed, twice


def _slips(pulse: Array, clear: Array) -> list[tuple[int, int]]:
    """The frames behind each slip, and whether it went an octave up (1) or down (-1)."""
    from scipy.ndimage import median_filter

    found: list[tuple[int, int]] = []
    if len(pulse) <= WITHIN:
        return found
    usual = median_filter(clear, 41, mode="nearest")
    steps: Any = np.diff(np.log2(pulse))
    moved = np.convolve(steps, np.ones(WITHIN), "valid")  # over WITHIN frames from each
    octave = np.abs(np.abs(moved) - 1) < NEAR_OCTAVE
    for place in np.flatnonzero(octave):
        middle = place + WITHIN // 2
        if found and middle - found[-1][0] <= WITHIN:
            continue
        before, after = pulse[max(place - 2, 0)], pulse[min(place + WITHIN + 2, len(pulse) - 1)]
        over = abs(abs(float(np.log2(after / before))) - 1) < NEAR_OCTAVE  # it stands still before and after
        if over and clear[place : place + WITHIN + 1].min() < UNCLEAR * usual[middle]:
            found.append((middle, 1 if moved[place] > 0 else -1))
    return found
