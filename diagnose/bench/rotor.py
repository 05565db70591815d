"""Rotor and propeller: speeds through the gear, the speed of the tips, and the room between idle, clutch and limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .atmosphere import SEA_LEVEL_TEMPERATURE, speed_of_sound
from .calculator import Calculator, Given, Input, NotPossible, Page, Row, numbers_of

SLIPS = 3.0
"""Percent by which a head may lag behind the gear before it counts as slip; less is the reading of two tachometers
(judgement)."""

TIGHT = 5.0
"""Percent of room to the maker's limit under which a gust or an overshoot of the governor goes past it (judgement)."""

IDLE_ROOM = 10.0
"""Percent that the idle should stay under the bite of the clutch (judgement; a band of the question idle-under-clutch)."""

INPUTS = (
    Input("machine", "What is the engine in?", choices=MappingProxyType({
        "helicopter": "a helicopter: a rotor, through a gear and a clutch",
        "aeroplane": "an aeroplane: a propeller, straight on the crankshaft unless a ratio is given",
    })),
    Input("engine-speed", "Speed of the engine", "rpm", 300, 30_000),
    Input("head-speed", "Speed of the rotor head or the propeller", "rpm", 50, 30_000),
    Input("ratio", "Gear ratio, turns of the engine to one of the head, such as 8.2", "", 0.5, 30),
    Input("diameter", "Diameter over the blade tips", "millimetre", 100, 6_000),
    Input("air-temperature", "Temperature of the air", "degC", -40, 60, only_with="diameter"),
    Input("blade-limit", "Highest speed that the maker of the blades or the propeller allows", "rpm", 100, 40_000),
    Input("engine-lowest", "Lowest working speed that the engine maker gives", "rpm", 500, 30_000),
    Input("engine-highest", "Highest working speed that the engine maker gives", "rpm", 500, 30_000),
    Input("clutch", "Speed of the engine at which the clutch begins to bite", "rpm", 500, 15_000),
    Input("idle", "Speed of the warm engine at idle", "rpm", 300, 8_000, only_with="clutch"),
)  # fmt: skip


@dataclass(slots=True)
class _Told:
    """What one part of the page adds to it."""

    rows: list[Row] = field(default_factory=list)
    says: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    findings: dict[str, str] = field(default_factory=dict)


def tip_speed(rpm: float, diameter: float) -> float:
    """Return the speed of a blade's tip standing or in hover, m/s, for a diameter in metres: circumference times turns a
    second."""
    return math.pi * diameter * rpm / 60


def work(given: Given) -> Page:
    """Return speeds, tip speed and margins, as far as the inputs tell them."""
    numbers = numbers_of(given)
    propeller = given.get("machine") == "aeroplane"
    if propeller:
        numbers.setdefault("ratio", 1.0)
    told = _Told()
    engine, head = _speeds(numbers, "propeller" if propeller else "rotor", told)
    for part in (_limit, _engine_range, _clutch):
        part(numbers, engine, head, told)
    _tips(numbers, head, told)
    return Page(
        title=f"{'Propeller' if propeller else 'Rotor'} at {head:.0f} rpm, engine at {engine:.0f} rpm",
        rows=tuple(told.rows),
        says=tuple(told.says),
        sources=(
            "Tip speed: circumference times turns a second, standing or in hover; a dive or fast flight adds to it.",
            "Speed of sound: root of kappa R T in dry air, ISO 2533:1975, Standard Atmosphere.",
        ),
        cautions=tuple(told.cautions),
        findings=told.findings,
    )


def _speeds(numbers: Mapping[str, float], blades: str, told: _Told) -> tuple[float, float]:
    """Engine speed and head speed, out of two of the three. All three tell whether the clutch slips."""
    engine, head, ratio = (numbers.get(name) for name in ("engine-speed", "head-speed", "ratio"))
    slip = None
    if engine is not None and head is not None:
        if ratio is not None:
            slip = (1 - head * ratio / engine) * 100
            if slip < -SLIPS:
                raise NotPossible(
                    f"the {blades} at {head:.0f} rpm and {ratio:g}:1 is an engine speed of {head * ratio:.0f} rpm, and"
                    f" {engine:.0f} rpm is given; read both at the same moment, or count the teeth again"
                )
        else:
            ratio = engine / head
    elif engine is not None and ratio is not None:
        head = engine / ratio
    elif head is not None and ratio is not None:
        engine = head * ratio
    else:
        raise NotPossible("give two of engine-speed, head-speed and ratio; the third follows")
    told.rows += [
        Row("engine-speed", "Engine", engine, "rpm", f"{engine:.0f} rpm"),
        Row("head-speed", blades.capitalize(), head, "rpm", f"{head:.0f} rpm"),
        Row("ratio", "Gear ratio", ratio, "", f"{ratio:.3f}:1"),
    ]
    if slip is not None and blades == "rotor":
        told.rows.append(_percent("slip", "Slip of the clutch", slip))
        told.findings["clutch-ratio"] = "slips" if slip > SLIPS else "together"
        if slip > SLIPS:
            told.says.append(
                "The rotor turns slower than the gear says: the clutch slips, or one of the readings is wrong."
            )
    return engine, head


