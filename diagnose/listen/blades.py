"""The line of the blades in the low sound: where it stands for each speed that could be meant."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .envelope import LOW, LOW_RATE
from .over_frames import STEP
from .recording import Array

FACTORS = (1.0, 2.0)
"""Times the pulse that the engine may really turn: as it sounds, or twice, with every other firing missing."""

ODD = (1, 3, 5)
"""Multiples of the blade pass that half the speed would not have."""

WINDOW, HOP = 1.0, 0.5
"""Seconds of one spectrum, and from one to the next."""

HELD = 0.02
"""Change of speed within a window, over the speed, at which a line is smeared and proves nothing."""

PRESENT = 1.2
"""Line over floor, log(1 + (line / 2 floor)^2), that chance does not reach as a mean over many windows."""

LEAST_LINES = 6
"""Lines looked at, at least, before anything is said."""


@dataclass(slots=True)
class BladeLines:
    """Gathers how clear the blade pass is, for each factor, part by part. `per_pulse`: blade passes to one burst."""

    per_pulse: float
    _heard: dict[float, list[float]] = field(default_factory=lambda: {factor: [] for factor in FACTORS})

    def listen(self, low: Array, pulse: Array, running: Any) -> None:
        """Take in a stretch of low sound with the pulse that was followed in it, frame by frame."""
        length, hop, each = int(WINDOW * LOW_RATE), int(HOP * LOW_RATE), int(WINDOW / STEP)
        for number in range((len(low) - length) // hop + 1):
            frame = int(number * HOP / STEP)
            here = np.asarray(pulse[frame : frame + each], dtype=float)
            if len(here) < each or not np.all(running[frame : frame + each]) or np.ptp(here) > HELD * here.mean():
                continue
            lines = np.abs(np.fft.rfft(low[number * hop : number * hop + length] * np.hanning(length), 2 * length))
            for factor in FACTORS:
                self._heard[factor] += _clear(lines, float(here.mean()), factor * self.per_pulse)

    def present(self, factor: float) -> bool | None:
        """True if the blades are heard where an engine turning `factor` times the pulse would have them, False if not;
        None if too little could be looked at."""
        heard = self._heard[factor]
        return None if len(heard) < LEAST_LINES else float(np.mean(heard)) > PRESENT


def _clear(lines: Any, pulse: float, per_pulse: float) -> list[float]:
    """How far each odd multiple of the blade pass stands over its floor; those on a harmonic of the engine are left out."""
    found = []
    for odd in ODD:
        order = odd * per_pulse
        at = order * pulse
        if not LOW[0] < at < LOW[1] - 20 or abs(order - round(order)) < 0.06:
            continue
        place = int(round(at * 2 * WINDOW))
        line = lines[place - 3 : place + 4].max()
        beside = np.concatenate((lines[place - 30 : place - 6], lines[place + 7 : place + 31]))
        floor = float(np.median(beside)) if place > 30 else float(np.median(lines[: place + 31]))
        found.append(float(np.log1p((line / (2.5 * floor + 1e-12)) ** 2)))
    return found
