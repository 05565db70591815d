"""Turns -> four-stroking: which bursts stand in a stretch where every other one is missing.

A chain of four states (a hidden Markov model) goes from turn to turn: fires every turn; fires and will miss; misses and
will fire; misses in no order. How strong a burst is in each state, and how much it scatters, is learned from the
recording itself, so that heavy jitter is not taken for four-stroking and a weak miss is still found.
Forward-backward as in Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77 (1989), section III (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .recording import Array

EVEN, FIRES, MISSES, RAGGED = range(4)

GOES_OVER = np.array(
    [
        [0.985, 0.005, 0.005, 0.005],
        [0.012, 0.030, 0.950, 0.008],
        [0.012, 0.950, 0.030, 0.008],
        [0.006, 0.002, 0.002, 0.990],
    ]
)
"""From state (row) to state at the next turn. A stretch lasts some eighty turns; three times in a hundred the beat
changes foot. Judgement, not measurement: the sound decides, these only say that it does not change at every turn."""

MISSED_AT_RANDOM = 0.3
"""Share of missed turns in a ragged stretch."""

STRAY = 0.02
"""Share of bursts that fit nothing (a knock, a gust)."""

LEVEL_OVER = 24
"""Turns whose mean strength counts as 1."""

MIDDLE_OVER = 61
"""Turns whose middle strength is what a turn that fired has; more than any hiccup lasts."""

SCATTER = (0.12, 0.80)
"""Least and most that strengths are let scatter."""

CONTRAST = (0.22, 1.20)
"""Least and most half-difference between a turn that fires and one that misses."""

PLAIN_MISS = 0.9
"""Half-difference where a missed turn is as good as silent."""

OVER_SCATTER = 0.8
"""Least half-difference over the scatter of the turns: under it chance alone makes rows of every-other."""

ROUNDS = 4
"""Times that strengths and states are worked out from each other."""

CHUNK, OVERLAP = 256, 64
"""Turns worked on at once, many chunks side by side."""


@dataclass(frozen=True, slots=True)
class Beat:
    """Turn by turn. four: how sure it stands in a four-stroking stretch, 0 to 1. strength: of its burst, 1 the middle one
    of those around it. contrast: half the difference between fired and missed turns, 1 as a
    miss that is silent; of no meaning where nothing four-strokes."""

    four: Array
    strength: Array
    contrast: float


def beat_of(strength: Any) -> Beat:
    """Return which turns four-stroke, of the strengths of turns one after the other."""
    level = np.clip(_mean_over(np.clip(strength, -1, 4), LEVEL_OVER), 0.3, None)
    y = np.clip(strength / level, -1.5, 4.0)
    if y.size < 2 * LEVEL_OVER:
        none = np.zeros(y.size, dtype=np.float32)
        return Beat(none, y.astype(np.float32), 0.0)
    scatter = float(np.median(np.abs(y[2:] - y[:-2])) / 0.954)  # alike in four-stroking, so it is none of its doing
    least = max(CONTRAST[0], OVER_SCATTER * scatter)
    contrast, even, fires, misses = _first_contrast(y, least), 0.3, 0.3, 0.3
    likely = np.empty((y.size, 4))
    for _ in range(ROUNDS):
        likely = _states(_emitted(y, contrast, even, fires, misses))
        weight = likely.sum(axis=0)
        if weight[EVEN] > 60:
            even = _scatter(y, 1.0, likely[:, EVEN])
        if weight[FIRES] + weight[MISSES] > 40:
            apart = likely[:, FIRES] @ (y - 1) + likely[:, MISSES] @ (1 - y)
            contrast = float(np.clip(apart / (weight[FIRES] + weight[MISSES]), least, CONTRAST[1]))
            fires = _scatter(y, 1 + contrast, likely[:, FIRES])
            misses = _scatter(y, 1 - contrast, likely[:, MISSES])
        else:
            fires = misses = even
    four = likely[:, FIRES] + likely[:, MISSES]
    return Beat(four.astype(np.float32), (y / _middle_over(y, MIDDLE_OVER)).astype(np.float32), contrast)


def _first_contrast(y: Any, least: float) -> float:
    """Where to begin: how far even and odd turns stand apart in the stretches where they do so most. Where that is no
    more than chance makes, a plain miss is looked for: begun too low, chance itself would be learned."""
    foot = np.where(np.arange(y.size) % 2 == 0, 1.0, -1.0)
    apart = float(np.percentile(np.abs(_mean_over(y * foot, LEVEL_OVER)), 97))
    return PLAIN_MISS if apart < least else min(apart, PLAIN_MISS)


def _mean_over(x: Any, count: int) -> Any:
    from scipy.ndimage import uniform_filter1d

    return uniform_filter1d(x, count, mode="nearest")


def _middle_over(x: Any, count: int) -> Any:
    from scipy.ndimage import median_filter

    return np.maximum(median_filter(x, count, mode="nearest"), 0.3)


def _scatter(y: Any, around: float, weight: Any) -> float:
    return float(np.clip(np.sqrt(weight @ (y - around) ** 2 / max(weight.sum(), 1.0)), *SCATTER))


def _emitted(y: Any, contrast: float, even: float, fires: float, misses: float) -> NDArray[np.float64]:
    """How likely each strength is in each state, (turns, states)."""

    def bell(around: float, scatter: float) -> Any:
        return np.exp(-0.5 * ((y - around) / scatter) ** 2) / scatter

    ragged = (1 - MISSED_AT_RANDOM) * bell(1 + 0.6 * contrast, fires) + MISSED_AT_RANDOM * bell(1 - contrast, misses)
    several = (bell(1.0, even), bell(1 + contrast, fires), bell(1 - contrast, misses), ragged)
    return np.stack([(1 - STRAY) * one + STRAY / 4 for one in several], axis=1)


def _states(emitted: NDArray[np.float64]) -> NDArray[np.float64]:
    """How likely each state is at each turn, all turns considered; forward and backward, chunk beside chunk."""
    count, states = emitted.shape
    chunks = -(-count // CHUNK)
    padded = np.ones((chunks * CHUNK + 2 * OVERLAP, states))
    padded[OVERLAP : OVERLAP + count] = emitted
    steps = CHUNK + 2 * OVERLAP
    seen = padded[(np.arange(chunks) * CHUNK)[None, :] + np.arange(steps)[:, None]]  # (steps, chunks, states)
    forward = np.empty_like(seen)
    running = np.full((chunks, states), 1 / states)
    for step in range(steps):
        running = (running @ GOES_OVER) * seen[step]
        running /= running.sum(axis=1, keepdims=True)
        forward[step] = running
    backward = np.ones((chunks, states))
    for step in range(steps - 1, -1, -1):
        forward[step] *= backward
        backward = (backward * seen[step]) @ GOES_OVER.T
        backward /= backward.sum(axis=1, keepdims=True)
    inner = forward[OVERLAP : OVERLAP + CHUNK].transpose(1, 0, 2).reshape(-1, states)[:count]
    return inner / inner.sum(axis=1, keepdims=True)
