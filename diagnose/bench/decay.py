"""How fast a closed space loses its pressure, from readings of a gauge.

The gas law at constant temperature with a seep whose flow goes as the pressure over the air's (laminar flow, Hagen and
Poiseuille) gives p = p0 exp(-k t). Through a hole the flow goes as the root of that pressure (Bernoulli), and the root of
p falls in a straight line. Which of the two a leak is nobody knows; where they differ, that is part of the uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

MINUTE = 60.0

NORMAL = 1.96
"""Standard errors for 95 %, where the gauge and not the scatter decides."""


@dataclass(frozen=True, slots=True)
class Decay:
    """start: fitted pressure at the first reading, in the unit of the readings. rate: k a second. lost: share of the
    pressure over the air's that goes in the first minute. uncertain: of `lost`, 95 %. span: seconds that it was watched."""

    start: float
    rate: float
    lost: float
    uncertain: float
    span: float


def decay(times: Sequence[float], pressures: Sequence[float], division: float) -> Decay:
    """Fit both laws by least squares. Needs two readings at different times; `division` is the finest step of the gauge.

    The error of a reading is the rounding to a division (its variance a twelfth of the division's square), or the scatter
    about the fit where that is larger."""
    import numpy as np
    from scipy.optimize import curve_fit
    from scipy.stats import t as student

    time, pressure = np.asarray(times, dtype=float) - min(times), np.asarray(pressures, dtype=float)
    reading = division / math.sqrt(12)
    slope = _first_guess(time, pressure)
    found, covariance = curve_fit(
        _seep, time, pressure, (float(pressure.max()), slope), sigma=np.full(len(time), reading), absolute_sigma=True
    )
    freedom = len(time) - 2
    error = NORMAL * math.sqrt(covariance[1, 1])
    if freedom:
        scatter = math.sqrt(float(np.sum((pressure - _seep(time, *found)) ** 2)) / freedom)
        error = max(error, float(student.ppf(0.975, freedom)) * math.sqrt(covariance[1, 1]) * scatter / reading)
    start, rate = map(float, found)
    lost = 1 - math.exp(-rate * MINUTE)
    by_fit = MINUTE * math.exp(-rate * MINUTE) * error
    return Decay(start, rate, lost, math.hypot(by_fit, _through_a_hole(time, pressure) - lost), float(np.ptp(time)))


def _seep(time: Any, start: float, rate: float) -> Any:
    import numpy as np

    return start * np.exp(np.clip(-rate * time, -700, 50))


def _first_guess(time: Any, pressure: Any) -> float:
    """The rate from the first and the last reading."""
    first, last = pressure[time.argmin()], pressure[time.argmax()]
    return math.log(max(first, 1e-6) / max(last, 1e-2 * first, 1e-6)) / float(time.max())


def _through_a_hole(time: Any, pressure: Any) -> float:
    """The share lost in a minute if the root of the pressure falls in a straight line, down to nothing."""
    import numpy as np

    above = pressure > 0  # what is empty says no more of how fast it emptied
    if above.sum() < 2 or not np.ptp(time[above]):
        return 1.0
    slope, start = np.polyfit(time[above], np.sqrt(pressure[above]), 1)
    return float(1 - (max(start + slope * MINUTE, 0.0) / start) ** 2)
