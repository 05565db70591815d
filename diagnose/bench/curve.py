"""Throttle curve: from points where a throttle held the head speed to the corner points of a curve that never falls."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from types import MappingProxyType
from typing import cast

from ..drawing.chart import Axis, Band, Chart, Trace
from .calculator import Calculator, Given, Input, NotPossible, Page, Row
from .curve_corners import FULL, Corners, completed, reached, starting
from .curve_points import Point, points_in
from .curve_shape import DIP, FLAT, STEP, features
from .fit import Fit, rising, valley

HELD = 0.02
"""A speed further off the target than this was not held (common practice: governors hold to about one in fifty)."""

FAR = 0.10
"""A speed at low collective further off the target than this is far faster or slower (common practice)."""

AT_FULL = 95.0
"""Percent throttle from which nothing is left to hold with (common practice)."""

NEAR = 5.0
"""Percent throttle within which a curve in the radio agrees with what was measured (common practice)."""

TOLD = 5
"""Points that are named one by one."""

CAUTIONS = ("low-speed-way-out", "failsafe-first", "turning-blades")

INPUTS = (
    Input("point", "Stick or collective, the throttle that held the speed there, and that speed", many=True, parts=(
        Input("stick", "stick", "percent", -100, 100, needed=True),
        Input("throttle", "throttle", "percent", 0, FULL, needed=True),
        Input("speed", "speed", "rpm", 50, 30_000),
    )),
    Input("target", "Speed that was to be held", "rpm", 50, 30_000),
    Input("curve-points", "How many corner points has the curve in the radio? 5 if nothing is given", "count", 2, 33),
    Input("shape", "Which way does the curve go?", choices=MappingProxyType({
        "rising": "it never falls: the usual curve",
        "v": "it falls to a lowest point and rises again: idle-up, for flying upside down",
    })),
    Input("now", "The curve as it stands in the radio, one corner point after the other", "percent", 0, FULL, many=True),
    Input("quarter", "Throttle of a safe start at quarter stick", "percent", 0, FULL, pack="throttle-curve/low"),
    Input("half", "Throttle of a safe start at half stick", "percent", 0, FULL, pack="throttle-curve-half/low"),
    Input("file", "A log as CSV, if there is one", file=True),
    Input("stick", "Column of the log with stick or collective, in percent", text=True, only_with="file"),
    Input("throttle", "Column of the log with throttle, in percent", text=True, only_with="file"),
    Input("speed", "Column of the log with the speed of the head or the propeller", text=True, only_with="file"),
    Input("time", "Column of the log with the time; with it only steady rows are taken", text=True, only_with="file"),
)  # fmt: skip

SOURCES = (
    "Curve: least squares at the corner points under the rule that they never fall, points"
    " reweighted as in Huber, Robust Estimation of a Location Parameter, 1964; drawn between them by the monotone cubic of"
    " Fritsch and Carlson, 1980.",
    "Starting figures and limits of agreement: common practice. The model maker's figures come first.",
)

Told = tuple[dict[str, str], list[str]]
"""Findings for the rules, and the same in words."""


def work(given: Given) -> Page:
    """Return the curve through the points, what does not fit, and what is not known."""
    now = cast("tuple[float, ...]", given.get("now", ()))
    if len(now) == 1:
        raise NotPossible("now: one corner point is no curve; give --now once for each point, from low stick to high")
    rises = given.get("shape", "rising") == "rising"
    target = cast("float | None", given.get("target"))
    points, taken, unread = points_in(given)
    held = [point for point in points if target is None or not abs(point.speed - target) > HELD * target]
    at = _places(given, points, rises)
    fit = _fit(held, at, rises)
    outliers = [held[place] for place in fit.outliers] if fit else []
    good = [point for point in held if point not in outliers]
    corners = completed(at, fit, reached(at, [point.stick for point in good]), rises, _start(given, at, rises))
    told = [
        _shape(corners, fit, now),
        _speeds(points, target, corners),
        _against_radio(corners, now if rises else ()),
    ]
    return Page(
        title=_title(corners),
        rows=_rows(corners),
        says=(
            *taken,
            *_held(held, points, target),
            *_turn(corners, fit),
            *(line for _, lines in told for line in lines),
            *_left_out(outliers, corners),
            *_unknown(corners),
            *unread,
        ),
        sources=SOURCES,
        cautions=CAUTIONS,
        findings={finding: answer for findings, _ in told for finding, answer in findings.items()},
        charts=(_chart(corners, good, outliers, now),),
    )


def _places(given: Given, points: Sequence[Point], rises: bool) -> tuple[float, ...]:
    """The sticks of the corner points: evenly from 0, or from -100 where a point lies below 0."""
    wanted = cast(float, given.get("curve-points", 5.0))
    if wanted != int(wanted):
        raise NotPossible(f"curve-points: {wanted:g} is no whole number")
    if not rises and wanted < 3:
        raise NotPossible("curve-points: a curve that falls and rises has three corner points or more")
    low = -FULL if any(point.stick < 0 for point in points) else 0.0
    return tuple(low + (FULL - low) * place / (int(wanted) - 1) for place in range(int(wanted)))


def _fit(held: Sequence[Point], at: Sequence[float], rises: bool) -> Fit | None:
    if not held:
        return None
    x, y = [point.stick for point in held], [point.throttle for point in held]
    return rising(x, y, at, FULL) if rises else valley(x, y, at, FULL)


def _start(given: Given, at: Sequence[float], rises: bool) -> list[float] | None:
    """The starting curve, for a curve that rises and where its figures are known."""
    quarter, half = given.get("quarter"), given.get("half")
    if not rises or not isinstance(quarter, float) or not isinstance(half, float):
        return None
    return starting(at, quarter, half)


def _title(corners: Corners) -> str:
    if not any(corners.measured):
        return "Throttle curve: a start only, no corner point is measured"
    return f"Throttle curve: {sum(corners.measured)} of {len(corners.at)} corner points are measured"


def _rows(corners: Corners) -> tuple[Row, ...]:
    rows = []
    for number, (stick, value, error, is_measured) in enumerate(
        zip(corners.at, corners.values, corners.error, corners.measured, strict=True), 1
    ):
        if is_measured:
            written = f"{value:.0f} % (+/- {max(2 * error, 1):.0f})"
        else:
            written = "unknown" if math.isnan(value) else f"{value:.0f} % start, NOT measured"
        rows.append(Row(f"point-{number}", f"Stick {stick:.3g} %", value, "percent", written))
    return tuple(rows)


def _held(held: Sequence[Point], points: Sequence[Point], target: float | None) -> list[str]:
    if target is None or len(held) == len(points):
        return []
    return [
        f"{len(held)} of {len(points)} points held {target:.0f} rpm within {HELD * 100:.0f} %. What throttle the others"
        " wanted is not known, so they are left out."
    ]


def _turn(corners: Corners, fit: Fit | None) -> list[str]:
    """Where a V has its lowest point; or that points meant to rise look like a V."""
    if fit is None:
        return []
    if not corners.rises:
        return [f"The lowest point is taken at {corners.at[fit.lowest]:.0f} % stick."]
    known = [value for value, is_measured in zip(fit.free, corners.measured, strict=True) if is_measured]
    if len(known) > 2 and known[0] - min(known) > 2 * NEAR and known[-1] - min(known) > 2 * NEAR:
        return ["At low stick the points fall as an idle-up curve does. If they are meant so, give --shape v."]
    return []


def _shape(corners: Corners, fit: Fit | None, now: Sequence[float]) -> Told:
    """What is odd about the way the curve runs, in the points and in the radio; nothing for a V."""
    if not corners.rises:
        return {}, []
    points = features(corners.at, corners.values, fit.free, fit.error, corners.measured) if fit else []
    radio = features(_spread(corners, now), now, now, (0.0,) * len(now), (True,) * len(now)) if now else []
    kinds = {feature.kind for feature in (*points, *radio)}
    odd = next((kind for kind in (DIP, STEP, FLAT) if kind in kinds), "")
    enough = bool(now) or sum(corners.measured) > 3
    findings = {"curve-shape": odd or "even"} if odd or enough else {}
    return findings, [*(feature.in_points() for feature in points), *(feature.in_radio() for feature in radio)]


def _spread(corners: Corners, now: Sequence[float]) -> list[float]:
    """The sticks of a curve's corner points when they are spread evenly."""
    return [corners.stick(place / (len(now) - 1)) for place in range(len(now))]


