"""Temperature log: how fast the head heats, where it is hot, and whether it heats while the speed sags."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

from ..drawing.chart import Axis, Band, Chart, Mark, Trace
from .calculator import Calculator, Given, Input, Page, Row
from .heat_log import HeatLog, heat_log
from .slopes import slopes

WINDOW = 20.0
"""Seconds over which a slope is taken; twelve rows where they come slower. A head of this size follows a change of mixture
within half a minute (common practice)."""

SURE = 3.0
"""Standard errors; a slope is one from here on. Many windows are looked at, so twice would cry wolf."""

WORKS = 0.7
"""Share of the usual running speed; below it the engine is throttled back and not sagging."""

SAG = 0.02
"""Share of the usual running speed that a sag is at least."""

HEATS = 3.0
"""Kelvin that the head must gain while the speed sags."""

STEADY_THROTTLE = -2.0
"""Percent; throttle that fell by more within a window was taken back, and so the speed."""

WORKED = 60.0
"""Seconds of warm work; with less nobody can tell that nothing was wrong."""

APART = 5.0
"""Seconds; stretches closer together are one. Kelvin; a peak that stands out less is none."""

MOST_SPOTS = 3

INPUTS = (
    Input("file", "The log as CSV", file=True, needed=True),
    Input("time", "Its column with the time, such as 'time in ms'", text=True),
    Input("temperature", "Its column with the head temperature, such as 'CHT in F'", text=True),
    Input("speed", "Its column with the speed of engine, head or propeller", text=True),
    Input("throttle", "Its column with the throttle, in percent", text=True),
    Input("limit", "Highest head temperature the engine maker allows", "degC", 60, 400, pack="head-temperature/normal"),
)

SOURCES = (
    "Slopes: ordinary least squares in a sliding window, with the standard error of a slope (Draper and Smith, Applied"
    " Regression Analysis, chapter on fitting a straight line; from memory).",
    "What heat with sagging speed means, and the limits used here: common practice. The engine maker's limit comes first.",
)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the log, in seconds from its start."""

    start: float
    end: float


def work(given: Given) -> Page:
    """Return rise rate, hot spots and lean signature of a log."""
    import numpy as np

    log = heat_log(given)
    window = max(WINDOW, 12 * log.step)
    rise, rise_error = slopes(log.time, log.temperature, log.pieces, window)
    limit = cast("float | None", given.get("limit"))
    hottest = int(np.argmax(log.temperature))
    over = _stretches(log, log.temperature > limit) if limit is not None else []
    spots = _peaks(log)
    signs, why_not = _signs(log, rise, rise_error, window)
    rows, rising = _rise(log, rise, rise_error)
    return Page(
        title=f"Temperature log of {_minutes(float(log.time[-1]))}",
        rows=(
            Row("highest", "Highest", float(log.temperature[hottest]), "degC",
                f"{_degrees(float(log.temperature[hottest]))} at {_clock(float(log.time[hottest]))}"),
            *rows,
            *_over_row(over, limit),
        ),
        says=(*_signature(signs, why_not), *_too_hot(over, limit), *_spots(spots, log), *rising, *log.says),
        sources=SOURCES,
        cautions=("lean-run", "detonation", "hot-surfaces", "turning-blades"),
        findings=_findings(float(log.temperature[hottest]), limit, signs, why_not),
        charts=_charts(log, signs, over, spots, limit),
    )  # fmt: skip


