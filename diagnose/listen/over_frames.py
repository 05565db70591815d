"""Arithmetic over frames, which are STEP seconds each: stretches, means, gaps."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

STEP = 0.05
"""Seconds from frame to frame."""


def runs(true: Any, least: float = 1) -> Iterator[slice]:
    """Yield the stretches, `least` frames and longer, in which something is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], np.asarray(true, dtype=int), [0]))))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if end - start >= least:
            yield slice(start, end)


def lasting(true: Any, seconds: float) -> Iterator[slice]:
    """Yield the stretches of so many seconds and more."""
    return runs(true, seconds / STEP - 1e-6)


def smooth(values: Any, seconds: float) -> Any:
    """Return a mean over `seconds`."""
    from scipy.ndimage import uniform_filter1d

    return uniform_filter1d(values, max(int(seconds / STEP), 1), mode="nearest")


def closed(frames: Any, seconds: float) -> Any:
    """Return frames with gaps of up to `seconds` closed."""
    from scipy.ndimage import binary_closing

    gap = max(int(seconds / STEP), 1)
    return binary_closing(np.pad(frames, gap), np.ones(gap))[gap:-gap] if np.any(frames) else np.asarray(frames)


def filled(rpm: Any) -> Any:
    """Return a speed without gaps: straight over what was not heard."""
    known = np.isfinite(rpm)
    return np.interp(np.arange(len(rpm)), np.flatnonzero(known), rpm[known]) if known.any() else np.zeros(len(rpm))