def _limit(numbers: Mapping[str, float], engine: float, head: float, told: _Told) -> None:
    limit = numbers.get("blade-limit")
    if limit is None:
        return
    room = (1 - head / limit) * 100
    told.rows.append(_percent("blade-room", "Room to the blade maker's limit", room))
    told.findings["blade-speed"] = "past" if head > limit else "inside"
    told.cautions.append("blade-limit")
    if head > limit:
        told.says.append(
            f"PAST THE LIMIT: {head:.0f} rpm, and the maker allows {limit:.0f} rpm. Do not run it. Set it lower first."
        )
    elif room < TIGHT:
        told.says.append(
            f"Only {room:.1f} % under the maker's {limit:.0f} rpm. A gust or a governor that overshoots goes past it."
        )


def _engine_range(numbers: Mapping[str, float], engine: float, head: float, told: _Told) -> None:
    lowest, highest = numbers.get("engine-lowest"), numbers.get("engine-highest")
    if lowest is not None and highest is not None and lowest > highest:
        raise NotPossible(f"engine-lowest {lowest:.0f} rpm is above engine-highest {highest:.0f} rpm; exchange them")
    if highest is not None and engine > highest:
        told.findings["engine-speed-asked"] = "above"
        told.says.append(
            f"The engine is asked for {engine:.0f} rpm, above the {highest:.0f} rpm its maker gives. What it cannot hold no"
            " governor can hold. Ask for less head speed."
        )
    elif lowest is not None and engine < lowest:
        told.findings["engine-speed-asked"] = "below"
        told.says.append(
            f"The engine is asked for {engine:.0f} rpm, below the {lowest:.0f} rpm its maker gives. It lugs there, and an"
            " engine that lugs gets hot and pings."
        )
    elif lowest is not None and highest is not None:
        told.findings["engine-speed-asked"] = "inside"


def _clutch(numbers: Mapping[str, float], engine: float, head: float, told: _Told) -> None:
    """The room of the clutch below the running speed, and of the idle below the clutch."""
    clutch, idle = numbers.get("clutch"), numbers.get("idle")
    if clutch is None:
        return
    told.rows.append(_percent("clutch-room", "Engine above the bite of the clutch", (engine / clutch - 1) * 100))
    if engine <= clutch:
        told.says.append("At this speed the clutch does not bite yet: it slips, and burns if it is held there.")
    if idle is None:
        return
    room = (1 - idle / clutch) * 100
    told.rows.append(_percent("idle-room", "Idle under the bite of the clutch", room))
    told.findings["idle-under-clutch"] = f"{room:.1f} %"
    if room < 0:
        told.says.append(
            "The idle is above the bite of the clutch, so the rotor turns at idle. Nobody goes near it running."
        )
    elif room < IDLE_ROOM:
        told.says.append(
            "The idle is close under the bite of the clutch. Warm, it speeds up a little and the rotor creeps."
        )


def _tips(numbers: Mapping[str, float], head: float, told: _Told) -> None:
    if "diameter" not in numbers:
        return
    speed = tip_speed(head, numbers["diameter"] / 1000)
    celsius = numbers.get("air-temperature", SEA_LEVEL_TEMPERATURE - 273.15)
    mach = speed / speed_of_sound(celsius)
    told.rows += [
        Row("tip-speed", "Speed of the blade tips", speed, "metre/second", f"{speed:.1f} m/s ({speed * 3.6:.0f} km/h)"),
        Row("mach", "Mach number of the tips", mach, "", f"{mach:.3f} at {celsius:g} degrees C"),
    ]


def _percent(name: str, label: str, value: float) -> Row:
    return Row(name, label, value, "percent", f"{value:.1f} %")


CALCULATOR = Calculator(
    name="rotor",
    title="Head speed and engine speed, tip speed, clutch and blade margins",
    inputs=INPUTS,
    work=work,
    cautions=("turning-blades",),
)