def _speeds(points: Sequence[Point], target: float | None, corners: Corners) -> Told:
    """A speed that cannot be held at the top, and one that is far off at low stick."""
    if target is None:
        return {}, []
    findings, says = {}, []
    top, bottom = corners.stick(2 / 3), corners.stick(1 / 3)
    sagging = [p for p in points if p.throttle >= AT_FULL and p.stick >= top and p.speed < target * (1 - HELD)]
    if sagging:
        findings["full-collective"] = "stays-down"
        says.append(
            f"Sag at the top: from {min(p.stick for p in sagging):.0f} % stick on the throttle is full, and the speed is"
            f" down to {min(p.speed for p in sagging):.0f} rpm. No curve cures that: it is load, power, mixture or heat."
            " Take load off and find the cause. Never chase the speed with the H needle."
        )
    offs = [p.speed / target - 1 for p in points if p.stick <= bottom and not math.isnan(p.speed)]
    off = median(offs) if offs else 0.0
    if abs(off) > FAR:
        findings["low-collective-speed"] = "fast" if off > 0 else "slow"
        says.append(f"At low stick the speed is {abs(off) * 100:.0f} % {'over' if off > 0 else 'under'} the target.")
    return findings, says


def _against_radio(corners: Corners, now: Sequence[float]) -> Told:
    """The curve in the radio at quarter and half stick: against what held the speed, or as a number for the rules."""
    import numpy as np

    findings, says = {}, []
    for finding, share in (("throttle-curve", 0.25), ("throttle-curve-half", 0.5)) if now else ():
        stick = corners.stick(share)
        in_radio = float(np.interp(stick, _spread(corners, now), now))
        held = corners.held_at(stick)
        if held is None:
            findings[finding] = f"{in_radio:.0f} %"
            continue
        apart = in_radio - held
        findings[finding] = "typical" if abs(apart) <= NEAR else "steep" if apart > 0 else "low"
        if abs(apart) > NEAR:
            says.append(f"At {stick:.0f} % stick the curve in the radio is {_off(apart)} what held the speed.")
    return findings, says


