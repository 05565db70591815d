"""How far a fixed carburettor goes richer or leaner when air or fuel change: always a band.

A shift is the fuel/air ratio, measured against what the fuel needs, of now over then: 1.02 is 2 % richer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .atmosphere import MoistAir

WEAKEST, STRONGEST = 0.3, 0.5
"""Exponent of the air's density in the mixture. The plain carburettor has 1/2: the same volume of air draws the suction
rho v^2 / 2, the jet passes fuel as its root, and the air's mass goes with rho. (Internal combustion engine textbooks;
two worked examples of theirs are in the tests.) A diaphragm carburettor first needs some suction to open its metering
chamber, which takes part of it away: with 300 Pa of some 1 to 5 kPa the exponent falls to 0.3 to 0.47 (worked)."""

PETROL_NEEDS, ETHANOL_NEEDS = 14.6, 9.0
"""Kilograms of air that a kilogram needs. By elements CH1.85 to CH1.87 14.58 to 14.60, ethanol 9.00 (see tests)."""

PETROL_DENSITY, ETHANOL_DENSITY = 745.0, 789.0
"""kg/m3 at 15 to 20 degrees C; petrol is sold from 720 to 775 (EN 228, from memory)."""

FUEL_DOUBT = 0.15
"""Share of an ethanol shift that its other viscosity and boiling may add or take (judgement)."""

PUMP_DOUBT = 0.01
"""Half width of what is said of ethanol, as a share of the volume (judgement; a label gives the most, not the least)."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A band of shifts: least and most, and the middle of the two."""

    least: float
    most: float

    @property
    def middle(self) -> float:
        return (self.least + self.most) / 2

    def followed_by(self, other: Shift) -> Shift:
        """Both at once: the middles multiply, and the half widths add as squares, since one knows nothing of the other."""
        middle = self.middle * other.middle
        half = middle * math.hypot(self._half / self.middle, other._half / other.middle)
        return Shift(middle - half, middle + half)

    @property
    def _half(self) -> float:
        return (self.most - self.least) / 2


def air_shift(now: MoistAir, then: MoistAir, exponent: float) -> float:
    """Return the shift of a change of air. Fuel follows the density of the moist air, oxygen that of its dry part.

    With exponent 1/2 in dry air it is the inverse root of the density ratio: counted twice, humidity makes it richer.
    """
    fuel = (now.density / then.density) ** (1 - exponent)
    return fuel * then.dry / now.dry


def fuel_shift(ethanol_now: float, ethanol_then: float) -> float:
    """Return the shift of another share of ethanol (by volume, 0 to 1) through the same jet under the same suction.

    Needs: air by mass of the blend. Flow: a jet passes mass as the root of the fuel's density.
    """
    needs = _needs(ethanol_now) / _needs(ethanol_then)
    return needs * math.sqrt(_density(ethanol_now) / _density(ethanol_then))


def fuel_band(ethanol_now: float, ethanol_then: float) -> Shift:
    """Return the band of a change of fuel, with the doubt of the labels and of what is left out."""
    middle = fuel_shift(ethanol_now, ethanol_then)
    labels = math.sqrt(2) * abs(fuel_shift(PUMP_DOUBT, 0) - 1) if ethanol_now != ethanol_then else 0.0
    half = math.hypot(FUEL_DOUBT * abs(middle - 1), labels)
    return Shift(middle - half, middle + half)


def _density(ethanol: float) -> float:
    return ethanol * ETHANOL_DENSITY + (1 - ethanol) * PETROL_DENSITY


def _needs(ethanol: float) -> float:
    by_mass = ethanol * ETHANOL_DENSITY / _density(ethanol)
    return by_mass * ETHANOL_NEEDS + (1 - by_mass) * PETROL_NEEDS
