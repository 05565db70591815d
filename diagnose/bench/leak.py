"""Leak-down of the crankcase, and the opening pressure and tightness of the inlet needle, from readings of a gauge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import cast

from ..case.readings import SHOWN
from ..drawing.chart import Axis, Chart, Trace
from .calculator import Calculator, Given, Input, NotPossible, Page, Row
from .decay import MINUTE, Decay, decay
from .log_file import Wanted, counted, read_log

DIVISION = 0.01
"""Bar; what a small gauge is read to, when nothing is said (common practice)."""

STANDARD_AIR = 1.01325
"""Bar. ISO 2533:1975, Standard Atmosphere, at sea level."""

CAUTIONS = ("crankcase-pressure", "eyes-and-ears", "petrol-fire")

CRANKCASE, NEEDLE = "crankcase", "needle"

INPUTS = (
    Input("of", "What is under pressure?", choices=MappingProxyType({
        CRANKCASE: "the crankcase, intake and exhaust blanked",
        NEEDLE: "the inlet needle of the carburettor, a little below the pressure at which it opens",
    })),
    Input("reading", "Time since pumping stopped, and the pressure then", many=True, parts=(
        Input("time", "time", "second", 0, 86_400, needed=True),
        Input("pressure", "pressure", "bar", 0, 5, needed=True),
    )),
    Input("opened", "Pressure at which the inlet needle opened; three times is best", "bar", 0.01, 5, many=True),
    Input("maker", "The carburettor maker's opening pressure; two: a range", "bar", 0.01, 5, many=True, only_with="opened"),
    Input("least", "Least of the figure that is right", "percent", 1, 100, only_with="maker", pack="pop-off/low"),
    Input("most", "Most of it that is right", "percent", 100, 1_000, only_with="maker", pack="pop-off/right"),
    Input("file", "The readings as CSV, if they were logged", file=True),
    Input("time", "Its column with the time", text=True, only_with="file"),
    Input("pressure", "Its column with the pressure over the air's", text=True, only_with="file"),
    Input("division", "The finest step the gauge can be read to", "bar", 1e-5, 0.5),
    Input("volume", "Volume that was pumped up, to give the leak as a flow", "millilitre", 1, 2_000),
    Input("limit", "Most that the crankcase may lose in a minute", "percent", 0, 100, pack="leak-down/holds"),
    Input("at-once", "A loss in a minute from which on it falls at once", "percent", 0, 100, pack="leak-down/slow"),
    Input("needle-limit", "Most that the needle may let go in a minute", "percent", 0, 100, pack="inlet-seat/holds"),
)  # fmt: skip

SOURCES = (
    "Leak: gas law at constant temperature; a seep in proportion to the pressure (Hagen and Poiseuille), or a hole in"
    " proportion to its root (Bernoulli). Where the two differ, that is in the uncertainty.",
    "Uncertainty: 95 %, from the gauge's step (its square over 12) or the scatter, whichever is larger.",
    "Limits, where none is given: the rules' own, common practice. The makers' figures come first.",
)


@dataclass(frozen=True, slots=True)
class Told:
    """One part of the page."""

    rows: tuple[Row, ...] = ()
    says: tuple[str, ...] = ()
    findings: tuple[tuple[str, str], ...] = ()
    charts: tuple[Chart, ...] = ()


def work(given: Given) -> Page:
    """Return what the readings say of the crankcase or the inlet needle."""
    readings, unread = _readings(given)
    opened = cast("tuple[float, ...]", given.get("opened", ()))
    if not readings and not opened:
        raise NotPossible("nothing to work on: give readings of a falling pressure (--reading or --file), or --opened")
    parts = [_leak(readings, given)] if readings else []
    parts += [_opening(opened, given)] if opened else []
    needle = given.get("of") == NEEDLE or not readings
    return Page(
        title="Inlet needle under pressure" if needle else "Crankcase under pressure",
        rows=tuple(row for part in parts for row in part.rows),
        says=(*(line for part in parts for line in part.says), *unread),
        sources=SOURCES,
        cautions=CAUTIONS,
        findings=dict(finding for part in parts for finding in part.findings),
        charts=tuple(chart for part in parts for chart in part.charts),
    )


def _readings(given: Given) -> tuple[list[tuple[float, float]], list[str]]:
    """(seconds, bar) in order of time, and what could not be read."""
    readings = [(one[0], one[1]) for one in cast("tuple[tuple[float, ...], ...]", given.get("reading", ()))]
    unread: list[str] = []
    if "file" in given:
        time, pressure = (str(given.get(name, "")) for name in ("time", "pressure"))
        log = read_log(str(given["file"]), (
            Wanted("time", time, ("time", "t ", "t[", "t(", "sec"), "second", -1e12, 1e12),
            Wanted("pressure", pressure, ("pressure", "p ", "p[", "p("), "bar", 0, 5),
        ))  # fmt: skip
        readings += list(zip(log.columns["time"], log.columns["pressure"], strict=True))
        unread = [f"{counted(log.left_out, 'row')} could not be read: left out.", *log.junk] if log.left_out else []
    elif "time" in given or "pressure" in given:
        raise NotPossible("time and pressure name columns of a file; give --file too, or use --reading")
    if readings and len({time for time, _ in readings}) < 2:
        raise NotPossible("one moment is no fall: give readings at two times or more")
    if readings and not max(pressure for _, pressure in readings):
        raise NotPossible("every reading is 0 bar: there was no pressure to lose; see where the pump leaks")
    return sorted(readings), unread


def _leak(readings: Sequence[tuple[float, float]], given: Given) -> Told:
    """How fast it leaks, and against its limit."""
    division = cast(float, given.get("division", DIVISION))
    times, pressures = [time for time, _ in readings], [pressure for _, pressure in readings]
    fitted = decay(times, pressures, division)
    needle = given.get("of") == NEEDLE
    limit = cast("float | None", given.get("needle-limit" if needle else "limit"))
    rows = [
        Row("lost", "Lost in a minute", 100 * fitted.lost, "percent", _percent(fitted)),
        Row("start", "Pressure at the start", fitted.start, "bar", f"{fitted.start:.3f} bar"),
        Row("rate", "Fall at the start", fitted.start * fitted.rate * MINUTE, "bar/minute",
            f"{fitted.start * fitted.rate * MINUTE:.3f} bar a minute"),
    ]  # fmt: skip
    if isinstance(volume := given.get("volume"), float):
        flow = volume * fitted.start * fitted.rate * MINUTE / STANDARD_AIR
        rows.append(Row("flow", "Leak, in air of the day", flow, "millilitre/minute", f"{flow:.2f} ml a minute"))
    if limit is not None:
        rows.append(Row("limit", "Limit", limit, "percent", f"{limit:g} % a minute"))
    answer, says = _judged(fitted, limit, cast("float | None", given.get("at-once")), needle)
    findings = (("inlet-seat" if needle else "leak-down", answer),) if answer else ()
    return Told(tuple(rows), (says,), findings, (_chart(readings, fitted, limit),))


def _percent(fitted: Decay) -> str:
    return f"{100 * fitted.lost:.1f} % (+/- {max(100 * fitted.uncertain, 0.1):.1f})"


def _judged(fitted: Decay, limit: float | None, at_once: float | None, needle: bool) -> tuple[str, str]:
    """The answer for the rules ('' for none) and what it means."""
    lost, uncertain = 100 * fitted.lost, 100 * fitted.uncertain
    if lost < -uncertain:
        return "", "The pressure rises: something warms the air in it. Let all come to one temperature and measure again."
    if limit is None:
        return "", "No limit is known: give the maker's, or say how much may be lost in a minute."
    if abs(lost - limit) <= uncertain:
        longer = fitted.span * uncertain / max(abs(lost - limit), 0.1 * uncertain)
        return "", (
            f"Cannot tell: {lost:.1f} % is closer to the limit than the readings are sure. Watch it for"
            f" {_long_enough(longer)}, or use a finer gauge."
        )
    if lost <= limit:
        return "holds", "It holds." if needle else "It holds. The crankcase lets in no air that matters."
    if needle:
        return (
            "sinks",
            "It does not hold: the needle or its seat leaks, and drips into a standing engine. Clean it first.",
        )
    quick = at_once is not None and lost >= at_once
    return "falls" if quick else "slow", (
        "It falls at once: look for a plate that does not seal first, then for a joint, a seal or a hose."
        if quick
        else "It does not hold. First see that plates, pump and gauge hold by themselves, then find it with soapy water."
    )


def _long_enough(seconds: float) -> str:
    """A time to watch, rounded up to something people would."""
    for nice in (60, 120, 180, 300, 600):
        if seconds <= nice:
            return f"about {nice // 60} minute{'s' if nice > 60 else ''}"
    return "ten minutes and more"


def _opening(opened: Sequence[float], given: Given) -> Told:
    """The opening pressure and its uncertainty, against the maker's figure or range."""
    division = cast(float, given.get("division", DIVISION))
    mean = sum(opened) / len(opened)
    uncertain = _of_mean(opened, division)
    rows = [Row("opened", "Opening pressure", mean, "bar", f"{mean:.2f} bar (+/- {uncertain:.2f})")]
    bounds = _bounds(given)
    if bounds is None:
        return Told(tuple(rows), ("It opens at that; whether it is right only the carburettor maker's figure can say.",))
    low, high = bounds
    rows.append(Row("right-from", "Right from", low, "bar", f"{low:.2f} bar"))
    rows.append(Row("right-to", "Right up to", high, "bar", f"{high:.2f} bar"))
    if min(abs(mean - low), abs(mean - high)) <= uncertain:
        says = "Cannot tell: it lies closer to the edge of what is right than the readings are sure. Try it again."
        return Told(tuple(rows), (says,))
    if mean < low:
        says, answer = "It opens too early: it floods and runs rich. Needle, seat, lever and spring, in that order.", "low"
    elif mean > high:
        says, answer = "It opens too late: the engine starves, and starved is lean. No power before it is right.", "high"
    else:
        says, answer = "It opens where it should.", "right"
    return Told(tuple(rows), (says,), (("pop-off", answer),))


