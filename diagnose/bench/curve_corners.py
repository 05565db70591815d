"""The corner points of a throttle curve: measured where points lie, a safe start where none does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .calculator import NotPossible
from .fit import Fit

FULL = 100.0
"""Percent of the throttle's way, and of the stick's."""

CLOSE = 0.25
"""In steps between corner points: a corner with a point so near is measured. So is one with points within a step on both
sides."""


@dataclass(frozen=True, slots=True)
class Corners:
    """The curve: at these sticks these throttles; measured or else a safe start (NaN where there is none)."""

    at: tuple[float, ...]
    values: tuple[float, ...]
    error: tuple[float, ...]
    measured: tuple[bool, ...]
    rises: bool

    def stick(self, share: float) -> float:
        """The stick at a share of its way."""
        return self.at[0] + share * (self.at[-1] - self.at[0])

    def held_at(self, stick: float) -> float | None:
        """The measured throttle at a stick; None where a corner beside it is not measured."""
        import numpy as np

        step = self.at[1] - self.at[0]
        beside = [known for corner, known in zip(self.at, self.measured, strict=True) if abs(corner - stick) < step]
        return float(np.interp(stick, self.at, self.values)) if all(beside) else None

    def unmeasured(self) -> list[tuple[float, float]]:
        """The parts of the stick where the curve rests on a corner that is not measured."""
        found: list[tuple[float, float]] = []
        for place in range(len(self.at) - 1):
            start, end = self.at[place : place + 2]
            if self.measured[place] and self.measured[place + 1]:
                continue
            if found and found[-1][1] == start:
                found[-1] = (found[-1][0], end)
            else:
                found.append((start, end))
        return found


def reached(at: Sequence[float], sticks: Sequence[float]) -> tuple[bool, ...]:
    """Which corner points the data reach."""
    step = at[1] - at[0]
    return tuple(
        any(abs(stick - corner) <= CLOSE * step for stick in sticks)
        or (any(0 <= corner - stick <= step for stick in sticks) and any(0 <= stick - corner <= step for stick in sticks))
        for corner in at
    )


def completed(
    at: tuple[float, ...], fit: Fit | None, measured: tuple[bool, ...], rises: bool, start: Sequence[float] | None
) -> Corners:
    """The measured corners, and a safe start where nothing is known: never more throttle than what was measured above it,
    never less than what was measured below it. `start` is the starting curve at the corners, or None for none."""
    import numpy as np

    values = np.asarray(fit.values) if fit else np.zeros(len(at))
    known = np.asarray(measured)
    full = np.where(known, values, np.nan if start is None else start)
    if known.any():
        first, last = np.flatnonzero(known)[[0, -1]]
        full[first : last + 1] = np.interp(at[first : last + 1], np.asarray(at)[known], values[known])
        below, above = full[:first], full[last + 1 :]
        full[:first] = np.minimum(below, values[first]) if rises else values[first]
        full[last + 1 :] = np.maximum(above, values[last]) if rises else values[last]
    error = fit.error if fit else (math.nan,) * len(at)
    return Corners(at, tuple(map(float, full)), error, measured, rises)


def starting(at: Sequence[float], quarter: float, half: float) -> list[float]:
    """The starting curve: a straight line through its figures at quarter and half stick. Raises NotPossible if it falls."""
    if half < quarter:
        raise NotPossible("half: a starting curve does not fall; give no less throttle at half stick than at quarter")
    shares = ((corner - at[0]) / (at[-1] - at[0]) for corner in at)
    return [min(max(quarter + (share - 0.25) / 0.25 * (half - quarter), 0.0), FULL) for share in shares]
