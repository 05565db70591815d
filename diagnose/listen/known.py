"""What is known of a machine and its recording before it is heard. All of it may be left out; less can then be told."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Known:
    """What the person at the field can say.

    machine   as the rules name it: helicopter, aeroplane, bench-stand; '' unknown
    speed     about how fast the engine turns at its fastest in it, rpm; within a third of it
    gear      turns of the engine to one of the rotor
    head      about how fast the rotor turns at its fastest in it, rpm; within a third of it
    blades    of the rotor
    firings   bursts in a turn: 1, or 2 for a twin that fires by turns
    loads     (from, to) in seconds while it worked hard
    unloads   (from, to) in seconds after the load had come off, still at speed
    by_itself True if it stopped by itself in the recording, False if it was stopped, None unknown
    """

    machine: str = ""
    speed: float | None = None
    gear: float | None = None
    head: float | None = None
    blades: int = 2
    firings: int = 1
    loads: tuple[tuple[float, float], ...] = ()
    unloads: tuple[tuple[float, float], ...] = ()
    by_itself: bool | None = None
