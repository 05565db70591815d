"""The weather of a setting: as it was written, and as the bench's air calculator takes it."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from types import MappingProxyType
from typing import Any

from ..bench import air, atmosphere
from ..bench.calculator import NotPossible
from ..bench.inputs import understood

WEATHER: Mapping[str, str] = MappingProxyType(
    {
        "temperature": "temperature_c",
        "humidity": "humidity_percent",
        "height": "field_height_m",
        "pressure": "pressure_hpa",
    }
)
"""Input of the air calculator -> column of a setting, in the same unit."""


def air_of(row: Mapping[str, Any]) -> dict[str, float]:
    """Return the density of the air of a setting and its density altitude, as columns; none where too little is known."""
    readings = {name: row[column] for name, column in WEATHER.items() if row.get(column) is not None}
    if "temperature" not in readings:
        return {}
    try:
        density = air.day_of(readings, "When it was set").air.density
    except NotPossible:
        return {}
    return {"air_density": round(density, 4), "density_altitude_m": round(atmosphere.density_height(density))}


def weather_in(inputs: Mapping[str, str]) -> dict[str, float]:
    """Return the weather of now in the inputs of the air calculator as a case keeps them, as columns of a setting."""
    row: dict[str, float] = {}
    for asked in air.INPUTS:
        if asked.name in WEATHER and asked.name in inputs:
            with suppress(NotPossible):  # the calculator of then may have taken other values
                value = understood(asked, inputs[asked.name])
                if isinstance(value, float):
                    row[WEATHER[asked.name]] = value
    return {**row, **air_of(row)} if row else {}
