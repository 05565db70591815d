"""Numbers with a unit as people write them, and needle counts in turns and sixteenths."""

from __future__ import annotations

import math
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
        "speed": {
            "rpm": "rpm", "1/min": "rpm", "/min": "rpm", "krpm": "krpm", "hz": "revolution/second",
            "rps": "revolution/second",
        },
        "turns": {"turn": "turn", "turns": "turn", "t": "turn"},
        "pressure": {
            "bar": "bar", "psi": "psi", "mbar": "millibar", "mb": "millibar", "kpa": "kilopascal", "hpa": "hectopascal",
            "pa": "pascal", "inhg": "inch_Hg", "in hg": "inch_Hg", "mmhg": "mmHg", "mm hg": "mmHg", "atm": "atmosphere",
            "inh2o": "inch_H2O", "mmh2o": "cmH2O / 10",
        },
        "time": {
            "s": "second", "sec": "second", "second": "second", "seconds": "second", "min": "minute",
            "mins": "minute", "minute": "minute", "minutes": "minute", "h": "hour", "hour": "hour", "hours": "hour",
        },
        "length": {
            "m": "metre", "metre": "metre", "metres": "metre", "meter": "metre", "meters": "metre", "ft": "foot",
            "feet": "foot", "foot": "foot", "'": "foot", "mm": "millimetre", "cm": "centimetre", "in": "inch",
            "inch": "inch", "inches": "inch", '"': "inch", "km": "kilometre",
        },
        "volume": {
            "ml": "millilitre", "cc": "millilitre", "cm3": "millilitre", "cl": "centilitre", "dl": "decilitre",
            "l": "litre", "litre": "litre", "litres": "litre", "liter": "litre", "liters": "litre",
            "us gal": "gallon", "us gallon": "gallon", "us gallons": "gallon", "us fl oz": "fluid_ounce",
            "us floz": "fluid_ounce", "us qt": "quart", "us quart": "quart", "us pint": "pint",
            "imp gal": "imperial_gallon", "imp gallon": "imperial_gallon", "imp gallons": "imperial_gallon",
            "imp fl oz": "imperial_fluid_ounce", "imp floz": "imperial_fluid_ounce", "imp pint": "imperial_pint",
        },
        "voltage": {"v": "volt", "volt": "volt", "volts": "volt", "mv": "millivolt"},
        "percent": {"%": "percent", "percent": "percent", "% rh": "percent"},
        "count": {"count": "count"},
        "plain": {":1": ""},
    }
)  # fmt: skip
"""Kind of number -> spelling -> unit. `C` is degrees here, never coulombs; a hertz is one turn a second, never a radian."""

_KINDS = MappingProxyType({unit: kind for kind, spelled in _UNITS.items() for unit in spelled.values()})
"""Unit -> its kind."""

_TWO_SIZES = MappingProxyType(
    {
        **dict.fromkeys(("gal", "gallon", "gallons"), "US gal (3.785 l) or imp gal (4.546 l)"),
        **dict.fromkeys(("fl oz", "floz", "oz", "ounce", "ounces"), "US fl oz (29.6 ml) or imp fl oz (28.4 ml)"),
        **dict.fromkeys(("pint", "pints", "pt"), "US pint (473 ml) or imp pint (568 ml)"),
    }
)
"""Measures that are not the same on both sides of the ocean -> what to write instead."""

SHOWN = MappingProxyType(
    {
        "degC": "degrees C", "degF": "degrees F", "turn": "turns", "metre": "m", "foot": "ft", "percent": "%",
        "count": "", "second": "seconds", "minute": "minutes", "hour": "hours", "volt": "volts", "pascal": "Pa",
        "hectopascal": "hPa", "kilopascal": "kPa", "millibar": "mbar", "inch_Hg": "inHg", "millimetre": "mm",
        "centimetre": "cm", "inch": "in", "kilometre": "km", "millilitre": "ml", "litre": "l", "gallon": "US gal",
        "fluid_ounce": "US fl oz", "imperial_gallon": "imp gal", "imperial_fluid_ounce": "imp fl oz",
        "centilitre": "cl", "decilitre": "dl", "quart": "US quart", "pint": "US pint", "imperial_pint": "imp pint",
        "atmosphere": "atm", "inch_H2O": "inH2O", "cmH2O / 10": "mmH2O", "revolution/second": "Hz",
        "metre/second": "m/s", "kilogram/metre**3": "kg/m3",
    }
)  # fmt: skip
"""Unit -> as people write it."""

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

    Of a time said from and to, as in '4 or 5 minutes', the longer is meant: whoever waits for a fault waits that long.

    Raises NotAReading when it is no number, has a unit of another kind, or is impossible.
    """
    said = _ROUGHLY.sub("", " ".join(text.split()))
    if _KINDS.get(str(measure.unit)) == "time" and len(said) <= LONGEST:
        said = _FROM_TO.sub(r"\1", said)
        word, _, rest = said.partition(" ")
        said = f"{_IN_WORDS.get(word.lower(), word)} {rest}"
    return parse_quantity(said, str(measure.unit), measure.least, measure.most)


_ROUGHLY = re.compile(r"^(?:about|around|roughly|some|maybe|perhaps)\s+", re.IGNORECASE)
_FROM_TO = re.compile(r"^\w[\w.,]*(?:\s+(?:or|to)\s+|\s*-\s*)(?=\w)(.*)$")
_COUNTED = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_IN_WORDS = MappingProxyType(
    {word: number for number, word in enumerate(_COUNTED, 1)} | {"fifteen": 15, "twenty": 20, "thirty": 30, "forty": 40}
)


def number_of(reading: str | None, measure: Measure | None) -> float | None:
    """Return the number of a reading that was kept, or None where none is asked for, or none that today's rules take."""
    if reading is None or measure is None:
        return None
    try:
        return parse_reading(reading, measure).value
    except NotAReading:
        return None


