"""Frames -> pulse: how fast bursts follow each other, moment by moment.

The best way through all frames is found with bounded changes of speed (Viterbi), so that one reading carries over to the
next.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .comb import SPEEDS, Frames
from .recording import Array

QUICKEST = 24
"""Steps of speed from frame to frame: a quarter octave in 1/20 second, as fast as an engine is snapped open."""


@dataclass(frozen=True, slots=True)
class Followed:
    """The best way through a stretch of frames. pulse: bursts a second. clear: how well it explains the frame, 0 not at
    all. halved: by every other burst. level: decibels."""

    pulse: Array
    clear: Array
    halved: NDArray[np.bool_]
    level: Array


WAITING = 2
"""Parts that wait before the way through the oldest is settled: by then all ways have long met."""


def follow(several: Iterable[Frames]) -> Iterator[Followed]:
    """Yield the best way through all frames, stretch by stretch, with bounded changes of speed."""
    waiting: deque[tuple[Frames, Any]] = deque()
    standing: Any = None
    for frames in several:
        steps, standing = _go_on(frames.scores, standing)
        waiting.append((frames, steps))
        if len(waiting) > WAITING:
            yield _settled(waiting, int(standing.argmax()))[0]
            waiting.popleft()
    if waiting:
        yield from _settled(waiting, int(standing.argmax()))


def _go_on(scores: Array, standing: Any) -> tuple[Any, Any]:
    """How each speed of each frame is best come to, in steps from the frame before; and how well each stands at last."""
    moves = np.arange(-QUICKEST, QUICKEST + 1)
    cost = (0.01 * np.abs(moves) + 0.004 * moves**2).astype(np.float32)[:, None]
    width = scores.shape[1]
    every = np.arange(width)
    steps = np.zeros(scores.shape, dtype=np.int8)
    beside = np.full(width + 2 * QUICKEST, -1e9, dtype=np.float32)
    shifted = np.lib.stride_tricks.sliding_window_view(beside, width)
    for number, score in enumerate(scores):
        if standing is None:
            standing = score
            continue
        beside[QUICKEST:-QUICKEST] = standing
        come = shifted - cost
        chosen = come.argmax(axis=0)
        standing = come[chosen, every] + score
        standing = standing - standing.max()
        steps[number] = moves[chosen]
    return steps, standing


def _settled(waiting: Iterable[tuple[Frames, Any]], place: int) -> list[Followed]:
    """Go back from `place`, the best at the end, through all that waits."""
    found = []
    for frames, steps in reversed(list(waiting)):
        places = np.empty(len(steps), dtype=int)
        for number in range(len(steps) - 1, -1, -1):
            places[number] = place
            place += int(steps[number, place])
        at = np.arange(len(places))
        pulse = SPEEDS[places].astype(np.float32)
        found.append(Followed(pulse, frames.scores[at, places], frames.halved[at, places], frames.level))
    return found[::-1]
