"""What a chart holds: lines and points over one axis, bands and marks. No library and no size; drawing comes after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Axis:
    """What is counted along one side, and its unit as people write it ('' for a plain count)."""

    label: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Trace:
    """Numbers over numbers: joined by a line, or as points alone. NaN in `y` leaves a gap."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    points: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of the x axis that is shaded, and what it stands for."""

    name: str
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Mark:
    """One place on the x axis with a word beside it."""

    says: str
    x: float


@dataclass(frozen=True, slots=True)
class Chart:
    """One picture with one pair of axes."""

    title: str
    x: Axis
    y: Axis
    traces: tuple[Trace, ...]
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()
