"""Pulse -> turns: the envelope cut at every burst, and how strong each burst was.

The speed that was followed is good to half a per cent; over a hundred bursts that is half a turn. So the angle is set
right by the phase of the bursts themselves before the cut. The strength of a burst is how far it has the shape that the
bursts around it have on average, so a turn that did not fire counts for near nothing even where its breath is heard.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .envelope import RATE, Part
from .recording import Array

ANGLES = 16
"""Values of envelope in one turn."""

PHASE_OVER = 8
"""Bursts over which the phase is taken: it may not follow a single late one."""

SHAPE_OVER = 64
"""Bursts over which the shape of a burst is taken."""


FOREIGN_OVER, FOREIGN_TO, BESIDE = 128, 3.0, 0.07
"""Turns over which a beat that goes along must be steady; beats to a turn up to which it is looked for; and how far it
must stand from every beat of firing."""


LEAST_FOREIGN = 0.1
"""A foreign beat weaker than this is only noise."""


@dataclass(frozen=True, slots=True)
class Turns:
    """Bursts, one after the other. at: seconds of each. span: seconds it lasted. strength: 1 as strong as those around
    it on average. noise: what `strength` scatters by without any engine's doing, as a standard deviation. foreign: how
    strong a beat goes along, in the band that is freest of it, that no firing makes (a rotor); 1 as strong as the turns."""

    at: Array
    span: Array
    strength: Array
    noise: float
    foreign: float


_NONE: Array = np.empty(0, dtype=np.float32)
NO_TURNS = Turns(_NONE, _NONE, _NONE, noise=1.0, foreign=0.0)


def turns_of(part: Part, frames_at: Any, pulse: Any, running: Any, firings: int) -> Turns:
    """Return the bursts of a part, halo and all. frames_at: seconds of frames; pulse: bursts a second there; running:
    whether an engine is heard, for only such turns count and are learned from."""
    count = part.bands.shape[1]
    at = part.start + (np.arange(count) - part.before) / RATE
    speed = np.exp(np.interp(at, frames_at, np.log(_median_of_three(np.asarray(pulse, dtype=float)))))
    level = part.bands.mean(axis=1, keepdims=True) + 1e-12
    angle, when = _set_right((part.bands / level).mean(axis=0), np.cumsum(speed) / RATE, at)
    first, last = int(np.ceil(angle[0])), int(angle[-1])
    if last - first < 3:
        return NO_TURNS
    cuts = np.interp(np.arange(first * ANGLES, last * ANGLES + 1) / ANGLES - 0.5, angle, when)
    starts = cuts[::ANGLES]
    middle, span = (starts[:-1] + starts[1:]) / 2, np.diff(starts)
    seen = np.interp(middle, frames_at, running) > 0.5
    if seen.sum() < 3:
        return NO_TURNS
    middle, span = middle[seen], span[seen]
    bands = [np.interp(cuts[:-1], at, band).reshape(-1, ANGLES)[seen] for band in part.bands]
    foreign = np.array([_foreign(cut, firings) for cut in bands])
    strength, noise = _weighed(np.array([_strength(cut) for cut in bands]), foreign)
    return Turns(
        middle.astype(np.float32), span.astype(np.float32), strength.astype(np.float32), noise, float(foreign.min())
    )


def _foreign(cut: Any, firings: int) -> float:
    """The strongest steady line in one band, of turns (turns, ANGLES), that stands on no beat of firing and none of
    firing every other time; over the line of the turns themselves."""
    from scipy.signal import welch

    level = cut.ravel() / max(float(cut.mean()), 1e-9)
    length = min(FOREIGN_OVER * ANGLES, level.size)
    order, power = welch(level - 1, fs=ANGLES, nperseg=length, scaling="spectrum")
    steps = order * 2 * firings
    apart = np.abs(steps - np.round(steps)) / (2 * firings) > BESIDE / firings
    between = apart & (order > BESIDE) & (order < FOREIGN_TO)
    own = power[np.abs(order - 1) < 0.03]
    if not between.any() or not own.size:
        return 0.0
    return float(np.sqrt(power[between].max() / max(float(own.max()), 1e-12)))


def _median_of_three(x: Any) -> Any:
    wide = np.pad(x, 1, mode="edge")
    return np.maximum(np.minimum(wide[:-2], wide[1:-1]), np.minimum(np.maximum(wide[:-2], wide[1:-1]), wide[2:]))


def _set_right(envelope: Any, angle: Any, at: Any) -> tuple[Any, Any]:
    """The angle in turns, 0 at a burst, and the seconds it stands at: quarter turn by quarter turn."""
    from scipy.signal import butter, sosfiltfilt

    swell = sosfiltfilt(butter(2, 3.0, fs=RATE, output="sos"), envelope)
    turning = (envelope / np.maximum(swell, 1e-9) - 1) * np.exp(-2j * np.pi * angle)
    quarters = np.arange(angle[0], angle[-1], 0.25)
    run = np.interp(quarters, angle, np.cumsum(turning.real)) + 1j * np.interp(quarters, angle, np.cumsum(turning.imag))
    over = min(4 * PHASE_OVER, max(len(run) - 1, 1))
    phasor = run[over:] - run[:-over]
    phase = np.unwrap(np.angle(np.pad(phasor, (over // 2, len(run) - len(phasor) - over // 2), mode="edge"))) / (2 * np.pi)
    return np.maximum.accumulate(quarters + phase), np.interp(quarters, angle, at)


def _strength(cut: Any) -> Any:
    """How far each turn, (turns, ANGLES), has the shape of those around it: 1 on average."""
    from scipy.ndimage import uniform_filter1d

    shape = uniform_filter1d(cut, SHAPE_OVER, axis=0, mode="nearest")
    shape -= shape.mean(axis=1, keepdims=True)
    return (cut * shape).sum(axis=1) / ((shape**2).sum(axis=1) + 1e-9)


def _weighed(several: Any, foreign: Any) -> tuple[Any, float]:
    """The bands put together, and how much they scatter. A band counts by how little it scatters from a turn to the next
    but one, where four-stroking is alike, and by how little of a foreign beat is in it."""
    clipped = np.clip(several, -3.0, 5.0)
    scatter = np.median(np.abs(clipped[:, 2:] - clipped[:, :-2]), axis=1) / 0.954 + 1e-6
    weight = (scatter * np.maximum(foreign, LEAST_FOREIGN)) ** -2.0
    strength = (several * weight[:, None]).sum(axis=0) / weight.sum()
    clipped = np.clip(strength, -3.0, 5.0)
    return strength, float(np.median(np.abs(clipped[2:] - clipped[:-2])) / 0.954)
