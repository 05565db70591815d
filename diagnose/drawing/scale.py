"""What every drawing of a chart needs first: the numbers that count, the limits of an axis, round numbers along it, and
which letter or sign stands for what."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from string import ascii_lowercase

from .chart import Axis, Band, Chart

TIED = "\u00a0"
"""The space between a number and its unit, where no line is broken."""


def finite(numbers: Iterable[float]) -> list[float]:
    """Those that can be drawn."""
    return [number for number in numbers if math.isfinite(number)]


def limits(numbers: Iterable[float]) -> tuple[float, float] | None:
    """From the least to the most; a little wider where all are the same; nothing where there is no number."""
    drawn = finite(numbers)
    if not drawn:
        return None
    low, high = min(drawn), max(drawn)
    # A spread that arithmetic can hardly tell from none would be all rounding error on paper.
    if high - low > max(abs(low), abs(high), 1.0) * 1e-9:
        return low, high
    room = abs(low) / 20 if abs(low) > 1e-6 else 1.0
    return low - room, high + room


def x_limits(chart: Chart) -> tuple[float, float] | None:
    """Of all that has a place on the x axis."""
    return limits(
        [x for trace in chart.traces for x in trace.x]
        + [edge for band in chart.bands for edge in (band.start, band.end)]
        + [mark.x for mark in chart.marks]
    )


def y_limits(chart: Chart) -> tuple[float, float] | None:
    """Of all traces, with a twentieth of room above and below so that nothing lies on the frame."""
    found = limits(y for trace in chart.traces for y in trace.y)
    if found is None:
        return None
    low, high = found
    room = (high - low) / 20
    return low - room, high + room


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers from `low` to `high`, 1, 2 or 5 times a power of ten apart, at most `most` of them."""
    least_step = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(least_step))
    step = next(power * by for by in (1, 2, 5, 10, 20) if power * by >= least_step)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)][:most]


def written(numbers: Sequence[float]) -> list[str]:
    """Ticks in as few figures as tell them apart, all with the same number of decimals; very large and small ones in
    powers of ten."""
    apart = min((abs(after - before) for before, after in zip(numbers, numbers[1:], strict=False)), default=0.0)
    apart = apart or abs(numbers[0] if numbers else 0.0) or 1.0
    decimals = max(0, -math.floor(math.log10(apart) + 1e-9))
    if decimals > 5 or any(abs(number) >= 1e7 for number in numbers):
        return [f"{number + 0.0:.4g}" for number in numbers]
    return [f"{round(number, decimals) + 0.0:.{decimals}f}" for number in numbers]


def one(number: float, among: tuple[float, float]) -> str:
    """A single place on an axis, to a two-hundredth of its length."""
    decimals = max(0, -math.floor(math.log10((among[1] - among[0]) / 200)))
    return f"{round(number, decimals) + 0.0:.{decimals}f}"


def measured(number: str, unit: str) -> str:
    """`31 s`."""
    return f"{number}{TIED}{unit}" if unit else number


def called(axis: Axis) -> str:
    """`head temperature, °C`."""
    return f"{axis.label}, {axis.unit}" if axis.unit else axis.label


def letters(count: int) -> list[str]:
    """One for each mark: a to z, and round again."""
    return [ascii_lowercase[number % 26] for number in range(count)]


def by_name(bands: Sequence[Band]) -> dict[str, list[Band]]:
    """Bands that stand for the same, together; in the order in which they first come."""
    together: dict[str, list[Band]] = {}
    for band in bands:
        together.setdefault(band.name, []).append(band)
    return together


def stretches(bands: Sequence[Band], unit: str, among: tuple[float, float], most: int = 3) -> str:
    """`12 to 15, 20 to 31 s and 4 more`."""
    said = ", ".join(f"{one(band.start, among)} to {one(band.end, among)}" for band in bands[:most])
    more = f" and {len(bands) - most} more" if len(bands) > most else ""
    return measured(said, unit) + more
