"""Slopes in a log whose rows come when they like: straight lines through a window that slides along it."""

from __future__ import annotations

from typing import Any

ENOUGH = 5
"""Rows in a window; fewer make no slope."""

FILLED = 0.6
"""Share of a window that its rows must span."""


def slopes(time: Any, values: Any, pieces: Any, window: float) -> tuple[Any, Any]:
    """Return the slope a second round each row and its standard error, from ordinary least squares through the rows within
    half a window on both sides. Arrays of equal length; `pieces` numbers the stretches between gaps, and no window reaches
    over a gap. NaN where there are too few rows. The scatter is not taken smaller than the steps in which the log counts.
    """
    import numpy as np

    slope, error = np.full(len(time), np.nan), np.full(len(time), np.nan)
    least = _counts_in(values) ** 2 / 12  # variance of a rounding error, evenly spread over one step
    for piece in np.unique(pieces):
        rows = np.flatnonzero((pieces == piece) & np.isfinite(values))
        if len(rows) < ENOUGH:
            continue
        t, v = time[rows] - time[rows[0]], values[rows] - values[rows].mean()
        first, last = np.searchsorted(t, t - window / 2, "left"), np.searchsorted(t, t + window / 2, "right")
        n, st, sv, stt, stv, svv = (_between(sums, first, last) for sums in (t * 0 + 1, t, v, t * t, t * v, v * v))
        spread = stt - st * st / n
        with np.errstate(all="ignore"):
            inclined = (stv - st * sv / n) / spread
            rest = np.maximum(svv - sv * sv / n - inclined**2 * spread, 0)
            uncertain = np.sqrt(np.maximum(rest / (n - 2), least) / spread)
        enough = (n >= ENOUGH) & (t[last - 1] - t[first] >= FILLED * window)
        slope[rows], error[rows] = np.where(enough, inclined, np.nan), np.where(enough, uncertain, np.nan)
    return slope, error


def _between(terms: Any, first: Any, last: Any) -> Any:
    import numpy as np

    sums = np.concatenate([[0.0], np.cumsum(terms)])
    return sums[last] - sums[first]


def _counts_in(values: Any) -> float:
    """The smallest step between two different numbers of a log."""
    import numpy as np

    steps = np.diff(np.unique(values[np.isfinite(values)]))
    steps = steps[steps > 1e-9]
    return float(steps.min()) if len(steps) else 0.0
