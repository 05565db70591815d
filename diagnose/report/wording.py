"""How states and times are said to people, alike on screen and on paper."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

ENGINE: Mapping[str, str] = MappingProxyType(
    {
        "stopped": "engine stopped",
        "cold": "engine stopped and cold",
        "then-run": "engine stopped first, then run, model restrained",
        "idling": "engine idling, model restrained",
        "loaded": "engine under load, model restrained or flown as the steps say",
    }
)
"""State of the engine during a check -> how it is said."""


def minutes(count: float) -> str:
    """Return a time in minutes as people say it."""
    if count < 1:
        return "half a minute" if count >= 0.4 else "a few seconds"
    return "1 minute" if round(count) == 1 else f"{count:.0f} minutes"
