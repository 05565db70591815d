"""A temperature log made fit to be looked at: one run, time going forward, no spikes, its gaps known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .calculator import Given, NotPossible
from .log_file import Wanted, counted, read_log
from .slopes import ENOUGH

Columns = dict[str, Any]
"""Name -> array, all of equal length."""

DAY = 86_400.0

SPIKE = 10.0
"""Kelvin; a row so far from the median of its five neighbours is a bad contact and no heat (common practice)."""

GAP = 5.0
"""A step so many times the usual one, and as many seconds or more, is a gap."""

SLOWEST = 10.0
"""Seconds from row to row; a slower log shows nothing of what matters here."""

SHORTEST = 30.0
"""Seconds; a shorter run shows nothing."""


@dataclass(frozen=True, slots=True)
class HeatLog:
    """Arrays of equal length: seconds from the first row, degC, rpm and percent throttle (NaN for what is not there), the
    number of the stretch between gaps, and the line in the file. step: the usual seconds from row to row. says: what was
    left out and why."""

    time: Any
    temperature: Any
    speed: Any
    throttle: Any
    pieces: Any
    lines: Any
    step: float
    says: tuple[str, ...]


def heat_log(given: Given) -> HeatLog:
    """Read the log that the inputs name. Raises NotPossible."""
    import numpy as np

    path = str(given["file"])
    log = read_log(path, _wanted(given))
    unread = [f"{counted(log.left_out, 'row')} could not be read: left out.", *log.junk] if log.left_out else list(log.junk)
    columns = {name: np.asarray(column) for name, column in log.columns.items()}
    columns["line"] = np.asarray(log.lines)
    columns["time"] = _past_midnight(columns["time"])
    columns, runs = _one_run(path, columns)
    columns, spikes = _without_spikes(path, columns)
    columns, pieces, gaps = _in_pieces(path, columns)
    nothing = np.full(len(pieces), np.nan)
    step = float(np.median(np.diff(columns["time"])))
    if step > SLOWEST:
        raise NotPossible(
            f"{path}: a row comes every {step:.0f} seconds, and more than {SLOWEST:.0f} show nothing; if the time is not in"
            " seconds, write for instance --time 'time in ms'"
        )
    return HeatLog(
        columns["time"], columns["temperature"], columns.get("speed", nothing), columns.get("throttle", nothing), pieces,
        columns["line"], step, (*runs, *spikes, *gaps, *unread),
    )  # fmt: skip


def _wanted(given: Given) -> tuple[Wanted, ...]:
    time, temperature, speed, throttle = (str(given.get(name, "")) for name in ("time", "temperature", "speed", "throttle"))
    return (
        Wanted("time", time, ("time", "t ", "t[", "t(", "sec", "date"), "second", -1e12, 1e12),
        Wanted("temperature", temperature, ("head temp", "cht", "temp", "head"), "degC", -40, 500),
        Wanted("speed", speed, ("rpm", "speed", "engine speed", "head speed"), "rpm", 0, 40_000, needed=False),
        Wanted("throttle", throttle, ("throttle", "thr"), "percent", 0, 100, needed=False),
    )


def _past_midnight(time: Any) -> Any:
    """A clock of the day that goes on from 0 at midnight goes on from 24 h instead."""
    import numpy as np

    midnights = (np.diff(time) < -0.9 * DAY) & (time[:-1] <= DAY)
    return time + DAY * np.concatenate([[0], np.cumsum(midnights)])


def _one_run(path: str, columns: Columns) -> tuple[Columns, list[str]]:
    """The longest run in which time goes forward. Of rows with one and the same time the first counts."""
    import numpy as np

    columns = _rows(columns, np.concatenate([[True], np.diff(columns["time"]) != 0]))
    time, line = columns["time"], columns["line"]
    back = np.flatnonzero(np.diff(time) < 0) + 1
    if not len(back):
        return columns, []
    start, end = max(zip([0, *back], [*back, len(time)], strict=True), key=lambda run: int(run[1] - run[0]))
    says = (
        f"{path}:{line[back[0]]}: the time goes back here; the longest run is looked at, lines {line[start]} to"
        f" {line[end - 1]}."
    )
    return _rows(columns, slice(start, end)), [says]


def _without_spikes(path: str, columns: Columns) -> tuple[Columns, list[str]]:
    """Without rows that lie far from the median of the five around them."""
    from scipy.ndimage import median_filter

    temperature = columns["temperature"]
    spikes = abs(temperature - median_filter(temperature, 5, mode="nearest")) > SPIKE
    if not spikes.any():
        return columns, []
    first = f"{path}:{columns['line'][spikes][0]}"
    says = f"{counted(int(spikes.sum()), 'reading')} out of line, the first at {first}, left out."
    return _rows(columns, ~spikes), [says]


def _in_pieces(path: str, columns: Columns) -> tuple[Columns, Any, list[str]]:
    """Time from the first row on, and which stretch between gaps each row lies in; without stretches of a few rows."""
    import numpy as np

    apart = np.diff(columns["time"])
    usual = float(np.median(apart)) if len(apart) else 0.0
    pieces = np.concatenate([[0], np.cumsum(apart > max(GAP * usual, GAP))])
    long_enough = np.bincount(pieces)[pieces] >= ENOUGH
    columns, pieces = _rows(columns, long_enough), pieces[long_enough]
    seconds = float(np.ptp(columns["time"])) if len(pieces) else 0.0
    if seconds < SHORTEST:
        raise NotPossible(f"{path}: the run is {seconds:.0f} seconds long; less than {SHORTEST:.0f} show nothing")
    columns["time"] = columns["time"] - columns["time"][0]
    missing = np.diff(columns["time"])[np.diff(pieces) > 0]
    if not len(missing):
        return columns, pieces, []
    says = f"{counted(len(missing), 'gap')}, {missing.sum():.0f} seconds in all. Nothing is known of what happened there."
    return columns, pieces, [says]


def _rows(columns: Columns, which: Any) -> Columns:
    return {name: column[which] for name, column in columns.items()}
