"""Where a throttle held the speed: points from hand or from a log, and which rows of a log can be believed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

from .calculator import Given, NotPossible
from .log_file import Log, Wanted, counted, read_log

QUICK = 10.0
"""Percent of stick a second; after a quicker move the throttle of a governor trails behind."""

SETTLES = 2.0
"""Seconds after a quick move until the throttle can be believed: four times a governor's lag of half a second. With both
figures the error fell from 3.2 to 0.4 % throttle in simulated logs."""

LAG = 0.5
"""Seconds over which a stick's rate is taken, and between two rows that are taken: closer ones say the same twice."""

COLUMNS = ("stick", "throttle", "speed", "time")


@dataclass(frozen=True, slots=True)
class Point:
    """Where the stick stood, the throttle, and the speed that was read (NaN for none). `name` says where it came from."""

    name: str
    stick: float
    throttle: float
    speed: float


def points_in(given: Given) -> tuple[list[Point], list[str], list[str]]:
    """Return the points, how they were taken from the log, and what in the log could not be read."""
    by_hand = cast("tuple[tuple[float, ...], ...]", given.get("point", ()))
    points = [Point(f"point {number}", *(*one, math.nan)[:3]) for number, one in enumerate(by_hand, 1)]
    if "file" not in given:
        if any(column in given for column in COLUMNS):
            raise NotPossible("stick, throttle, speed and time name columns of a log; give --file too, or use --point")
        return points, [], []
    path = str(given["file"])
    log = read_log(path, _wanted(given))
    nothing = (math.nan,) * len(log.lines)
    columns = (log.columns["stick"], log.columns["throttle"], log.columns.get("speed", nothing))
    rows = [Point(f"{path}:{line}", *row) for line, *row in zip(log.lines, *columns, strict=True)]
    if "time" in log.columns:
        steady = _steady(log)
        taken = (
            f"{len(steady)} of {len(rows)} rows of the log are taken: {SETTLES:g} seconds and more after a quick move of"
            " the stick, one each half second."
        )
        rows = [rows[place] for place in steady]
    else:
        taken = "The log has no time, so every row is taken as steady. Rows during a move of the stick spoil the curve."
    left_out = [f"{counted(log.left_out, 'row')} of the log could not be read: left out."] if log.left_out else []
    return points + rows, [taken], left_out + list(log.junk)


def _wanted(given: Given) -> tuple[Wanted, ...]:
    stick, throttle, speed, time = (str(given.get(column, "")) for column in COLUMNS)
    return (
        Wanted("stick", stick, ("stick", "collective", "pitch"), "percent", -100, 100),
        Wanted("throttle", throttle, ("throttle", "thr"), "percent", 0, 100),
        Wanted("speed", speed, ("head speed", "head", "rpm", "speed"), "rpm", 0, 40_000, needed=False),
        Wanted("time", time, ("time", "t ", "t[", "t(", "sec"), "second", -1e12, 1e12, needed=False),
    )


def _steady(log: Log) -> list[int]:
    """Rows at which the stick has been quiet for long enough, not closer than the lag."""
    import numpy as np

    time, stick = np.asarray(log.columns["time"]), np.asarray(log.columns["stick"])
    forward = np.isfinite(time) & (time > np.concatenate([[-np.inf], np.fmax.accumulate(time)[:-1]]))
    places = np.flatnonzero(forward)
    if not len(places):
        return []
    time, stick = time[places], stick[places]
    before = np.interp(time - LAG, time, stick)
    quick = np.abs(stick - before) / LAG >= QUICK
    last_quick = np.maximum.accumulate(np.where(quick, time, time[0]))
    taken: list[int] = []
    for place, moment in zip(places[time - last_quick >= SETTLES], time[time - last_quick >= SETTLES], strict=True):
        if not taken or moment - log.columns["time"][taken[-1]] >= LAG:
            taken.append(int(place))
    return taken
