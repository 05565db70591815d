"""What is odd about the way a throttle curve runs: a dip, a step, a flat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

DIP, STEP, FLAT = "dip", "step", "flat"

LEVEL = 1.0
"""Percent throttle. A fall is told if it is more than this and than twice its own standard error; a piece that rises by no
more is flat, where the others rise."""

RISES = 3.0
"""Percent throttle; others that rise by so much make a piece that does not look flat."""

JUMPS = 10.0
"""Percent throttle; no smaller rise is a step."""

STEEPER = 2.0
"""A step rises so many times faster than the curve does on either side of it. At an end a step cannot be told from a curve
that grows steeper."""


@dataclass(frozen=True, slots=True)
class Feature:
    """One oddity between two sticks, and by how much the throttle changes there."""

    kind: str
    start: float
    end: float
    change: float

    def in_points(self) -> str:
        """What it means in the points."""
        between = f"between {self.start:.0f} and {self.end:.0f} % stick"
        if self.kind == DIP:
            return (
                f"The points dip by {-self.change:.0f} % {between}: with more pitch less throttle held the speed. That is"
                " wind, a reading taken too soon, or a mixture that changes there. Measure again before it is believed."
            )
        if self.kind == STEP:
            return (
                f"The points step up by {self.change:.0f} % {between}. A worn linkage, a clutch that just takes hold or a"
                " hole in the mixture does that. Look there before a curve is bent round it."
            )
        return (
            f"The throttle hardly changes {between}. Lost motion in the linkage does that, or readings of one and the same"
            " spot."
        )

    def in_radio(self) -> str:
        """What it means in the curve as it is set."""
        between = f"between {self.start:.0f} and {self.end:.0f} % stick"
        if self.kind == DIP:
            return f"The curve in the radio falls by {-self.change:.0f} % {between}. A usual curve never falls."
        if self.kind == STEP:
            return f"The curve in the radio jumps by {self.change:.0f} % {between}, far more than elsewhere."
        return f"The curve in the radio is flat {between}: more pitch gets no more throttle there."


def features(
    at: Sequence[float], values: Sequence[float], free: Sequence[float], error: Sequence[float], known: Sequence[bool]
) -> list[Feature]:
    """Return the oddities between neighbouring corners that are both known. `free` is the curve without the rule that it
    never falls, `error` its standard errors."""
    pairs = [place for place in range(len(at) - 1) if known[place] and known[place + 1]]
    rises = {place: values[place + 1] - values[place] for place in pairs}
    found = []
    for place in pairs:
        start, end = at[place], at[place + 1]
        fall = free[place] - free[place + 1]
        others = [rise for other, rise in rises.items() if other != place]
        usual = median(others) if len(others) > 1 else None
        if fall > max(LEVEL, 2 * (error[place] ** 2 + error[place + 1] ** 2) ** 0.5):
            found.append(Feature(DIP, start, end, -fall))
        elif {place - 1, place + 1} <= rises.keys() and rises[place] >= max(
            JUMPS, STEEPER * rises[place - 1], STEEPER * rises[place + 1]
        ):
            found.append(Feature(STEP, start, end, rises[place]))
        elif usual is not None and rises[place] <= LEVEL and usual >= RISES and values[place] < 95:
            found.append(Feature(FLAT, start, end, rises[place]))
    return found
