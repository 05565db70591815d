"""Numbers with a unit as people write them, and needle counts in turns and sixteenths."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from ..knowledge.model import Measure

SIXTEENTHS = 16
"""Needles are counted in sixteenths of a turn: the last adjustments are about one sixteenth (common practice)."""

_UNITS = MappingProxyType(
    {
        "temperature": {
            "c": "degC", "°c": "degC", "degc": "degC", "celsius": "degC",
            "f": "degF", "°f": "degF", "degf": "degF", "fahrenheit": "degF", "k": "kelvin",
        },
        "speed": {"rpm": "rpm", "1/min": "rpm", "/min": "rpm", "krpm": "krpm", "hz": "hertz"},
        "turns": {"turn": "turn", "turns": "turn", "t": "turn"},
        "pressure": {
            "bar": "bar", "psi": "psi", "mbar": "millibar", "kpa": "kilopascal", "hpa": "hectopascal", "pa": "pascal",
        },
        "time": {
            "s": "second", "sec": "second", "second": "second", "seconds": "second", "min": "minute",
            "mins": "minute", "minute": "minute", "minutes": "minute", "h": "hour", "hour": "hour", "hours": "hour",
        },
        "length": {"m": "metre", "metre": "metre", "metres": "metre", "ft": "foot", "feet": "foot", "foot": "foot"},
        "voltage": {"v": "volt", "volt": "volt", "volts": "volt", "mv": "millivolt"},
        "percent": {"%": "percent", "percent": "percent"},
        "count": {"count": "count"},
    }
)  # fmt: skip
"""Kind of number -> spelling -> unit. `C` is degrees here, never coulombs."""

SHOWN = MappingProxyType(
    {
        "degC": "degrees C", "degF": "degrees F", "turn": "turns", "metre": "m", "foot": "ft", "percent": "%",
        "count": "", "second": "seconds", "minute": "minutes", "hour": "hours", "volt": "volts",
    }
)  # fmt: skip

_NUMBER = re.compile(
    r"\s*(?P<sign>[+-]?)\s*(?P<number>\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?|[.,]\d+)\s*(?P<unit>.*)", re.DOTALL
)


LONGEST = 40
"""Characters of a number; a longer one is no number that anybody reads off an instrument."""


class NotAReading(ValueError):
    """The text is not a number that can be meant here; the message says why in one line."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A number in the unit of its question, and the text as it was given."""

    value: float
    given: str


def parse_reading(text: str, measure: Measure) -> Reading:
    """Return the number meant by `text`, in the measure's unit. Without a unit the measure's own is meant.

    Raises NotAReading when it is no number, has a unit of another kind, or is impossible.
    """
    given = " ".join(text.split())
    found = _NUMBER.fullmatch(given) if len(given) <= LONGEST else None
    units = _UNITS[measure.kind]
    example = f"{_example(measure):g} {SHOWN.get(measure.unit, measure.unit)}".strip()
    if not found:
        raise NotAReading(f"'{_short(given)}' is not a number; write for instance {example}")
    unit = found["unit"].strip().lower().removeprefix("deg ").removeprefix("degrees ")
    if unit and unit not in units:
        known = ", ".join(sorted({SHOWN.get(name, name) for name in units.values()} - {""}))
        raise NotAReading(
            f"'{_short(found['unit'].strip())}' is no unit of {measure.kind}; use {known or 'a plain number'}"
        )
    value = float(_fraction(found["number"]))
    value = -value if found["sign"] == "-" else value
    if unit:
        value = convert(value, units[unit], measure.unit)
    if not measure.least <= value <= measure.most:
        raise NotAReading(
            f"{_short(given)} cannot be: from {measure.least:g} to {measure.most:g}"
            f" {SHOWN.get(measure.unit, measure.unit)} is possible here".rstrip()
        )
    return Reading(value, given if unit else f"{given} {SHOWN.get(measure.unit, measure.unit)}".strip())


def _example(measure: Measure) -> float:
    return round((measure.least + measure.most) / 2)


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def convert(value: float, unit: str, to: str) -> float:
    """Return `value` in another unit of the same kind. Conversions are pint's."""
    if unit == to:
        return value
    units = _registry()
    return float(units.Quantity(value, unit).to(to).magnitude)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # a quarter of a second to load, and most walks never need it

    registry: Any = pint.UnitRegistry(cache_folder=None)
    registry.define("krpm = 1000 * rpm")
    return registry


def _fraction(text: str) -> Fraction:
    try:
        return sum((Fraction(part) for part in text.replace(",", ".").split()), Fraction(0))
    except ZeroDivisionError:
        raise NotAReading(f"'{_short(text)}' divides by nothing") from None


def parse_turns(text: str) -> tuple[int, bool]:
    """Return (sixteenths of a turn, True if it is a move rather than a count).

    `1 1/4` is a count from lightly seated; `+1/8` and `-1/16` are moves, plus being out (open, richer).
    Raises NotAReading for anything that is not whole sixteenths.
    """
    given = " ".join(text.split())
    found = _NUMBER.fullmatch(given) if len(given) <= LONGEST else None
    if not found or found["unit"].strip().lower() not in ("", "turn", "turns", "t", "turn out", "turns out"):
        raise NotAReading(f"'{_short(given)}' is no count of turns; write 1 1/4, or a move such as +1/8")
    exact = _fraction(found["number"]) * SIXTEENTHS
    if exact.denominator != 1:
        raise NotAReading(f"'{_short(given)}' is not in sixteenths; the nearest is {turns(round(exact))}")
    count = int(exact)
    return (-count if found["sign"] == "-" else count), bool(found["sign"])


def turns(sixteenths: int) -> str:
    """Return a count as people say it: 20 -> '1 1/4 turns'."""
    whole, rest = divmod(abs(sixteenths), SIXTEENTHS)
    part = Fraction(rest, SIXTEENTHS)
    said = " ".join([*([str(whole)] if whole or not rest else []), *([f"{part}"] if rest else [])])
    sign = "-" if sixteenths < 0 else ""
    return f"{sign}{said} turn{'' if abs(sixteenths) <= SIXTEENTHS else 's'}"


def percent(share: float) -> str:
    """Return a share as people say it, never rounded to impossible or certain."""
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"