def _signs(log: HeatLog, rise: Any, rise_error: Any, window: float) -> tuple[list[Stretch], str]:
    """Where the warm head heats while the speed sags and nobody throttled back; and why nothing can be told, if so."""
    import numpy as np

    speeds = log.speed[np.isfinite(log.speed)]
    if len(speeds) < len(log.time) / 2:
        return [], "the log has no speed, or too little of it"
    usual = float(np.median(speeds[speeds >= np.percentile(speeds, 90) / 2]))
    fall, fall_error = slopes(log.time, log.speed, log.pieces, window)
    throttled, _ = slopes(log.time, log.throttle, log.pieces, window)
    slowest = _least_within(log, window)
    works = (slowest >= WORKS * usual) & np.isfinite(rise) & np.isfinite(fall)
    warm = log.temperature >= np.median(log.temperature[works]) if works.any() else works
    # Without a throttle in the log its slope is NaN, and whether it was moved stays open.
    held = ~(throttled * window < STEADY_THROTTLE)
    sags = works & warm & held & (rise > SURE * rise_error) & (fall < -SURE * fall_error)
    found = [one for one in _stretches(log, sags) if _matters(log, one, usual, window)]
    if found:
        return found, ""
    seconds = float(log.step * (works & warm).sum())
    if seconds < WORKED:
        return [], f"only {seconds:.0f} seconds of warm work are in it"
    if float(np.median(fall_error[works & warm])) * SURE * window > 2 * SAG * usual:
        return [], f"the speed scatters so much that a sag of {2 * SAG * 100:.0f} % would not show"
    return [], ""


def _least_within(log: HeatLog, window: float) -> Any:
    """The lowest speed within half a window of each row."""
    import numpy as np
    from scipy.ndimage import minimum_filter1d

    rows = 2 * int(window / 2 / log.step) + 1
    return minimum_filter1d(np.where(np.isfinite(log.speed), log.speed, np.inf), rows, mode="nearest")


def _matters(log: HeatLog, stretch: Stretch, usual: float, window: float) -> bool:
    """True if over the stretch and its windows the head gained and the speed lost enough."""
    import numpy as np

    def mean_round(values: Any, moment: float) -> float:
        near = (np.abs(log.time - moment) <= window / 8) & np.isfinite(values)
        return float(values[near].mean()) if near.any() else float("nan")

    start, end = max(stretch.start - window / 2, 0.0), min(stretch.end + window / 2, float(log.time[-1]))
    gained = mean_round(log.temperature, end) - mean_round(log.temperature, start)
    lost = mean_round(log.speed, start) - mean_round(log.speed, end)
    return bool(gained >= HEATS and lost >= SAG * usual)


def _stretches(log: HeatLog, where: Any) -> list[Stretch]:
    """The stretches in which something is so; close ones joined."""
    import numpy as np

    found: list[Stretch] = []
    for place in np.flatnonzero(where):
        start, end = float(log.time[place]), float(log.time[place]) + log.step
        if found and start - found[-1].end <= max(APART, 2 * log.step):
            found[-1] = Stretch(found[-1].start, end)
        else:
            found.append(Stretch(start, end))
    return found


def _peaks(log: HeatLog) -> list[int]:
    """The rows of the highest peaks that stand out, in order of time."""
    from scipy.signal import find_peaks

    places, about = find_peaks(log.temperature, prominence=APART)
    highest = sorted(zip(about["prominences"], places, strict=True), reverse=True)[:MOST_SPOTS]
    return sorted(int(place) for _, place in highest)


def _rise(log: HeatLog, rise: Any, error: Any) -> tuple[tuple[Row, ...], list[str]]:
    """The fastest rise, and the rise at the end."""
    import numpy as np

    if not np.isfinite(rise).any():
        return (), ["How fast it heated cannot be told: no stretch without a gap is long enough."]
    fastest = int(np.nanargmax(rise))
    last = int(np.flatnonzero(np.isfinite(rise))[-1])
    rows = tuple(
        Row(name, label, float(rise[place]) * 60, "delta_degC/minute",
            f"{round(rise[place] * 60) + 0:d} (+/- {max(2 * error[place] * 60, 0.5):.0f}) degrees C a minute, at"
            f" {_clock(float(log.time[place]))}")
        for name, label, place in (("fastest-rise", "Fastest rise", fastest), ("rise-at-end", "At the end", last))
    )  # fmt: skip
    still = rise[last] * 60 > 2 and rise[last] > SURE * error[last]
    return rows, ["It was still heating when the log ended: what it settles at is not known."] if still else []


