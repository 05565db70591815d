"""A curve through scattered points that never turns: rising, or falling to one lowest point and rising again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

HUBER = 1.345
"""In units of the scatter; a residual beyond it loses weight. Huber, "Robust Estimation of a Location Parameter", Annals
of Mathematical Statistics 35 (1964); the figure, for 95 % efficiency with normal errors, is from memory."""

MAD = 1.4826
"""Median absolute deviation to standard deviation, for normal errors (1 / 0.6745)."""

LEAST_SCATTER = 1.0
"""In percent throttle: nobody reads a throttle closer, however well few points happen to agree (common practice)."""

OUTLIER = 4.0
"""In units of the scatter; a point further off is named and has no say."""

STIFFNESS = 1e-3
"""Weight against bends, next to a point's weight of 1. It settles corner points without data and moves no other."""

ROUNDS = 30


@dataclass(frozen=True, slots=True)
class Fit:
    """values: the curve at the wanted places. free: the same without the rule that it never turns. error: standard error
    of each. lowest: which place the curve turns at (0 for one that only rises). outliers: which points have no say.
    scatter: standard deviation of the others about the curve."""

    values: tuple[float, ...]
    free: tuple[float, ...]
    error: tuple[float, ...]
    lowest: int
    outliers: tuple[int, ...]
    scatter: float


def rising(x: Sequence[float], y: Sequence[float], at: Sequence[float], most: float) -> Fit:
    """Least squares by straight pieces between the places `at` (ascending), 0 to `most`, never falling; points far off lose
    their say. Needs one point."""
    return _robust(x, y, at, most, (0,))


def valley(x: Sequence[float], y: Sequence[float], at: Sequence[float], most: float) -> Fit:
    """The same, falling to one of the inner places and rising after it: whichever fits best. Needs three places."""
    return _robust(x, y, at, most, tuple(range(1, len(at) - 1)))


def _robust(x: Sequence[float], y: Sequence[float], at: Sequence[float], most: float, turns: tuple[int, ...]) -> Fit:
    import numpy as np

    beyond_ends = np.clip(np.asarray(x, dtype=float), at[0], at[-1])
    hats: Any = np.stack([np.interp(beyond_ends, at, row) for row in np.eye(len(at))], axis=1)
    wanted: Any = np.asarray(y, dtype=float)
    fits = [_reweighted(hats, wanted, turn, most) for turn in turns]
    turn, (values, weights) = min(zip(turns, fits, strict=True), key=lambda one: _cost(hats, wanted, one[1][0]))
    residuals = wanted - hats @ values
    scatter = _scatter(residuals)
    good = np.abs(residuals) <= OUTLIER * scatter
    values = _solved(hats, wanted, np.where(good, weights, 0.0), turn, most)
    free = _solved(hats, wanted, np.where(good, weights, 0.0), None, most)
    scatter = _scatter((wanted - hats @ values)[good])
    information = hats[good].T @ hats[good] + STIFFNESS * _bends(len(at)).T @ _bends(len(at)) + 1e-9 * np.eye(len(at))
    error = scatter * np.sqrt(np.diag(np.linalg.inv(information)))
    return Fit(
        tuple(map(float, values)), tuple(map(float, free)), tuple(map(float, error)), turn,
        tuple(int(place) for place in np.flatnonzero(~good)), scatter,
    )  # fmt: skip


def _reweighted(hats: Any, wanted: Any, turn: int, most: float) -> tuple[Any, Any]:
    """The curve, and the weight of each point in it."""
    import numpy as np

    weights = np.ones(len(wanted))
    values = _solved(hats, wanted, weights, turn, most)
    for _ in range(ROUNDS):
        residuals = np.abs(wanted - hats @ values)
        weights = np.minimum(1.0, HUBER * _scatter(residuals) / np.maximum(residuals, 1e-12))
        before, values = values, _solved(hats, wanted, weights, turn, most)
        if np.max(np.abs(values - before)) < 1e-4:
            break
    return values, weights


def _solved(hats: Any, wanted: Any, weights: Any, turn: int | None, most: float) -> Any:
    """Weighted least squares in steps up from the lowest place, none of them negative (no rule where `turn` is None)."""
    import numpy as np
    from scipy.optimize import lsq_linear

    places = hats.shape[1]
    by_steps = np.eye(places) if turn is None else _from_steps(places, turn)
    root = np.sqrt(weights)[:, None]
    rows = np.concatenate([hats * root, np.sqrt(STIFFNESS) * _bends(places)]) @ by_steps
    aims = np.concatenate([wanted * root[:, 0], np.zeros(max(places - 2, 0))])
    # The same least squares with as many rows as unknowns, so that a long log costs no more than a short one.
    rotated, small = np.linalg.qr(rows)
    upper = np.full(places, np.inf)
    upper[0 if turn is None else turn] = most
    if turn is None:
        return np.linalg.lstsq(small, rotated.T @ aims, rcond=None)[0]
    return np.clip(by_steps @ lsq_linear(small, rotated.T @ aims, (np.zeros(places), upper), method="bvls").x, 0, most)


def _from_steps(places: int, turn: int) -> Any:
    """Matrix from (steps away from the lowest place; at that place its height) to heights."""
    import numpy as np

    number = np.arange(places)
    up = (number[None, :] <= number[:, None]) & (number[None, :] > turn)
    down = (number[None, :] >= number[:, None]) & (number[None, :] < turn)
    return (up | down | (number[None, :] == turn)).astype(float)


def _bends(places: int) -> Any:
    """Second differences: one row for each place that is no end."""
    import numpy as np

    return np.diff(np.eye(places), n=2, axis=0)


def _cost(hats: Any, wanted: Any, values: Any) -> float:
    import numpy as np

    return float(np.sum(np.abs(wanted - hats @ values)))


def _scatter(residuals: Any) -> float:
    import numpy as np

    return max(MAD * float(np.median(np.abs(residuals))), LEAST_SCATTER) if len(residuals) else LEAST_SCATTER