def parse_quantity(text: str, to: str, least: float, most: float) -> Reading:
    """Return the number meant by `text` in the unit `to` (pint's name, or '' for a plain number), from `least` to `most`.

    Any unit that fits may be given; without one `to` is meant. Raises NotAReading with one line.
    """
    given = " ".join(text.split())
    found = _NUMBER.fullmatch(given) if len(given) <= LONGEST else None
    shown = SHOWN.get(to, to)
    if not found:
        raise NotAReading(f"'{_short(given)}' is not a number; write for instance {_example(least, most)} {shown}".strip())
    spelled = found["unit"].strip()
    value = float(_fraction(found["number"]))
    value = -value if found["sign"] == "-" else value
    if spelled:
        value = _in_unit(value, spelled, to)
    if not least <= value <= most:
        comma = f" (a comma marks decimals here: {value:g})" if _LOOKS_LIKE_THOUSANDS.match(given) else ""
        possible = f"{_range(least, most)} {shown}".rstrip()
        raise NotAReading(f"{_short(given)} cannot be: {possible} is possible here{comma}")
    return Reading(value, given if spelled else f"{given} {shown}".strip())


_LOOKS_LIKE_THOUSANDS = re.compile(r"\d{1,3}(,\d{3})+\b")


def _in_unit(value: float, spelled: str, to: str) -> float:
    """Return `value`, given in the unit that somebody wrote, in the unit `to`. Raises NotAReading."""
    word = " ".join(spelled.lower().removeprefix("deg ").removeprefix("degrees ").split())
    kind = _KINDS.get(to, "")
    units = _UNITS.get(kind, {})
    if kind == "volume" and word in _TWO_SIZES:
        raise NotAReading(f"'{_short(spelled)}' has two sizes; write {_TWO_SIZES[word]}")
    if word in units:
        return convert(value, units[word], to)
    if kind not in _OWN_SPELLINGS and _A_UNIT.fullmatch(spelled):
        from pint import PintError

        try:
            return convert(value, "/".join(_SLOPES.get(part, part) for part in spelled.split("/")), to)
        except PintError:
            pass
    known = ", ".join(sorted({SHOWN.get(name, name) for name in units.values()} - {""})) or SHOWN.get(to, to)
    raise NotAReading(f"'{_short(spelled)}' is no unit of {kind or 'this'}; use {known or 'a plain number'}")


_OWN_SPELLINGS = ("temperature", "plain", "count", "turns")
"""Kinds whose spellings all stand in the table: pint would take C for coulombs."""

_A_UNIT = re.compile(r"[A-Za-z_]{1,20}(/[A-Za-z_]{1,20})?")
"""What may be tried as pint's own name of a unit: a word, or one word by another. Never an expression."""

_SLOPES = MappingProxyType({"C": "delta_degC", "F": "delta_degF", "K": "kelvin"})
"""Letters that are degrees where one unit stands by another: 3 C/min."""


def _example(least: float, most: float) -> str:
    """A number that could be meant: the middle of what is possible, where that has two ends."""
    middle = (least + most) / 2
    return f"{round(middle):g}" if math.isfinite(middle) and abs(middle) >= 1 else "1.5"


def _range(least: float, most: float) -> str:
    if math.isinf(most):
        return f"{least:g} or more"
    return f"up to {most:g}" if math.isinf(least) else f"from {least:g} to {most:g}"


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


_FEW = ("never", "once", "twice", "three times", "four times", "five times", "six times", "seven times", "eight times",
        "nine times", "ten times")  # fmt: skip


def count_words(many: int) -> str:
    """Return how often as people say it: 4 -> 'four times'."""
    return _FEW[many] if many < len(_FEW) else f"{many} times"


def percent(share: float) -> str:
    """Return a share as people say it, never rounded to impossible or certain."""
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def times(decibels: float) -> str:
    """A weight of evidence as what it multiplies the odds by: +6 dB -> 'x 4.0', -10 dB -> '/ 10'; minus infinity -> 'x 0',
    for what is ruled out."""
    if decibels == -math.inf:
        return "x 0"
    factor = 10 ** (abs(decibels) / 10)
    if factor < 1.05:
        return "no change"
    said = f"{factor:.1f}" if factor < 9.95 else f"{factor:.0f}"
    return f"{'x' if decibels > 0 else '/'} {said}"
