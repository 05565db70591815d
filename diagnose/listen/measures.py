"""What was heard -> what is measured: numbers with how far they may be off, or the reason why nobody can tell.

The names are those of knowledge.hearing.MEASURED; the rules judge them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from .events import Dip, Stop, dips_of, hiccups_of, stop_of
from .hearing import Heard
from .over_frames import STEP, closed, filled, lasting, smooth
from .stretches import Phases, Swing, phases, swings

LEAST_OF_IT = 3.0
"""Seconds of idle, of power or of load before anything is said of them."""

LEAST_TO_SWING = 8.0
"""Seconds in which a swing can be seen."""

LEAST_TO_DRIFT = 10.0
"""Seconds of idle before a drift is more than a wander."""

LEAST_SWINGS = 2.0
"""Times to and fro in a window before it is more than the speed going down once and coming back."""

TOO_NOISY = 0.62
"""Scatter of the turns, 1 their own strength, over which four-stroking is not told: noise as strong as the engine."""

FOREIGN = 0.3
"""Strength of a beat that goes along, 1 that of the engine, over which it may pass for four-stroking."""

BEFORE = 2.0
"""Seconds before a load comes on whose speed it is held against."""

BACK = 0.015
"""How near the old speed counts as back."""


@dataclass(frozen=True, slots=True)
class Measure:
    """A number in its unit, from `low` to `high` at the worst; `where` it was heard ('' all over). Without a number,
    `why` says what it would take."""

    value: float | None = None
    low: float = 0.0
    high: float = 0.0
    where: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Measured:
    """All that was measured in a recording, by name, and what happened in it."""

    of: Mapping[str, Measure]
    phases: Phases
    stop: Stop | None
    dips: tuple[Dip, ...]
    hiccups: tuple[float, ...]


def clock(seconds: float) -> str:
    """Seconds as a player shows them: 75.3 -> '1:15'."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def spans(frames: Any, most: int = 3) -> str:
    """Where frames lie, as a player shows it: '0:02-0:10, 0:15-0:21'; the longest few in their order."""
    found = sorted(lasting(closed(frames, 1.0), 1.0), key=lambda run: run.start - run.stop)
    longest = sorted(found[:most], key=lambda run: run.start)
    said = ", ".join(f"{clock(run.start * STEP)}-{clock(run.stop * STEP)}" for run in longest)
    return said + (" and elsewhere" if len(found) > most else "")


def measured(heard: Heard) -> Measured:
    """Return all that can be measured of what was heard."""
    stop = stop_of(heard)
    when = phases(heard, None if stop is None else stop.at)
    surges = swings(heard, when.power)
    found: dict[str, Measure] = {}
    loaded, unloaded = _given(heard, heard.known.loads), _given(heard, heard.known.unloads)
    asked = "say when it worked hard and when the load came off"
    found["share-idle"] = _share(heard, when.idle, "no idle in it")
    found["share-power"] = _share(heard, when.power, "no run at power in it")
    found["share-loaded"] = _share(heard, when.power & loaded, asked if not heard.known.loads else "too short under load")
    found["share-unloaded"] = _share(heard, unloaded & heard.running, asked if not heard.known.unloads else "too short")
    found["misses-power"] = _misses(heard, when.power)
    hiccups = hiccups_of(heard, when.power)
    found["hiccups-power"] = _hiccups(heard, when.power, hiccups)
    found |= _idle(heard, when)
    found |= _surge(surges)
    found |= _sag(heard, when, asked)
    found |= _stop(heard, stop)
    regular = found["surge-alike"].value or 0.0
    dips = () if regular > 50 else tuple(dips_of(heard, when.power))
    return Measured(MappingProxyType(found), when, stop, dips, hiccups)


def _given(heard: Heard, spans_given: tuple[tuple[float, float], ...]) -> Any:
    frames = np.zeros(len(heard.at), dtype=bool)
    for start, end in spans_given:
        frames |= (heard.at >= start) & (heard.at < end)
    return frames


def _share(heard: Heard, frames: Any, absent: str) -> Measure:
    """Share of the time spent four-stroking, in percent."""
    if frames.sum() * STEP < LEAST_OF_IT:
        return Measure(why=absent)
    if not heard.octave.certain:
        return Measure(why="two readings of the speed are possible")
    noise = float(np.mean(heard.noise[frames]))
    if noise > TOO_NOISY:
        return Measure(why="one beat is too unlike the next, or there is too much noise")
    if float(np.mean(heard.foreign[frames])) > FOREIGN:
        return Measure(why="something else beats along, most likely the rotor")
    # What the chain of states is unsure of, half a point always, and more as noise nears the strength of the turns.
    margin = 0.005 + 0.15 * max(noise - 0.3, 0.0)
    low = max(float(np.mean(heard.surely[frames])) - margin, 0.0)
    high = min(float(np.mean(heard.perhaps[frames])) + margin, 1.0)
    value = float(np.mean(heard.four[frames]))
    return Measure(100 * value, 100 * low, 100 * high, spans(frames & (heard.four > 0.5)))


def _misses(heard: Heard, power: Any) -> Measure:
    if power.sum() * STEP < LEAST_OF_IT:
        return Measure(why="no run at power in it")
    if not heard.octave.certain:
        return Measure(why="two readings of the speed are possible")
    chance = float(np.mean(heard.chance[power]))
    value = float(np.mean(heard.missed[power])) - chance
    margin = 0.003 + 2.5 * chance
    if margin > 0.15:
        return Measure(why="too much noise")
    return Measure(100 * max(value, 0.0), 100 * max(value - margin, 0.0), 100 * max(value + margin, 0.0))


