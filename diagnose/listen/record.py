"""What was heard, made small enough to keep in a case, and its picture."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any

import numpy as np

from ..bench.calculator import Row
from ..case.state import RecordingHeard
from ..drawing.chart import Axis, Band, Chart, Mark, Trace
from .hearing import Heard
from .measures import Measured
from .over_frames import STEP, closed, lasting

MOST_POINTS = 400
"""Speeds that are kept: more than any paper or screen shows."""

MOST_BURBLES, MOST_MARKS = 40, 12
"""Stretches of four-stroking and things that happened that are kept, the longest and the first."""

SHORTEST_BURBLE, GAP = 0.15, 0.4
"""Seconds of four-stroking that are shaded, and between two that are shaded as one."""


def record(heard: Heard, found: Measured, told: Sequence[Row]) -> RecordingHeard:
    """Return what is kept of a recording. `told`: the rows of its page."""
    each = max(-(-len(heard.at) // MOST_POINTS), 1)
    rows = [heard.rpm[start : start + each] for start in range(0, len(heard.rpm), each)]
    speeds = tuple(0 if np.isnan(row).all() else int(round(float(np.nanmedian(row)))) for row in rows)
    marks = _marks(heard, found)
    return RecordingHeard(
        name=heard.recording.name,
        reading=_reading(heard),
        said=tuple(f"{row.label}: {row.written}" for row in told),
        step=int(each * STEP * 1000),
        speeds=speeds,
        burbles=tuple(ms for start, end in burbles(heard) for ms in (int(1000 * start), int(1000 * end))),
        marks=tuple(says for _, says in marks),
        marked=tuple(int(1000 * at) for at, _ in marks),
        results=tuple(f"{row.name}={row.value:.2f} {row.unit}" for row in told if isfinite(row.value)),
    )


def _reading(heard: Heard) -> str:
    if heard.octave.certain:
        return ""
    return "if it fires every turn" if heard.octave.factor < max(heard.octave.others) else "if it misses every other turn"


def burbles(heard: Heard) -> list[tuple[float, float]]:
    """Return the stretches of four-stroking, (from, to) in seconds, in their order."""
    if not heard.octave.certain:
        return []
    frames: Any = (heard.four > 0.5) & heard.running
    longest = sorted(lasting(closed(frames, GAP), SHORTEST_BURBLE), key=lambda run: run.start - run.stop)[:MOST_BURBLES]
    return [(run.start * STEP, run.stop * STEP) for run in sorted(longest, key=lambda run: run.start)]


def _marks(heard: Heard, found: Measured) -> list[tuple[float, str]]:
    marks = [(at, "misses") for at in found.hiccups]
    marks += [(dip.start, f"sags {100 * dip.depth:.0f} %") for dip in found.dips]
    marks += [(start, "load on") for start, _ in heard.known.loads]
    marks += [(start, "load off") for start, _ in heard.known.unloads]
    if found.stop is not None:
        marks.append((found.stop.at, "ends at once" if found.stop.fall < 0.6 else "fades out"))
    return sorted(marks)[:MOST_MARKS]


def chart(kept: RecordingHeard) -> Chart:
    """Return the picture: speed over time, four-stroking shaded, what happened marked."""
    at = [(place + 0.5) * kept.step / 1000 for place in range(len(kept.speeds))]
    speeds = [float(speed) if speed else float("nan") for speed in kept.speeds]
    pairs = zip(kept.burbles[::2], kept.burbles[1::2], strict=False)
    return Chart(
        title=f"Speed of the engine in {kept.name}" + (f", {kept.reading}" if kept.reading else ""),
        x=Axis("time", "s"),
        y=Axis("speed", "rpm"),
        traces=(Trace("speed of the engine", at, speeds),),
        bands=tuple(Band("four-stroking", start / 1000, end / 1000) for start, end in pairs),
        marks=tuple(Mark(says, ms / 1000) for says, ms in zip(kept.marks, kept.marked, strict=False)),
    )