def _over_row(over: Sequence[Stretch], limit: float | None) -> tuple[Row, ...]:
    if limit is None:
        return ()
    seconds = float(sum(one.end - one.start for one in over))
    return (Row("over-limit", f"Time over {_degrees(limit)}", seconds, "second", _minutes(seconds) if over else "none"),)


def _signature(signs: Sequence[Stretch], why_not: str) -> list[str]:
    if signs:
        return [
            f"STOP: {_times(signs)} the warm head heats while the speed sags. Lean, overloaded or badly cooled: each"
            " looks so, and each can seize it. Unless you know that the throttle was closed there, or that it was a short"
            " steep climb, do not fly it again before the cause is found. Take load off, let it cool, close no needle for"
            " it."
        ]
    if why_not:
        return [f"Whether it heats while the speed sags: cannot tell, {why_not}."]
    return [
        "Nowhere does the warm head heat while the speed sags. That is no proof against lean: a governor hides a sag by"
        " opening the throttle, and what was not flown is not in the log."
    ]


def _too_hot(over: Sequence[Stretch], limit: float | None) -> list[str]:
    if limit is None:
        return ["No limit is known. Give the engine maker's with --limit."]
    if not over:
        return []
    return [f"Over {_degrees(limit)} {_times(over)}. Take load off, land and let it cool; do not run it so again."]


def _spots(spots: Sequence[int], log: HeatLog) -> list[str]:
    told = [f"{_degrees(float(log.temperature[place]))} at {_clock(float(log.time[place]))}" for place in spots]
    return [f"Hot spots: {', '.join(told)}."] if told else []


def _findings(highest: float, limit: float | None, signs: Sequence[Stretch], why_not: str) -> dict[str, str]:
    """A reading over the maker's limit is hot, whatever the rules' own band says; below it their band decides."""
    findings = {"head-temperature": "hot" if limit is not None and highest > limit else f"{highest:.0f} C"}
    if signs or not why_not:
        findings["heat-with-sag"] = "heats" if signs else "no"
    return findings


def _charts(
    log: HeatLog, signs: Sequence[Stretch], over: Sequence[Stretch], spots: Sequence[int], limit: float | None
) -> tuple[Chart, ...]:
    import numpy as np

    bands = tuple(Band("heats while it sags", one.start, one.end) for one in signs)
    hot = tuple(Band("over the limit", one.start, one.end) for one in over)
    marks = tuple(Mark(f"hot spot, {log.temperature[place]:.0f} degrees C", float(log.time[place])) for place in spots)
    end = float(log.time[-1])
    level = (Trace("limit", (0.0, end), (limit, limit)),) if limit is not None else ()
    head = Chart(
        "Head temperature", Axis("time", "s"), Axis("head temperature", "degrees C"),
        (Trace("head", *_drawn(log, log.temperature)), *level), (*bands, *hot), marks,
    )  # fmt: skip
    if not np.isfinite(log.speed).any():
        return (head,)
    return (
        head,
        Chart("Speed", Axis("time", "s"), Axis("speed", "rpm"), (Trace("speed", *_drawn(log, log.speed)),), bands),
    )


def _drawn(log: HeatLog, values: Any) -> tuple[list[float], list[float]]:
    """Time and values with a NaN in every gap."""
    import numpy as np

    after = np.flatnonzero(np.diff(log.pieces)) + 1
    return np.insert(log.time, after, log.time[after]).tolist(), np.insert(values, after, np.nan).tolist()


def _times(stretches: Sequence[Stretch], most: int = 3) -> str:
    told = [f"from {_clock(one.start)} to {_clock(one.end)}" for one in stretches[:most]]
    return ", ".join(told) + (f" and {len(stretches) - most} times more" if len(stretches) > most else "")


def _clock(seconds: float) -> str:
    """Minutes and seconds from the start of the log."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} seconds" if seconds < 120 else f"{seconds / 60:.1f} minutes"


def _degrees(celsius: float) -> str:
    return f"{celsius:.0f} degrees C ({celsius * 1.8 + 32:.0f} F)"


CALCULATOR = Calculator("heat", "Temperature log: how fast it heats, where, and with or without a sag", INPUTS, work)