def _hiccups(heard: Heard, power: Any, hiccups: tuple[float, ...]) -> Measure:
    seconds = float(power.sum() * STEP)
    if seconds < LEAST_OF_IT:
        return Measure(why="no run at power in it")
    rate = 60.0 / max(seconds, 10.0)
    many = len(hiccups)
    return Measure(many * rate, max(many - 0.5, 0) * rate, (many + 0.5) * rate if many else 0.0,
                   ", ".join(clock(at) for at in hiccups[:6]))  # fmt: skip


def _idle(heard: Heard, when: Phases) -> dict[str, Measure]:
    swing = swings(heard, when.idle)
    found = {"idle-swing": Measure(why=f"less than {LEAST_TO_DRIFT:g} seconds of idle in one piece")}
    if swing:
        depths = [100 * one.depth for one in swing]
        value = float(np.median(depths))
        margin = max(0.7, 0.12 * value)
        found["idle-swing"] = Measure(value, value - margin, value + margin, spans(when.idle))
    found["idle-drift"] = Measure(why=f"less than {LEAST_TO_DRIFT:g} seconds of idle in one piece")
    longest = max(lasting(closed(when.idle, 1.0), LEAST_TO_DRIFT), key=lambda run: run.stop - run.start, default=None)
    if longest is not None:
        from scipy.stats import theilslopes

        speed = filled(heard.rpm[longest])[:: int(0.5 / STEP)]
        slope, _, low, high = (120 * 100 * x / np.median(speed) for x in theilslopes(speed))
        found["idle-drift"] = Measure(slope, min(low, slope - 2), max(high, slope + 2), spans(when.idle))
    return found


def _surge(found: list[Swing]) -> dict[str, Measure]:
    if not found:
        why = f"less than {LEAST_TO_SWING:g} seconds at power with the throttle left alone"
        return dict.fromkeys(("surge-depth", "surge-period", "surge-alike"), Measure(why=why))
    depth = 100 * float(np.percentile([one.depth for one in found], 70))
    margin = max(0.7, 0.12 * depth)
    deep = [one for one in found if one.depth >= 0.6 * depth / 100 and one.swings >= LEAST_SWINGS]
    measures = {"surge-depth": Measure(depth, max(depth - margin, 0), depth + margin)}
    if len(deep) < max(len(found) // 3, 1):
        return measures | dict.fromkeys(("surge-period", "surge-alike"), Measure(why="it does not go to and fro"))
    alike = 100 * float(np.median([one.regular for one in deep]))
    periods = [one.period for one in deep if one.period] or [0.0]
    period = float(np.median(periods))
    away = max(0.05 * period, STEP, float(np.median(np.abs(np.array(periods) - period))))
    return measures | {
        "surge-period": Measure(period, period - away, period + away) if period else Measure(why="no rhythm in it"),
        "surge-alike": Measure(alike, max(alike - 8, 0), min(alike + 8, 100)),
    }


def _sag(heard: Heard, when: Phases, asked: str) -> dict[str, Measure]:
    """The deepest sag of the loads that were given, and how soon the speed was back after it."""
    if not heard.known.loads:
        return dict.fromkeys(("sag-depth", "sag-recovery"), Measure(why=asked))
    speed = smooth(filled(heard.rpm), 0.3)
    seen = heard.running & np.isfinite(heard.rpm)
    deepest = Measure(why="too little is heard before or during the load")
    recovery = Measure(why="it did not sag, or the load stayed on to the end")
    for start, end in heard.known.loads:
        before = (heard.at >= start - BEFORE) & (heard.at < start) & seen
        during = (heard.at >= start) & (heard.at < end) & seen
        if before.sum() * STEP < BEFORE / 2 or during.sum() * STEP < 1.0:
            continue
        usual = float(np.median(speed[before]))
        depth = 100 * (1 - float(np.percentile(speed[during], 2)) / usual)
        if deepest.value is not None and depth <= deepest.value:
            continue
        depth = max(depth, 0.0)
        deepest = Measure(depth, max(depth - 1, 0.0), depth + 1, f"{clock(start)}-{clock(end)}")
        after = np.flatnonzero((heard.at >= end) & seen)
        if depth >= 3 and len(after) * STEP >= 1.0:
            back = after[speed[after] >= usual * (1 - BACK)]
            seconds = (float(heard.at[back[0]]) if len(back) else float(heard.at[after[-1]])) - end
            most = seconds + 0.3 if len(back) else float("inf")
            recovery = Measure(max(seconds, 0.0), max(seconds - 0.3, 0.0), most, clock(end))
    return {"sag-depth": deepest, "sag-recovery": recovery}


def _stop(heard: Heard, stop: Stop | None) -> dict[str, Measure]:
    names = ("stop-fall", "stop-rise", "stop-share")
    if stop is None:
        return dict.fromkeys(names, Measure(why="it is not heard to stop"))
    if heard.known.by_itself is None:
        return dict.fromkeys(names, Measure(why="say whether it stopped by itself or was stopped"))
    if not heard.known.by_itself:
        return dict.fromkeys(names, Measure(why="it was stopped"))
    at = clock(stop.at)
    rise, four = 100 * stop.rise, 100 * stop.four
    share = Measure(four, max(four - 8, 0), min(four + 8, 100), at) if heard.octave.certain else Measure(
        why="two readings of the speed are possible"
    )  # fmt: skip
    return {
        "stop-fall": Measure(stop.fall, max(stop.fall - 0.3, 0), stop.fall + 0.3, at),
        "stop-rise": Measure(rise, max(rise - 1, 0), rise + 1, at),
        "stop-share": share,
    }
