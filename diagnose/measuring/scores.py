"""Many walks -> how good they were: places, minutes, calibration, and what was taken for what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

from .walks import Walked

BINS = 10


@dataclass(frozen=True, slots=True)
class Bin:
    """Walks whose leading cause had about the same probability: how many, what was said, and how often it was true."""

    walks: int
    said: float
    true: float


@dataclass(frozen=True, slots=True)
class Scores:
    """Of all walks in one way. Shares are 0 to 1; first and first three are of the walks whose fault is in the rules."""

    walks: int
    first: float
    first_three: float
    cured: float
    asked_before_verdict: float
    asked: float
    asking_minutes: float
    vain_minutes: float
    minutes_to_cause: float
    minutes_error: float
    minutes: float
    repairs: float
    calibration_error: float
    reliability: tuple[Bin, ...]
    confused: tuple[tuple[str, str, int], ...]


def scores(walked: Sequence[Walked]) -> Scores:
    """Return the scores of at least two walks.

    asked_before_verdict and asked are medians, the minutes are means, minutes_error is the standard error of those to the
    cause.
    calibration_error is the expected calibration error of the leading cause's probability at the first repair, in ten
    bins of equal width (definition common in machine learning: mean gap between said and true, weighted by walks).
    """
    known = [one for one in walked if one.case.faults]
    reliability = _reliability(walked)
    return Scores(
        walks=len(walked),
        first=fmean(one.verdict.leader in one.case.faults for one in known),
        first_three=fmean(bool(set(one.verdict.first_three) & set(one.case.faults)) for one in known),
        cured=fmean(one.cured for one in known),
        asked_before_verdict=median(one.asked_before_verdict for one in walked),
        asked=median(one.asked for one in walked),
        asking_minutes=fmean(one.asking_minutes for one in walked),
        vain_minutes=fmean(one.vain_minutes for one in walked),
        minutes_to_cause=fmean(one.minutes_to_cause for one in walked),
        minutes_error=stdev(one.minutes_to_cause for one in walked) / len(walked) ** 0.5,
        minutes=fmean(one.minutes for one in walked),
        repairs=fmean(one.repairs for one in walked),
        calibration_error=sum(one.walks * abs(one.said - one.true) for one in reliability) / len(walked),
        reliability=reliability,
        confused=_confused(known),
    )


def _reliability(walked: Sequence[Walked]) -> tuple[Bin, ...]:
    bins: list[list[Walked]] = [[] for _ in range(BINS)]
    for one in walked:
        bins[min(int(one.verdict.probability * BINS), BINS - 1)].append(one)
    return tuple(
        Bin(
            len(inside),
            fmean(one.verdict.probability for one in inside) if inside else 0.0,
            fmean(one.verdict.leader in one.case.faults for one in inside) if inside else 0.0,
        )
        for inside in bins
    )


def _confused(walked: Sequence[Walked]) -> tuple[tuple[str, str, int], ...]:
    """The pairs (true cause, cause that led instead) that came most often."""
    taken = Counter(
        (one.case.faults[0], one.verdict.leader)
        for one in walked
        if len(one.case.faults) == 1 and one.verdict.leader not in one.case.faults
    )
    return tuple((true, led, many) for (true, led), many in sorted(taken.items(), key=lambda it: (-it[1], it[0]))[:10])


def saved(planned: Scores, other: Scores) -> float:
    """Return the share of the other way's minutes to the cause that the planner saves."""
    return 1.0 - planned.minutes_to_cause / other.minutes_to_cause
