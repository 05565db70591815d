"""Rotor and propeller: speeds through the gear, the speed of the tips, and the room between idle, clutch and limit."""

from __future__ import annotations

import math
from types import MappingProxyType

from .calculator import Calculator, Given, Input, NotPossible, Page, Row

GAMMA = 1.4
"""Ratio of specific heats of dry air. ISO 2533:1975, Standard Atmosphere, section 2 (kappa)."""

GAS_CONSTANT = 287.05287
"""Of dry air, J/(kg K). ISO 2533:1975, Standard Atmosphere, section 2."""

STANDARD_TEMPERATURE = 15.0
"""Air at sea level in the standard atmosphere, degrees C. ISO 2533:1975."""

SLIPS = 0.03
"""A head speed further below what gear and engine give than this is a clutch that slips; a closer one is the reading
of two tachometers (common practice)."""

IDLE_ROOM = 0.10
"""Idle closer under the engagement of the clutch than this drags the blades when the engine is warm (common practice)."""

INPUTS = (
    Input("machine", "Is it a helicopter or an aeroplane?", choices=MappingProxyType({
        "helicopter": "helicopter: head speed, through a gear and a clutch",
        "aeroplane": "aeroplane: propeller, straight on the crankshaft unless a ratio is given",
    })),
    Input("engine-speed", "Speed of the engine, in the state that is looked at", "rpm", 300, 30_000),
    Input("head-speed", "Speed of the rotor head or the propeller", "rpm", 50, 30_000),
    Input("ratio", "Gear ratio, engine turns to one turn of the head, such as 8.2", "", 0.5, 30),
    Input("diameter", "Diameter over the blade tips", "millimetre", 100, 6_000),
    Input("air-temperature", "Temperature of the air", "degC", -40, 60),
    Input("blade-limit", "Highest speed the maker of the blades or the propeller allows", "rpm", 100, 40_000),
    Input("clutch", "Speed of the engine at which the clutch begins to bite", "rpm", 500, 15_000),
    Input("idle", "Speed of the engine at idle", "rpm", 300, 8_000),
)  # fmt: skip


def speed_of_sound(celsius: float) -> float:
    """Return the speed of sound in dry air, m/s. ISO 2533:1975, section 2: a = sqrt(kappa R T)."""
    return math.sqrt(GAMMA * GAS_CONSTANT * (celsius + 273.15))


def tip_speed(rpm: float, diameter_m: float) -> float:
    """Return the speed of a blade's tip in hover or on the stand, m/s: circumference times turns a second."""
    return math.pi * diameter_m * rpm / 60


def work(given: Given) -> Page:
    """Return speeds, tip speed and margins, of what is given."""
    numbers = {name: value for name, value in given.items() if isinstance(value, float)}
    propeller = given.get("machine") == "aeroplane"
    blades = "propeller" if propeller else "rotor head"
    if propeller:
        numbers.setdefault("ratio", 1.0)
    engine, head, ratio, slip = _speeds(numbers, blades)
    rows = [
        Row("engine-speed", "Engine", engine, "rpm", f"{engine:.0f} rpm"),
        Row("head-speed", blades.capitalize(), head, "rpm", f"{head:.0f} rpm"),
        Row("ratio", "Gear ratio", ratio, "", f"{ratio:.3f} to 1"),
    ]
    says: list[str] = []
    if slip is not None:
        rows.append(Row("slip", "Slip of the clutch", slip * 100, "percent", f"{slip * 100:.1f} %"))
        if slip > SLIPS:
            says.append(f"The {blades} turns slower than the gear says: the clutch slips, or one of the readings is wrong.")
    rows += _tips(numbers, head)
    limit = numbers.get("blade-limit")
    past = limit is not None and head > limit
    if limit is not None:
        room = (limit - head) / limit
        rows.append(Row("blade-margin", "Room to the maker's limit", room * 100, "percent", f"{room * 100:.1f} %"))
        says.append(
            f"STOP: {head:.0f} rpm is past the {limit:.0f} rpm that the maker allows. Do not run it so; set it lower first."
            if past
            else f"{head:.0f} rpm is inside the {limit:.0f} rpm of the maker. A gust or a governor overshoots: leave room."
        )
    rows += _clutch(numbers, engine, says)
    return Page(
        title=f"{'Propeller' if propeller else 'Rotor'} at {head:.0f} rpm",
        rows=tuple(rows),
        says=tuple(says),
        sources=(
            "Speed of sound: ISO 2533:1975, Standard Atmosphere, section 2, a = sqrt(kappa R T), dry air.",
            "Tip speed: circumference times turns a second, in hover or standing still; forward flight adds to it.",
        ),
        cautions=("turning-blades",),
    )


def _speeds(numbers: dict[str, float], blades: str) -> tuple[float, float, float, float | None]:
    """Engine speed, head speed, ratio, and slip where all three were given."""
    engine, head, ratio = (numbers.get(name) for name in ("engine-speed", "head-speed", "ratio"))
    if engine is not None and head is not None and ratio is not None:
        slip = 1 - head * ratio / engine
        if slip < -SLIPS:
            raise NotPossible(
                f"{head:.0f} rpm of the {blades} at {ratio:g} to 1 is an engine speed of {head * ratio:.0f} rpm, more than"
                f" the {engine:.0f} rpm given; read both at the same moment, or count the teeth again"
            )
        return engine, head, ratio, slip
    if engine is not None and ratio is not None:
        return engine, engine / ratio, ratio, None
    if head is not None and ratio is not None:
        return head * ratio, head, ratio, None
    if engine is not None and head is not None:
        return engine, head, engine / head, None
    raise NotPossible("give two of engine-speed, head-speed and ratio; the third follows")


def _tips(numbers: dict[str, float], head: float) -> list[Row]:
    if "diameter" not in numbers:
        return []
    speed = tip_speed(head, numbers["diameter"] / 1000)
    celsius = numbers.get("air-temperature", STANDARD_TEMPERATURE)
    mach = speed / speed_of_sound(celsius)
    return [
        Row("tip-speed", "Speed of the blade tips", speed, "metre/second", f"{speed:.1f} m/s ({speed * 3.6:.0f} km/h)"),
        Row("mach", "Mach number of the tips", mach, "", f"{mach:.3f} at {celsius:g} degrees C"),
    ]


def _clutch(numbers: dict[str, float], engine: float, says: list[str]) -> list[Row]:
    """The room of the clutch below the running speed, and of the idle below the clutch."""
    clutch, idle = numbers.get("clutch"), numbers.get("idle")
    if clutch is None:
        return []
    rows = [
        Row(
            "clutch-margin", "Running speed over the clutch's bite", (engine / clutch - 1) * 100, "percent",
            f"{(engine / clutch - 1) * 100:.0f} %",
        )
    ]  # fmt: skip
    if idle is not None:
        room = 1 - idle / clutch
        rows.append(Row("idle-margin", "Idle below the clutch's bite", room * 100, "percent", f"{room * 100:.0f} %"))
        if room <= 0:
            says.append("The idle is above the bite of the clutch: the blades turn at idle. Nobody goes near it running.")
        elif room < IDLE_ROOM:
            says.append("The idle is close under the bite of the clutch: warm, or richer, the blades will creep.")
    return rows


CALCULATOR = Calculator("rotor", "Head speed and engine speed, tip speed, clutch and blade margins", INPUTS, work)
