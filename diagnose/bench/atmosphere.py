"""Air: the density of moist air, and the standard atmosphere that turns heights and pressures into each other.

SI units: pascal, kelvin where said, kilogram a cubic metre, metre (of geopotential height; within 3 km of sea level that
is 0.05 % less than a tape would read). Temperatures of weather are in degrees C, humidities are shares from 0 to 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# The standard atmosphere up to 11 km: ISO 2533:1975, Standard Atmosphere (constants from memory); the rows of the table of
# U.S. Standard Atmosphere 1976, as reprinted, are in the tests.
SEA_LEVEL_TEMPERATURE = 288.15
SEA_LEVEL_PRESSURE = 101_325.0
SEA_LEVEL_DENSITY = 1.225
LAPSE = 0.0065
GAS_CONSTANT = 287.05287
GRAVITY = 9.80665
GAMMA = 1.4
_PRESSURE_POWER = GRAVITY / (GAS_CONSTANT * LAPSE)
_DENSITY_POWER = _PRESSURE_POWER - 1

# Moist air. A. Picard, R. S. Davis, M. Glaeser, K. Fujii: Revised formula for the density of moist air (CIPM-2007),
# Metrologia 45 (2008) 149-155. The coefficients are those that eight public programs have alike, section numbers are from
# memory.
_MOLAR_GAS_CONSTANT = 8.314472
_MOLAR_MASS_DRY = 28.96546e-3
_MOLAR_MASS_WATER = 18.01528e-3


@dataclass(frozen=True, slots=True)
class MoistAir:
    """A parcel of air: its density, and the part of it that is dry air (what carries the oxygen), both kg/m3."""

    density: float
    dry: float


def saturation_pressure(celsius: float) -> float:
    """Return the pressure of saturated water vapour, Pa. CIPM-2007, appendix A.1.1."""
    kelvin = celsius + 273.15
    return math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)


def vapour_share(pressure: float, celsius: float, humidity: float) -> float:
    """Return the share of the molecules that are water, from relative humidity. CIPM-2007, appendix A.1.1 and A.1.2."""
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    return humidity * enhancement * saturation_pressure(celsius) / pressure


def humidity_from(celsius: float, dew_point: float, pressure: float) -> float:
    """Return relative humidity from the dew point: the vapour would saturate the air there. CIPM-2007, appendix A.1.1."""
    return vapour_share(pressure, dew_point, 1.0) / vapour_share(pressure, celsius, 1.0)


def moist_air(pressure: float, celsius: float, humidity: float) -> MoistAir:
    """Return the air at a pressure, temperature and relative humidity. CIPM-2007.

    Stated for 600 to 1100 hPa and 15 to 27 degrees C; from -5 to 40 degrees C it stays within 0.02 % of CoolProp 8.
    """
    kelvin = celsius + 273.15
    water = vapour_share(pressure, celsius, humidity)
    compressed = pressure / kelvin
    compressibility = (
        1
        - compressed
        * (
            1.58123e-6
            - 2.9331e-8 * celsius
            + 1.1043e-10 * celsius**2
            + (5.707e-6 - 2.051e-8 * celsius) * water
            + (1.9898e-4 - 2.376e-6 * celsius) * water**2
        )
        + compressed**2 * (1.83e-11 - 0.765e-8 * water**2)
    )
    moles = pressure / (compressibility * _MOLAR_GAS_CONSTANT * kelvin)
    dry = moles * _MOLAR_MASS_DRY * (1 - water)
    return MoistAir(dry + moles * _MOLAR_MASS_WATER * water, dry)


def standard_pressure(height: float) -> float:
    """Return the pressure of the standard atmosphere at a height, Pa."""
    return SEA_LEVEL_PRESSURE * (1 - LAPSE * height / SEA_LEVEL_TEMPERATURE) ** _PRESSURE_POWER


def pressure_height(pressure: float) -> float:
    """Return the height at which the standard atmosphere has this pressure, m."""
    return SEA_LEVEL_TEMPERATURE / LAPSE * (1 - (pressure / SEA_LEVEL_PRESSURE) ** (1 / _PRESSURE_POWER))


def density_height(density: float) -> float:
    """Return density altitude: the height at which the standard atmosphere is as thin, m. Exact inverse of its density."""
    return SEA_LEVEL_TEMPERATURE / LAPSE * (1 - (density / SEA_LEVEL_DENSITY) ** (1 / _DENSITY_POWER))


def field_pressure(qnh: float, height: float) -> float:
    """Return the pressure at a field from its QNH, Pa: the height of the field is laid upon that of the QNH in the
    standard atmosphere, which is how a QNH is made (ICAO Doc 7488, Manual of the ICAO Standard Atmosphere; from memory)."""
    return standard_pressure(pressure_height(qnh) + height)


def speed_of_sound(celsius: float) -> float:
    """Return the speed of sound in dry air, m/s: the root of kappa R T. ISO 2533:1975."""
    return math.sqrt(GAMMA * GAS_CONSTANT * (celsius + 273.15))
