"""hear(): a recording, and what is known of it, to what can be heard in it, twenty times a second.

The file is read twice. The first time the pulse is followed through all of it, for what a burst is (a turn, or every
other one) is only settled by the whole; the second time it is cut at every turn.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from .blades import BladeLines
from .comb import Frames, frames_of
from .envelope import Part, envelopes, parts
from .four_stroking import beat_of
from .known import Known
from .over_frames import STEP, runs
from .pulse import Followed, follow
from .recording import Array, NotHeard, Passed, Recording, blocks, find
from .slips import unslipped
from .speed import Octave, settle
from .turns import NO_TURNS, Turns, turns_of

CLEAR = 0.32
"""How well a speed must explain the sound before an engine is heard in it. Wind alone, followed for minutes, stays under
0.30; of frames over 0.32 in noise 97 in a hundred have the right speed (measured on invented sounds)."""

CLEAR_OVER = 10
"""Frames over which that is taken."""

SPEED_OVER = 5
"""Frames over which a speed is taken: an idle has one turn in one frame and two in the next."""

SURE, UNSURE = 0.9, 0.1
"""How sure a turn must be of standing in a four-stroking stretch to count for certain, and to count at all."""

MISSED = 0.35
"""Strength under which a burst counts as missed, 1 being the middle one of those around it."""

RUN_OF_MISSES = 5
"""Turns missed in a row that make a hiccup: more than any four-stroking."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What can be heard, frame by frame (STEP seconds each, from the beginning); all arrays are as long as `at`.

    running  the engine is heard          rpm      its speed; NaN where it is not heard
    level    decibels                     four     share of the frame spent four-stroking
    surely, perhaps  the least and the most of that share       clear  how well the speed explains the sound
    missed   share of its turns that look missed outside four-stroking; chance: of which noise alone makes so many
    hiccups  seconds at which it missed several turns in a row
    contrast how much weaker a missed turn of the four-stroking is, 0 to 1; noise: scatter of the turns; foreign: how
             strong a beat goes along that is not the engine's
    """

    recording: Recording
    known: Known
    seconds: float
    whole: bool
    clipped: float
    octave: Octave
    at: Array
    running: Any
    rpm: Array
    level: Array
    clear: Array
    four: Array
    surely: Array
    perhaps: Array
    missed: Array
    chance: Array
    noise: Array
    foreign: Array
    hiccups: tuple[float, ...]
    contrast: float


def hear(path: Path, known: Known = Known()) -> Heard:  # noqa: B008 - Known is immutable
    """Return what can be heard in the recording at `path`. Raises NotHeard."""
    recording = find(path)
    passed = Passed()
    blades = BladeLines(known.blades / known.gear / known.firings) if known.gear else None
    followed, clipped = _first_reading(recording, passed, known, blades)
    clear = _smooth(followed.clear)
    running = _lasting(clear >= CLEAR)
    pulse, halved = unslipped(followed.pulse, followed.halved, followed.clear)
    octave, factors = settle(pulse * np.float32(60 / known.firings), halved, followed.clear, running, known, blades)
    at = (np.arange(len(running)) + 0.5) * STEP
    gathered = _Gathered(at, running, known.firings)
    for part in _parts(recording):
        gathered.take(part, pulse * factors)
    return Heard(
        recording=recording,
        known=known,
        seconds=passed.seconds,
        whole=passed.whole,
        clipped=clipped,
        octave=octave,
        at=at.astype(np.float32),
        running=running,
        level=followed.level,
        clear=clear,
        hiccups=tuple(gathered.hiccups),
        contrast=gathered.contrast,
        **gathered.frames(),
    )


def _parts(recording: Recording, passed: Passed | None = None) -> Iterator[Part]:
    return parts(envelopes(blocks(recording, passed), recording.rate))


def _first_reading(recording: Recording, passed: Passed, known: Known, blades: BladeLines | None) -> tuple[Followed, float]:
    """The pulse through the whole recording, and the share of the samples that are clipped."""
    clipped: list[float] = []
    deep: list[Array] = []

    def frames() -> Iterator[Frames]:
        for part in _parts(recording, passed):
            clipped.append(part.clipped)
            if blades is not None:
                deep.append(part.low)
            yield frames_of(part, known.firings)

    several = []
    for stretch in follow(frames()):
        if blades is not None:
            blades.listen(deep.pop(0), stretch.pulse, _smooth(stretch.clear) >= CLEAR)
        several.append(stretch)
    if not several:
        raise NotHeard(f"{recording.path}: holds too little sound; half a minute is good")
    joined = (np.concatenate([getattr(one, name) for one in several]) for name in ("pulse", "clear", "halved", "level"))
    return Followed(*joined), float(np.mean(clipped))


def _missed_by_chance(strength: Any) -> float:
    """Share of turns that look missed though they fired: the weaker half of those that do not look missed, taken for
    half a bell, says how far strengths scatter."""
    from scipy.special import ndtr

    fired = strength[strength >= MISSED]
    if len(fired) < 50:
        return 1.0
    quartile, middle = np.percentile(fired, (25, 50))
    scatter = max(float(middle - quartile) / 0.6745, 0.05)
    return float(ndtr((MISSED - middle) / scatter))


def _over_some(sums: Any) -> Any:
    """Sums over SPEED_OVER frames around each."""
    from scipy.ndimage import uniform_filter1d

    return uniform_filter1d(sums, SPEED_OVER, mode="nearest") * SPEED_OVER


def _lasting(running: Any) -> Any:
    """Without what lasts less than half a second: no engine, but a gust that kept time."""
    from scipy.ndimage import binary_opening

    return binary_opening(np.pad(running, CLEAR_OVER, mode="edge"), np.ones(CLEAR_OVER))[CLEAR_OVER:-CLEAR_OVER]


def _smooth(clear: Array) -> Array:
    from scipy.ndimage import uniform_filter1d

    smooth: Array = uniform_filter1d(clear, CLEAR_OVER, mode="nearest")
    return smooth


@dataclass
class _Gathered:
    """Turns of part after part, put together by frames: sums over the turns that began in each."""

    at: Any
    running: Any
    firings: int
    hiccups: list[float] = field(default_factory=list)
    _contrasts: list[tuple[float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        names = ("turns", "span", "four", "surely", "perhaps", "missed", "chance", "noise", "foreign")
        self._sums = {name: np.zeros(len(self.at)) for name in names}

    def take(self, part: Part, pulse: Any) -> None:
        """Cut a part into its turns and add them to the frames they began in; its halo is cut off again."""
        near = slice(max(int(part.start / STEP) - 40, 0), int((part.start + part.seconds) / STEP) + 40)
        turns = turns_of(part, self.at[near], pulse[near], self.running[near], self.firings)
        if turns is NO_TURNS:
            return
        frame = np.minimum((turns.at / STEP).astype(int), len(self.at) - 1)
        four, strength = np.zeros(len(turns.at)), np.zeros(len(turns.at))
        for cylinder in range(self.firings):
            beat = beat_of(turns.strength[cylinder :: self.firings])
            four[cylinder :: self.firings], strength[cylinder :: self.firings] = beat.four, beat.strength
            self._contrasts.append((float(beat.four.sum()), beat.contrast))
        inner = (turns.at >= part.start) & (turns.at < part.start + part.seconds)
        plain = four < 0.5
        chance = _missed_by_chance(strength[plain])
        self._hiccup(turns, strength, inner & plain)
        for name, value in (
            ("turns", np.ones(len(four))),
            ("span", turns.span),
            ("four", turns.span * four),
            ("surely", turns.span * (four > SURE)),
            ("perhaps", turns.span * (four > UNSURE)),
            ("missed", plain & (strength < MISSED)),
            ("chance", plain * chance),
            ("noise", np.full(len(four), turns.noise)),
            ("foreign", np.full(len(four), turns.foreign)),
        ):
            self._sums[name] += np.bincount(frame[inner], (value * 1.0)[inner], minlength=len(self.at))

    def _hiccup(self, turns: Turns, strength: Any, counts: Any) -> None:
        from scipy.ndimage import uniform_filter1d

        # Over as many turns: noise makes one of them look like a firing, and every other one is four-stroking.
        weak = (uniform_filter1d(np.clip(strength, -1, 2), RUN_OF_MISSES, mode="nearest") < MISSED) & counts
        for run in runs(weak, RUN_OF_MISSES * self.firings):
            middle = int(turns.at[run.start] / STEP)
            if self.running[max(middle - 10, 0) : middle + 10].all():
                self.hiccups.append(float(turns.at[run.start]))

    @property
    def contrast(self) -> float:
        """How much weaker a missed turn is, over all four-stroking: 1 - missed / fired."""
        weight = sum(count for count, _ in self._contrasts)
        if weight < 1:
            return 0.0
        half = min(sum(count * contrast for count, contrast in self._contrasts) / weight, 1.0)
        return 2 * half / (1 + half)

    def frames(self) -> dict[str, Array]:
        """The frames as Heard holds them."""
        turns, span = np.maximum(self._sums["turns"], 1e-9), np.maximum(self._sums["span"], 1e-9)
        shares = {name: self._sums[name] / span for name in ("four", "surely", "perhaps")}
        shares |= {name: self._sums[name] / turns for name in ("missed", "chance", "noise", "foreign")}
        seen = _over_some(self._sums["turns"])
        speed = 60 / self.firings * seen / np.maximum(_over_some(self._sums["span"]), 1e-9)
        rpm = np.where(self.running & (seen > 0.5), speed, np.nan)
        return {name: value.astype(np.float32) for name, value in (*shares.items(), ("rpm", rpm))}
