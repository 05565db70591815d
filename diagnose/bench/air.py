"""The air calculator: the air of now and of the day when the setting was made, and what lies between them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from . import atmosphere, mixture
from .atmosphere import MoistAir, moist_air
from .calculator import Calculator, Given, Input, NotPossible, Page, Row, numbers_of
from .mixture import Shift

THERMOMETER = 1.0
"""Half width of a temperature read in the shade at the field, K (judgement; in the sun it is far more)."""

BAROMETER = 100.0
"""Half width of a pressure that was read or given out, Pa (judgement)."""

WEATHER = 1_500.0
"""Half width of the pressure where only the height is known, Pa: highs and lows move it so far (judgement)."""

HYGROMETER = 0.1
"""Half width of a humidity that was read (judgement)."""

WET_OR_DRY = 0.5
"""Half width where nobody read the humidity: half, and anything may be."""

HEARD = 1.5
"""Percent of mixture under which nothing is heard: within the sixteenth of a turn of the last adjustments (judgement)."""

LARGE = 4.0
"""Percent of mixture from which a setting that was right is wrong (judgement; 30 K of weather, or 900 m)."""

DENSER = 3.0
"""Percent of density that counts as denser or thinner: ten degrees, or three hundred metres (as the check air-compare)."""

MUCH_WARMER, MUCH_HIGHER, MORE_ETHANOL = 10.0, 500.0, 4.0
"""Degrees, metres and percent by volume that the questions of the rules count as a difference."""

_THEN = "set-"


def _inputs(prefix: str, when: str) -> tuple[Input, ...]:
    """What is asked of one day. Only the first must be known of today; the other day may be left out whole."""
    first = f"{prefix}temperature"
    with_first = first if prefix else ""
    return (
        Input(first, f"{when}: temperature of the air in the shade", "degC", -40, 55, needed=not prefix),
        Input(f"{prefix}humidity", f"{when}: relative humidity", "percent", 0, 100, only_with=with_first),
        Input(f"{prefix}dew-point", f"{when}: dew point, since the humidity is not known", "degC", -60, 45,
              unless=(f"{prefix}humidity",), only_with=with_first),
        Input(f"{prefix}height", f"{when}: height of the field above the sea, unless you give its pressure", "metre",
              -450, 5_000, only_with=with_first),
        Input(f"{prefix}pressure", f"{when}: pressure read at the field itself, not reduced to sea level", "hectopascal",
              500, 1_100, only_with=with_first),
        Input(f"{prefix}qnh", f"{when}: QNH, the pressure reduced to sea level that weather reports give", "hectopascal",
              870, 1_090, unless=(f"{prefix}pressure",), only_with=with_first or "height"),
        Input(f"{prefix}ethanol", f"{when}: ethanol in the petrol, by volume (E10 is up to 10)", "percent", 0, 100),
    )  # fmt: skip


INPUTS = (*_inputs("", "Now"), *_inputs(_THEN, "When it was set"))


@dataclass(frozen=True, slots=True)
class Day:
    """The air of one day: pressure in Pa, temperature in degrees C, humidity as a share, each with its half width; the
    height of the field where it was given; and what had to be assumed, in words."""

    pressure: float
    pressure_half: float
    celsius: float
    humidity: float
    humidity_half: float
    height: float | None
    assumed: tuple[str, ...] = ()

    @property
    def air(self) -> MoistAir:
        return moist_air(self.pressure, self.celsius, self.humidity)

    def nudged(self) -> list[Day]:
        """The same day with each reading off by its half width, the other readings as they are."""
        higher, lower = min(self.humidity + self.humidity_half, 1.0), max(self.humidity - self.humidity_half, 0.0)
        return [
            replace(self, celsius=self.celsius + THERMOMETER),
            replace(self, pressure=self.pressure + self.pressure_half),
            replace(self, humidity=higher if higher - self.humidity > self.humidity - lower else lower),
        ]


def day_of(readings: Mapping[str, float], when: str, elsewhere: float | None = None) -> Day:
    """Return the day that the readings tell of. `elsewhere` is the height of the other day's field, taken where none is
    given. Raises NotPossible."""
    celsius = readings["temperature"]
    height, assumed = readings.get("height"), []
    if height is None and "pressure" not in readings and elsewhere is not None:
        height = elsewhere
        assumed.append(f"{when}: the same field is taken, since no other height is given.")
    if "pressure" in readings:
        pressure, half = readings["pressure"] * 100, BAROMETER
        _agree(readings, pressure, when)
    elif "qnh" in readings and height is not None:
        pressure, half = atmosphere.field_pressure(readings["qnh"] * 100, height), BAROMETER * 1.5
    elif height is not None:
        pressure, half = atmosphere.standard_pressure(height), WEATHER
        assumed.append(f"{when}: no pressure is given, so the usual one of that height is taken, give or take 15 hPa.")
    else:
        raise NotPossible(f"{when.lower()}: give the pressure at the field, or the height of the field (with QNH if known)")
    humidity, wetness = _humidity(readings, celsius, pressure, when)
    if wetness == WET_OR_DRY:
        assumed.append(f"{when}: no humidity is given, so it may be anything.")
    return Day(pressure, half, celsius, humidity, wetness, readings.get("height"), tuple(assumed))


def _agree(readings: Mapping[str, float], pressure: float, when: str) -> None:
    """QNH and height say the pressure too; a barometer that shows QNH is the usual mistake."""
    if "qnh" not in readings or "height" not in readings:
        if "height" in readings and abs(pressure - atmosphere.standard_pressure(readings["height"])) > 6_000:
            raise NotPossible(
                f"{when.lower()}: {pressure / 100:.0f} hPa cannot be the pressure at {readings['height']:.0f} m;"
                " if it is reduced to sea level, give it as QNH"
            )
        return
    reduced = atmosphere.field_pressure(readings["qnh"] * 100, readings["height"])
    if abs(reduced - pressure) > 500:
        raise NotPossible(
            f"{when.lower()}: QNH and height make {reduced / 100:.0f} hPa at the field,"
            f" and {pressure / 100:.0f} hPa is given; leave one of them out"
        )


def _humidity(readings: Mapping[str, float], celsius: float, pressure: float, when: str) -> tuple[float, float]:
    """Relative humidity and its half width."""
    if "dew-point" not in readings:
        return (readings["humidity"] / 100, HYGROMETER) if "humidity" in readings else (0.5, WET_OR_DRY)
    if readings["dew-point"] > celsius:
        raise NotPossible(
            f"{when.lower()}: a dew point of {readings['dew-point']:g} degrees C is above the temperature; it cannot be"
        )
    humidity = atmosphere.humidity_from(celsius, readings["dew-point"], pressure)
    if "humidity" in readings and abs(humidity - readings["humidity"] / 100) > 0.15:
        raise NotPossible(
            f"{when.lower()}: that dew point means {humidity * 100:.0f} % humidity,"
            f" and {readings['humidity']:g} % is given; leave one of them out"
        )
    return humidity, HYGROMETER


def air_band(now: Day, then: Day) -> Shift:
    """Return the band of the shift from then to now: over the exponents, and over what the readings leave open."""
    bands = []
    for exponent in (mixture.WEAKEST, mixture.STRONGEST):
        middle = mixture.air_shift(now.air, then.air, exponent)
        off = [mixture.air_shift(day.air, then.air, exponent) for day in now.nudged()]
        off += [mixture.air_shift(now.air, day.air, exponent) for day in then.nudged()]
        half = math.hypot(*(one - middle for one in off))
        bands.append((middle - half, middle + half))
    return Shift(min(least for least, _ in bands), max(most for _, most in bands))


def work(given: Given) -> Page:
    """Return the air of now; and, where the other day or both fuels are given, how far the mixture has gone since."""
    numbers = numbers_of(given)
    then = {name.removeprefix(_THEN): value for name, value in numbers.items() if name.startswith(_THEN)}
    now = {name: value for name, value in numbers.items() if not name.startswith(_THEN)}
    today = day_of(now, "Now")
    rows, says = list(_rows(today, "now", "Now")), list(today.assumed)
    findings: dict[str, str] = {}
    shifts: list[Shift] = []
    if then.keys() - {"ethanol"}:
        if "temperature" not in then:
            raise NotPossible("when it was set: give its temperature too, or none of that day")
        that_day = day_of(then, "When it was set", now.get("height"))
        rows += [*_rows(that_day, "set", "Set"), *_air_rows(today, that_day)]
        says += that_day.assumed
        findings |= _air_findings(today, that_day)
        shifts.append(air_band(today, that_day))
        rows.append(_shift_row("air-shift", "Mixture since then, by the air", shifts[-1]))
    if "ethanol" in now and "ethanol" in then:
        findings["ethanol-compared"] = _answer(
            now["ethanol"] - then["ethanol"], MORE_ETHANOL, "less-now", "alike", "more-now"
        )
        shifts.append(mixture.fuel_band(now["ethanol"] / 100, then["ethanol"] / 100))
        rows.append(_shift_row("fuel-shift", "Mixture since then, by the ethanol", shifts[-1]))
    elif "ethanol" in now or "ethanol" in then:
        says.append("Ethanol counts only where it is given for both days.")
    if not shifts:
        says.append("With the air of the day when it was set, or the ethanol of both fuels, the change of mixture follows.")
        return Page("The air", tuple(rows), tuple(says), SOURCES[:2])
    shift = shifts[0].followed_by(shifts[1]) if len(shifts) == 2 else shifts[0]
    if len(shifts) == 2:
        rows.append(_shift_row("shift", "Mixture since then, both together", shift))
    findings["mixture-reckoned"] = f"{(shift.middle - 1) * 100:.1f} %"
    return Page(
        title="The air, and the mixture since it was set",
        rows=tuple(rows),
        says=(*_meaning(shift), *says),
        sources=SOURCES if "ethanol-compared" in findings else SOURCES[:3],
        cautions=("cold-day-lean", "lean-run") if shift.least < 1 - HEARD / 100 else ("cold-day-lean",),
        findings=findings,
    )


SOURCES = (
    "Density of moist air: CIPM-2007, Picard and others, Metrologia 45 (2008) 149-155.",
    "Density altitude, QNH: standard atmosphere of ISO 2533:1975 and U.S. Standard Atmosphere 1976.",
    "Mixture: a plain carburettor goes as one over the root of the density (engine textbooks), a diaphragm carburettor by"
    " less, hence exponents from 0.3 to 0.5. Oxygen goes with the dry part of the air, so damp counts twice.",
    "Ethanol: air needed by weight 14.6 for petrol and 9.0 for ethanol, by elemental balance.",
)


def _rows(day: Day, name: str, label: str) -> list[Row]:
    air = day.air
    height = atmosphere.density_height(air.density)
    return [
        Row(f"{name}-pressure", f"{label}: pressure at the field", day.pressure / 100, "hectopascal",
            f"{day.pressure / 100:.0f} hPa"),
        Row(f"{name}-density", f"{label}: density of the air", air.density, "kilogram/metre**3",
            f"{air.density:.3f} kg/m3"),
        Row(f"{name}-density-altitude", f"{label}: density altitude", height, "metre",
            f"{height:.0f} m ({height / 0.3048:.0f} ft)"),
    ]  # fmt: skip


def _air_rows(now: Day, then: Day) -> list[Row]:
    density = (now.air.density / then.air.density - 1) * 100
    oxygen = (now.air.dry / then.air.dry - 1) * 100
    return [
        Row("density-change", "Density since then", density, "percent", f"{density:+.1f} %"),
        Row("oxygen-change", "Oxygen since then, and about so much power", oxygen, "percent", f"{oxygen:+.1f} %"),
    ]


def _shift_row(name: str, label: str, shift: Shift) -> Row:
    least, most = (shift.least - 1) * 100, (shift.most - 1) * 100
    return Row(name, label, (least + most) / 2, "percent", said(shift), least, most)


def said(shift: Shift) -> str:
    """A band in words: '2 to 4 % richer', '1 % leaner to 2 % richer'."""
    least, most = (shift.least - 1) * 100, (shift.most - 1) * 100
    if most - least < 0.05 and abs(most) < 0.05:
        return "no change"
    if least >= 0:
        return f"{least:.1f} to {most:.1f} % richer"
    if most <= 0:
        return f"{-most:.1f} to {-least:.1f} % leaner"
    return f"{-least:.1f} % leaner to {most:.1f} % richer"


def _air_findings(now: Day, then: Day) -> dict[str, str]:
    """What the rules ask of two days, as far as the readings tell it."""
    density = (now.air.density / then.air.density - 1) * 100
    findings = {
        "air-compared": _answer(density, DENSER, "thinner", "alike", "denser"),
        "weather-against-when-set": _answer(now.celsius - then.celsius, MUCH_WARMER, "colder", "same", "hotter"),
    }
    if now.height is not None and then.height is not None:
        findings["height-against-when-set"] = _answer(now.height - then.height, MUCH_HIGHER, "lower", "same", "higher")
    return findings


def _answer(difference: float, counts: float, less: str, same: str, more: str) -> str:
    return more if difference >= counts else less if difference <= -counts else same


LEANER = (
    "Leaner is the side that kills engines. Start from a richer setting than it has, and listen before it gets power.",
    "Listen for: no burble as the load comes off, an idle that hangs high after power, a flat spot as the throttle opens,"
    " speed that climbs and then sags. At any of them take the load off, land, and open the needle before the next run.",
)
RICHER = (
    "Richer is the safe side: a longer burble as the load comes off, slower after a long idle, more smoke, a little less"
    " power. It does not have to be tuned away, and what is set in thin air is too lean in the next dense air.",
)
EITHER = ("Which way it goes cannot be told from this. Take it as leaner until the engine says otherwise.",)


def _meaning(shift: Shift) -> list[str]:
    """Direction, size and uncertainty in plain words, and what to listen for. It never says how far to turn a needle."""
    least, most = (shift.least - 1) * 100, (shift.most - 1) * 100
    size = abs(shift.middle - 1) * 100
    if max(abs(least), abs(most)) < HEARD:
        return ["The mixture is as good as where it was set; nobody hears so little. Look elsewhere for what has changed."]
    how_much = "a lot" if size >= LARGE else "enough to be heard" if size >= HEARD else "little"
    side = RICHER if least >= 0 else LEANER if most <= 0 else EITHER if abs(shift.middle - 1) * 100 < HEARD else ()
    if not side:
        side = LEANER if shift.middle < 1 else RICHER + EITHER
    return [
        f"On the same needles it runs {said(shift)} than when it was set. That is {how_much}.",
        *side,
        "This is reckoned, not measured: no needle is turned by these numbers. The engine's sound and heat decide.",
    ]


CALCULATOR = Calculator("air", "Density of the air, and how the mixture has gone since it was set", INPUTS, work)
