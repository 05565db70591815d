"""Invented engine sounds, made in time and pressure, to try the listening on: no real recording exists here.

Nothing of the analyser is used. A turn is a pressure pulse at the exhaust port that goes through a pipe and a can
(resonators), with gas noise that follows the pulse, intake breath and clatter that come every turn whether it fired or
not, a rotor or propeller, wind with gusts, and what a phone does to it. All of it is from memory of such engines; the
rotor's reach to 2.9 kHz follows NASA/NTRS 20040110387, which counts harmonics 7 to 30 of a 96 Hz blade pass as
blade-vortex noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Array = NDArray[np.float64]

IN_BAND = (200.0, 6000.0)
"""Hz between which the level of the engine is held against that of wind and hiss: the signal-to-noise ratio."""


@dataclass(frozen=True)
class Sound:
    """One invented recording and all that is true of it."""

    seconds: float = 20.0
    rate: int = 44_100
    speed: Callable[[Array], Array] = lambda t: np.full_like(t, 12_000.0)  # rpm over seconds
    share: float = 0.0  # of the turns, in stretches of four-stroking
    stretch: float = 1.2  # seconds of one such stretch, on average
    stretches: tuple[tuple[float, float], ...] | None = None  # where it four-strokes, in seconds; instead of share
    missed: float = 0.0  # strength of a turn that did not fire, 1 as strong as one that did
    slip: float = 0.0  # chance at each pair of turns that the beat changes foot
    random_miss: float = 0.0  # chance of each turn to miss, in no order
    strength_jitter: float = 0.12
    timing_jitter: float = 0.006  # of a turn
    firings: int = 1  # a turn
    unlike: float = 0.0  # how much weaker every second cylinder is
    cuts: tuple[tuple[float, float], ...] = ()  # (from, to) in seconds without a spark, while it turns on
    dies: float | None = None  # second at which the spark goes for good
    noise: float | None = 20.0  # engine over wind and hiss, dB; None for none
    rotor: float | None = None  # rotor over engine, dB
    blades: int = 2
    ratio: float = 8.0
    slapping: bool = False  # the rotor reaches to 2.9 kHz instead of 0.5
    clip: float | None = None  # share of the peak at which it is cut off
    passes: float | None = None  # m/s at which it flies past, 15 m away when nearest, half-way through
    phone: bool = False
    seed: int = 1


@dataclass(frozen=True)
class Recording:
    """Samples between -1 and 1, and the truth: turns (seconds each began), which four-stroked, which missed."""

    samples: Array
    rate: int
    turns: Array
    four_stroked: NDArray[np.bool_]
    fired: NDArray[np.bool_]
    truth: Sound = field(repr=False)

    @property
    def share(self) -> float:
        """Share of the time spent four-stroking."""
        spans = np.diff(self.turns, append=self.turns[-1:])
        return float(spans[self.four_stroked].sum() / max(spans.sum(), 1e-9))

    def rpm(self, at: Array) -> Array:
        """The true speed at these seconds."""
        return self.truth.speed(np.asarray(at, dtype=float))


def hover(middle: float = 12_000.0) -> Callable[[Array], Array]:
    """A held speed with the slow wander of a governed engine, one per cent."""
    return lambda t: middle * (1 + 0.006 * np.sin(2 * np.pi * t / 7.0) + 0.004 * np.sin(2 * np.pi * t / 2.3 + 1))


def flight(lowest: float = 1_800.0, highest: float = 13_000.0, seconds: float = 20.0) -> Callable[[Array], Array]:
    """Idle, up, work with changes of speed, down, idle."""
    knots = np.array([0, 0.16, 0.24, 0.42, 0.46, 0.6, 0.64, 0.8, 0.9, 1.0]) * seconds
    speeds = np.array([0, 0, 0.85, 0.87, 1.0, 0.97, 0.7, 0.72, 0.02, 0.0]) * (highest - lowest) + lowest
    return lambda t: np.interp(t, knots, speeds) * (1 + 0.004 * np.sin(2 * np.pi * t / 1.7))


def make(sound: Sound) -> Recording:
    """Return the recording of an invented engine."""
    chance = np.random.default_rng(sound.seed)
    n, rate = int(sound.seconds * sound.rate), sound.rate
    t = np.arange(n) / rate
    speed = sound.speed(t)
    if sound.dies is not None:  # no more firing; what turns runs down
        held = float(np.interp(sound.dies, t, speed))
        speed = np.where(t < sound.dies, speed, held * np.exp(-(t - sound.dies) / 0.8))
    turned = np.cumsum(speed) / 60.0 / rate
    turns = np.interp(np.arange(1, int(turned[-1])), turned, t)
    four = _stretches(sound, turns, chance)
    strength, fired = _strengths(sound, turns, four, chance)
    if sound.dies is not None:
        strength[turns >= sound.dies] = 0.0
        fired &= turns < sound.dies
    pulses = _exhaust(sound, t, turns, strength, chance)
    quiet = _each_turn(sound, n, turns, chance)
    engine = pulses + quiet * 0.25 * _rms(pulses) / max(_rms(quiet), 1e-12)
    engine /= max(_band_level(engine, rate), 1e-12)
    heard = engine
    if sound.rotor is not None:
        rotor = _rotor(sound, t, turned, chance)
        heard = heard + rotor / max(_rms(rotor), 1e-12) * _rms(engine) * 10 ** (sound.rotor / 20)
    if sound.passes is not None:
        heard = _flown_past(heard, rate, sound.passes, sound.seconds / 2)
    if sound.noise is not None:
        wind = _wind(n, rate, chance)
        heard = heard + wind / _band_level(wind, rate) * 10 ** (-sound.noise / 20)
    if sound.phone:
        heard, rate = _phone(heard, rate)
    heard = heard / np.percentile(np.abs(heard), 99.9) * 0.7
    if sound.clip is not None:
        heard = np.clip(heard, -sound.clip, sound.clip) / sound.clip * 0.98
    return Recording(np.clip(heard, -1, 1), rate, turns, four, fired, sound)


def _rms(x: Array) -> float:
    return float(np.sqrt(np.mean(x * x)))


def _band_level(x: Array, rate: int) -> float:
    high = min(IN_BAND[1], 0.45 * rate)
    return _rms(signal.sosfilt(signal.butter(4, (IN_BAND[0], high), "band", fs=rate, output="sos"), x))


def _stretches(sound: Sound, turns: Array, chance: np.random.Generator) -> NDArray[np.bool_]:
    """Which turns lie in a stretch of four-stroking."""
    inside = np.zeros(turns.size, dtype=bool)
    if sound.stretches is not None:
        for start, end in sound.stretches:
            inside |= (turns >= start) & (turns < end)
        return inside
    if sound.share >= 1:
        return ~inside
    if sound.share <= 0:
        return inside
    at, burbling = 0.0, chance.random() < sound.share
    clean = sound.stretch * (1 - sound.share) / sound.share
    while at < sound.seconds:
        span = (sound.stretch if burbling else clean) * chance.uniform(0.5, 1.5)
        inside |= burbling & (turns >= at) & (turns < at + span)
        at, burbling = at + span, not burbling
    return inside


def _strengths(
    sound: Sound, turns: Array, four: NDArray[np.bool_], chance: np.random.Generator
) -> tuple[Array, NDArray[np.bool_]]:
    """How strong each turn fires. In a four-stroking stretch every second one misses."""
    fired = np.ones(turns.size, dtype=bool)
    foot = 0
    for place in np.flatnonzero(four):
        if sound.slip and place % 2 == 0 and chance.random() < sound.slip:
            foot ^= 1
        fired[place] = (place + foot) % 2 == 0
    fired &= ~((chance.random(turns.size) < sound.random_miss) & ~four)
    strength = np.where(fired, 1.0, sound.missed)
    for start, end in sound.cuts:
        strength[(turns >= start) & (turns < end)] = 0.0
    # A charge that waited a turn burns a little better; a fresh one after a miss is a little stronger.
    strength[1:] *= np.where(~fired[:-1] & fired[1:], 1.15, 1.0)
    jitter = np.exp(sound.strength_jitter * chance.standard_normal(turns.size))
    return strength * jitter, fired


def _exhaust(sound: Sound, t: Array, turns: Array, strength: Array, chance: np.random.Generator) -> Array:
    """Blow-down pulses through pipe and can, with the hiss of the gas behind each."""
    n, rate = t.size, sound.rate
    train = np.zeros(n + 2)
    span = np.diff(turns, append=turns[-1] + (turns[-1] - turns[-2] if turns.size > 1 else 0.01))
    for cylinder in range(sound.firings):
        at = turns + span * (cylinder / sound.firings + sound.timing_jitter * chance.standard_normal(turns.size))
        place = np.clip(at * rate, 0, n - 1)
        whole = place.astype(int)
        how = strength * (1 - sound.unlike * (cylinder % 2))
        np.add.at(train, whole, how * (1 - (place - whole)))
        np.add.at(train, whole + 1, how * (place - whole))
    train = train[:n]
    # A pulse that rises in a quarter of a millisecond and is gone in a few.
    shape_t = np.arange(int(0.006 * rate)) / rate
    shape = np.exp(-shape_t / 0.0009) - np.exp(-shape_t / 0.00025)
    blow = signal.oaconvolve(train, shape)[:n]
    hiss = signal.oaconvolve(train, np.exp(-shape_t / 0.0015))[:n] * chance.standard_normal(n)
    source = blow + 0.25 * hiss
    heard = 0.5 * source
    for frequency, quality, gain in ((190, 3, 1.0), (560, 5, 0.9), (950, 7, 0.8), (1720, 8, 0.6), (2900, 9, 0.35)):
        if frequency < 0.45 * rate:
            b, a = signal.iirpeak(frequency, quality, fs=rate)
            heard = heard + 3.0 * gain * signal.lfilter(b, a, source)
    return np.diff(heard, prepend=0.0) * 3 + 0.2 * heard  # radiated: high frequencies gain


def _each_turn(sound: Sound, n: int, turns: Array, chance: np.random.Generator) -> Array:
    """Intake breath and clatter: every turn, fired or not."""
    envelope = np.zeros(n)
    span = np.diff(turns, append=turns[-1] + 0.005)
    for at, how in ((0.42, 1.0), (0.07, 0.4)):
        places = np.clip(((turns + at * span) * sound.rate).astype(int), 0, n - 1)
        np.add.at(envelope, places, how * np.exp(0.25 * chance.standard_normal(turns.size)))
    decay = np.exp(-np.arange(int(0.004 * sound.rate)) / (0.0012 * sound.rate))
    return signal.oaconvolve(envelope, decay)[:n] * chance.standard_normal(n)


def _rotor(sound: Sound, t: Array, turned: Array, chance: np.random.Generator) -> Array:
    """Blade pass and its harmonics, geared to the engine."""
    passed = turned * sound.blades / sound.ratio
    pass_rate = float(np.median(np.diff(passed)) * sound.rate)
    most = min(2_900.0 if sound.slapping else 530.0, 0.45 * sound.rate)
    rotor = np.zeros(t.size)
    for harmonic in range(1, max(int(most / max(pass_rate, 1.0)), 1) + 1):
        fall = harmonic**-0.5 if sound.slapping else harmonic**-0.8
        rotor += fall * np.cos(2 * np.pi * (harmonic * passed + chance.random()))
    return rotor * (1 + 0.2 * np.sin(2 * np.pi * 0.7 * t))


def _flown_past(heard: Array, rate: int, speed: float, middle: float, away: float = 15.0) -> Array:
    """The same from a machine that flies by: later and weaker the farther it is, so its pitch falls as it passes."""
    t = np.arange(heard.size) / rate
    distance = np.hypot(speed * (t - middle), away)
    arrives = t + (distance - distance[0]) / 340.0
    return np.interp(t, arrives, heard / np.maximum(distance / away, 1.0))


def _wind(n: int, rate: int, chance: np.random.Generator) -> Array:
    """Wind (falls with frequency, comes in gusts) and as much hiss in the band of the engine."""
    spectrum = np.fft.rfft(chance.standard_normal(n))
    frequency = np.fft.rfftfreq(n, 1 / rate)
    pink = np.fft.irfft(spectrum / np.sqrt(np.maximum(frequency, 20.0)), n)
    knots = np.arange(0, n / rate + 1.0, 0.7)
    gusts = np.interp(np.arange(n) / rate, knots, np.exp(0.35 * chance.standard_normal(knots.size)))
    hiss = chance.standard_normal(n)
    return pink / _band_level(pink, rate) * gusts + hiss / _band_level(hiss, rate)


def _phone(heard: Array, rate: int) -> tuple[Array, int]:
    """Nothing under 300 Hz, 16 kHz, and a gain that follows the loudness."""
    high = signal.sosfilt(signal.butter(4, 300, "high", fs=rate, output="sos"), heard)
    low = signal.resample_poly(high, 16_000, rate)
    level = np.sqrt(np.maximum(signal.lfilter([0.0005], [1, -0.9995], low * low), 1e-9))
    return low / (level + 0.2 * float(np.median(level))), 16_000