def _of_mean(readings: Sequence[float], division: float) -> float:
    """Half the width of the 95 % interval of the mean: by Student from the scatter, and no less than the gauge's."""
    from scipy.stats import t as student

    count = len(readings)
    by_gauge = 1.96 * division / math.sqrt(12 * count)
    if count < 2:
        return by_gauge
    mean = sum(readings) / count
    scatter = math.sqrt(sum((one - mean) ** 2 for one in readings) / (count - 1))
    return max(by_gauge, float(student.ppf(0.975, count - 1)) * scatter / math.sqrt(count))


def _bounds(given: Given) -> tuple[float, float] | None:
    """From where to where the opening pressure is right: the maker's range, or shares of his one figure."""
    maker = cast("tuple[float, ...]", given.get("maker", ()))
    if len(maker) > 2:
        raise NotPossible(f"maker: {len(maker)} figures; give one, or the two ends of a range")
    if len(maker) == 2:
        return min(maker), max(maker)
    least, most = given.get("least"), given.get("most")
    if not maker or not isinstance(least, float) or not isinstance(most, float):
        return None
    return maker[0] * least / 100, maker[0] * most / 100


def _chart(readings: Sequence[tuple[float, float]], fitted: Decay, limit: float | None) -> Chart:
    first = readings[0][0]
    times = [first + fitted.span * step / 60 for step in range(61)]
    traces = [
        Trace("fitted", times, [fitted.start * math.exp(-fitted.rate * (time - first)) for time in times]),
        Trace("read", [time for time, _ in readings], [pressure for _, pressure in readings], points=True),
    ]
    if limit is not None and limit < 100:
        kept = 1 - limit / 100
        traces.insert(1, Trace("limit", times, [fitted.start * kept ** ((time - first) / MINUTE) for time in times]))
    return Chart("Pressure over time", Axis("time", "s"), Axis("pressure", SHOWN.get("bar", "bar")), tuple(traces))


CALCULATOR = Calculator("leak", "Leak-down of the crankcase, pop-off of the inlet needle", INPUTS, work, CAUTIONS)