def _off(by: float) -> str:
    return f"{abs(by):.0f} % throttle {'over' if by > 0 else 'under'}"


def _left_out(outliers: Sequence[Point], corners: Corners) -> list[str]:
    """The outliers, by name."""
    import numpy as np

    told = []
    for point in outliers[:TOLD]:
        off = point.throttle - float(np.interp(point.stick, corners.at, corners.values))
        where = "" if math.isnan(off) else f", {_off(off)} the curve"
        told.append(f"{point.name} ({point.stick:g} % stick, {point.throttle:g} % throttle{where})")
    if not told:
        return []
    more = f" and {len(outliers) - TOLD} more" if len(outliers) > TOLD else ""
    return [f"Left out, since they do not fit the rest: {', '.join(told)}{more}. Measure there again."]


def _unknown(corners: Corners) -> list[str]:
    stretches = corners.unmeasured()
    if not stretches:
        return []
    where = " and ".join(f"{start:.0f} to {end:.0f} %" for start, end in stretches)
    no_points = f"Nothing is known for stick {where}: no point lies there."
    if any(map(math.isnan, corners.values)):
        return [f"{no_points} Measure there before the curve is set."]
    what = "a safe start" if corners.rises else "the nearest measured throttle held on"
    return [
        f"{no_points} What stands there is {what}, NOT measured: it may be too low to fly on, or still too fast. Try it"
        " restrained first, with the low head speed on its switch. Raise one point at a time, by 2 to 3 %. Leave that part"
        " of the stick alone until it has been measured."
    ]


def _chart(corners: Corners, good: Sequence[Point], outliers: Sequence[Point], now: Sequence[float]) -> Chart:
    traces = [_drawn(corners)]
    if now:
        traces.append(Trace("in the radio now", _spread(corners, now), now))
    for name, some in (("held the speed", good), ("left out", outliers)):
        if some:
            traces.append(Trace(name, [p.stick for p in some], [p.throttle for p in some], points=True))
    bands = tuple(Band("a start, not measured", start, end) for start, end in corners.unmeasured())
    return Chart("Throttle over stick", Axis("stick", "%"), Axis("throttle", "%"), tuple(traces), bands)


def _drawn(corners: Corners) -> Trace:
    """The curve between its corners, without overshoot."""
    import numpy as np
    from scipy.interpolate import PchipInterpolator

    at, values = np.asarray(corners.at), np.asarray(corners.values)
    known = ~np.isnan(values)
    if known.sum() < 2:
        return Trace("curve", corners.at, corners.values)
    x = np.linspace(corners.at[0], corners.at[-1], 101)
    return Trace("curve", x.tolist(), PchipInterpolator(at[known], values[known], extrapolate=False)(x).tolist())


CALCULATOR = Calculator("curve", "Throttle curve from points that held the head speed", INPUTS, work, CAUTIONS)
