"""Sound -> envelope: how strong it is from moment to moment, in three bands, RATE times a second.

Every firing is a burst of sound. Its pitch says little (pipe and can ring as they like); how often bursts come says
everything. Three bands are kept apart so that what disturbs one of them (wind, the rotor, a clipped low end) is outvoted.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .recording import Array

RATE = 2_400
"""Samples a second of the envelope: four harmonics and more of the fastest engine."""

BANDS = ((350.0, 900.0), (900.0, 2_200.0), (2_200.0, 5_500.0))
"""Hz. Above what wind and blades mostly reach, and within what any phone keeps."""

SMOOTH = 900.0
"""Hz up to which an envelope is kept."""

LOW_RATE = 1_000
"""Samples a second of the low sound that is kept beside, for the blades alone."""

LOW = (15.0, 400.0)
"""Hz of the low sound."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """A piece of envelope. `bands`: (3, n), square root of the strength. `low`: the low sound, LOW_RATE a second.
    `clipped`: share of the samples that stand at full scale."""

    bands: Array
    low: Array
    clipped: float


@dataclass
class _Filter:
    """A filter that goes on from block to block."""

    sos: Any
    state: Any = field(init=False)

    def __post_init__(self) -> None:
        self.state = np.zeros((len(self.sos), 2))

    def __call__(self, x: Any) -> Any:
        from scipy.signal import sosfilt

        y, self.state = sosfilt(self.sos, x, zi=self.state)
        return y


@dataclass
class _Thinned:
    """Values at another rate, by straight lines between smooth samples; goes on from block to block."""

    step: float
    _last: float = 0.0
    _next: float = 0.0  # where the next value is wanted, counted from the last sample of the block before

    def __call__(self, x: Any) -> Any:
        known = np.concatenate(([self._last], x))
        count = max(int(np.floor((len(x) - self._next) / self.step)) + 1, 0)
        wanted = self._next + self.step * np.arange(count)
        wanted = wanted[wanted <= len(x)]
        values = np.interp(wanted, np.arange(len(known)), known)
        self._next += self.step * len(wanted) - len(x)
        self._last = float(x[-1])
        return values


def envelopes(sound: Iterable[Array], rate: int) -> Iterator[Envelope]:
    """Yield the envelope of each block of sound, `rate` samples a second, joined without a seam."""
    from scipy.signal import butter

    every = max(rate // 16_000, 1)
    working = rate / every
    thin = _Filter(butter(6, 0.42 * working, fs=rate, output="sos")) if every > 1 else None
    bands = [
        (
            _Filter(butter(4, (low, min(high, 0.45 * working)), "bandpass", fs=working, output="sos")),
            _Filter(butter(4, SMOOTH, fs=working, output="sos")),
            _Thinned(working / RATE),
        )
        for low, high in BANDS
    ]
    deep, deep_thinned = _Filter(butter(4, LOW, "bandpass", fs=working, output="sos")), _Thinned(working / LOW_RATE)
    offset = 0
    for block in sound:
        clipped = float(np.mean(np.abs(block) > 0.985))
        x = block
        if thin is not None:
            smooth = thin(block)
            x = smooth[offset::every]
            offset = (offset - len(block)) % every
        if not len(x):
            continue
        several = [thinned(smoothed(np.sqrt(np.abs(band(x))))) for band, smoothed, thinned in bands]
        yield Envelope(np.asarray(several, dtype=np.float32), deep_thinned(deep(x)).astype(np.float32), clipped)


PART = 60.0
"""Seconds of envelope worked on at once."""

HALO = 1.0
"""Seconds of envelope on either side of a part."""


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of envelope with a halo. `start`: seconds at which the part begins, halo not counted."""

    start: float
    before: int  # samples of halo in front
    after: int  # and behind
    bands: Array
    low: Array  # without a halo
    clipped: float

    @property
    def seconds(self) -> float:
        return (self.bands.shape[1] - self.before - self.after) / RATE


def parts(pieces: Iterable[Envelope]) -> Iterator[Part]:
    """Yield envelope in parts of PART seconds, each with a halo of what stands before and after it."""
    held: list[Array] = []
    low: list[Array] = []
    clipped: list[float] = []
    whole, halo = int(PART * RATE), int(HALO * RATE)
    start, before, length = 0.0, 0, 0
    for piece in pieces:
        held.append(piece.bands)
        low.append(piece.low)
        clipped.append(piece.clipped)
        length += piece.bands.shape[1]
        while length >= before + whole + halo:
            joined, deep = np.concatenate(held, axis=1), np.concatenate(low)
            end, deep_end = before + whole, int(PART * LOW_RATE)
            yield Part(start, before, halo, joined[:, : end + halo], deep[:deep_end], float(np.mean(clipped)))
            held, low, clipped = [joined[:, end - halo :]], [deep[deep_end:]], clipped[-1:]
            start, before, length = start + PART, halo, joined.shape[1] - end + halo
    if length > before:
        yield Part(start, before, 0, np.concatenate(held, axis=1), np.concatenate(low), float(np.mean(clipped)))
