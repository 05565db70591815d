"""Envelope -> frames: how well every speed that could be meant explains the sound, STEP by STEP.

In each frame the spectrum of the envelope is laid over a comb of harmonics for every speed; lines half-way between count
against it, so that half the true speed does not win. A second reading of the same frame lets every other burst be missing
(four-stroking): lines at half the speed are then expected. Where the engine runs up or down too fast for a spectrum to
stand still, the frame is stretched in time as it would have to be for each of a few rates of climb, and the best counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .envelope import RATE, Part
from .over_frames import STEP
from .recording import Array

SLOWEST, FASTEST = 10.0, 275.0
"""Bursts a second that are looked for: 600 to 16,500 a minute. The low end is a four-stroking idle."""

OCTAVE = 96
"""Speeds tried in an octave."""

SPEEDS = np.exp2(np.arange(np.log2(SLOWEST), np.log2(FASTEST), 1 / OCTAVE))
"""Bursts a second that are tried."""

HARMONICS = 6
FALL = 0.8
"""How much less each higher harmonic counts."""

EVERY_OTHER = 0.25
"""What a frame must gain by taking every other burst for missing: sound of two-strokes is the simpler reading."""

DECIDED_OVER = 5
"""Frames over which that is decided."""

CLIMBS = (-4.0, -3.2, -2.4, -1.6, -0.8, 0.8, 1.6, 2.4, 3.2, 4.0)
"""Octaves a second that are tried where a frame does not stand still."""

STRETCHING = 0.12
"""What a frame must gain by being stretched: of ten ways one always suits the noise."""

MOVING, AROUND = 0.7, 121
"""A frame moves when its best speed explains it so much worse than the middle one of so many frames around it."""


@dataclass(frozen=True, slots=True)
class Frames:
    """What frames show. scores: (frames, SPEEDS) how well each speed explains the frame. halved: where it does so by
    taking every other burst for missing. level: decibels of the envelope, frame by frame."""

    scores: Array
    halved: NDArray[np.bool_]
    level: Array


def frames_of(part: Part, firings: int = 1) -> Frames:
    """Return the frames of a part. `firings` bursts come from one turn of the shaft."""
    from scipy.ndimage import uniform_filter1d

    count = int(round(part.seconds / STEP))
    slow = np.less(SPEEDS, _WIDE.below)
    long = _whitened([_cut(band, part, _WIDE, count) for band in part.bands], _WIDE)
    cuts = [_cut(band, part, _NARROW, count) for band in part.bands]
    short = _whitened(cuts, _NARROW)
    plain = np.concatenate([_combed(long, _WIDE, SPEEDS[slow]), _combed(short, _NARROW, SPEEDS[~slow])], axis=1)
    moving = _moving(plain)
    if moving.any():
        for climb in CLIMBS:
            stretched = _whitened([_stretched(cut[moving], climb, _NARROW) for cut in cuts], _NARROW)
            plain[moving] = np.maximum(plain[moving], _combed(stretched, _NARROW, SPEEDS) - STRETCHING)
    best, halved = plain.copy(), np.zeros(plain.shape, dtype=bool)
    # With two firings a turn a missed turn is two bursts, and unlike cylinders look like every other burst.
    for octaves in range(1, firings + 1):
        lower = np.full_like(plain, -1.0)
        lower[:, octaves * OCTAVE :] = plain[:, : -octaves * OCTAVE] - EVERY_OTHER
        # Decided over several frames, or noise would always find a reason for the one that is better by chance.
        fits = uniform_filter1d(lower - best, DECIDED_OVER, axis=0, mode="nearest") > 0
        halved |= fits
        best = np.where(fits, lower, best)
    return Frames(best, halved, _level(part, count))


def _moving(scores: Array) -> NDArray[np.bool_]:
    """The frames in which the speed seems to change, and their neighbours."""
    from scipy.ndimage import binary_dilation, median_filter

    best = scores.max(axis=1)
    usual = median_filter(best, AROUND, mode="nearest")
    found: NDArray[np.bool_] = binary_dilation(best < MOVING * usual, np.ones(3))
    return found


def _level(part: Part, count: int) -> Array:
    hop = int(STEP * RATE)
    inner = part.bands[:, part.before : part.before + count * hop]
    power = (inner**4).mean(axis=0)
    short = count * hop - power.size
    power = np.pad(power, (0, max(short, 0)), mode="edge")
    level: Array = (10 * np.log10(power.reshape(count, hop).mean(axis=1) + 1e-12)).astype(np.float32)
    return level


@dataclass(frozen=True, slots=True)
class _Window:
    """A length of spectrum. every: samples of the envelope put together first."""

    seconds: float
    every: int
    size: int
    top: float
    below: float

    @property
    def rate(self) -> float:
        return RATE / self.every

    @property
    def bins(self) -> int:
        return int(self.top / self.rate * self.size) + 2


_NARROW = _Window(0.32, 1, 2048, 850.0, np.inf)
_WIDE = _Window(0.64, 3, 1024, 320.0, 50.0)
_FLOOR = 64
"""Bins over which the floor under the lines is taken."""


def _cut(band: Array, part: Part, window: _Window, count: int) -> Array:
    """One band cut into overlapping frames, (frames, samples), the mean of each taken away."""
    x = band
    if window.every > 1:
        x = band[: band.size // window.every * window.every].reshape(-1, window.every).mean(axis=1)
    length, hop = int(window.seconds * window.rate), int(STEP * window.rate)
    first = part.before // window.every - (length - hop) // 2
    last = first + (count - 1) * hop + length
    x = np.pad(x[max(first, 0) : last], (max(-first, 0), max(last - x.size, 0)), mode="edge")
    cut = np.lib.stride_tricks.sliding_window_view(x, length)[::hop][:count]
    level: Array = cut - cut.mean(axis=1, keepdims=True)
    return level


def _stretched(cut: Array, climb: float, window: _Window) -> Array:
    """The same frames in a time in which a speed that climbs so many octaves a second stands still."""
    rate = climb * np.log(2.0)
    half = window.seconds / 2 * 0.98
    first, last = np.expm1(-rate * half) / rate, np.expm1(rate * half) / rate
    even = np.arange(first, last, 1 / window.rate)
    return np.asarray(_between(cut, (np.log1p(rate * even) / rate + window.seconds / 2) * window.rate), dtype=np.float32)


def _whitened(cuts: list[Array], window: _Window) -> Array:
    """Lines over their floor, (frames, bins), the middle one of three bands: a band that is disturbed is outvoted."""
    from scipy.fft import rfft
    from scipy.signal import get_window

    shape = get_window("hann", cuts[0].shape[1]).astype(np.float32)
    found = []
    for cut in cuts:
        lines = np.abs(rfft(cut * shape, window.size, axis=1)[:, : window.bins])
        found.append(np.log1p((lines / (2 * _floor(lines) + 1e-9)) ** 2))
    low, middle, high = found
    between: Array = np.maximum(np.minimum(low, middle), np.minimum(np.maximum(low, middle), high))
    return between


def _floor(lines: Any) -> Any:
    """The median of every stretch of bins, smoothed over three stretches."""
    stretches = -(-lines.shape[1] // _FLOOR)
    padded = np.pad(lines, ((0, 0), (0, stretches * _FLOOR - lines.shape[1])), mode="reflect")
    middles = np.median(padded.reshape(len(lines), stretches, _FLOOR), axis=2)
    wide = np.pad(middles, ((0, 0), (1, 1)), mode="edge")
    smooth = (wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:]) / 3
    return np.repeat(smooth, _FLOOR, axis=1)[:, : lines.shape[1]]


@lru_cache(maxsize=4)
def _comb(window: _Window, first: float, count: int) -> tuple[Any, Any, Any]:
    speeds = SPEEDS[np.searchsorted(SPEEDS, first) :][:count]
    order = np.arange(1, HARMONICS + 1)
    on, off = speeds[:, None] * order, speeds[:, None] * (order - 0.5)
    weight = np.where(on > window.top, 0.0, FALL ** (order - 1))
    weight = (weight / weight.sum(axis=1, keepdims=True)).astype(np.float32)
    place = window.size / window.rate
    return np.minimum(on, window.top) * place, np.minimum(off, window.top) * place, weight


def _combed(lines: Array, window: _Window, speeds: Any) -> Array:
    """How much stronger the harmonics of each speed are than what lies half-way between them; (frames, speeds)."""
    on, off, weight = _comb(window, float(speeds[0]), len(speeds))
    total = np.zeros((len(lines), len(speeds)), dtype=np.float32)
    for order in range(HARMONICS):
        total += (_between(lines, on[:, order]) - _between(lines, off[:, order])) * weight[:, order]
    return total


def _between(lines: Array, place: Any) -> Any:
    whole = place.astype(int)
    part = (place - whole).astype(np.float32)
    return lines[:, whole] * (1 - part) + lines[:, whole + 1] * part
