"""The six frequency words, the only way belief is written in a pack."""

from __future__ import annotations

from types import MappingProxyType

FREQUENCY = MappingProxyType(
    {
        "never": 0.02,
        "rarely": 0.10,
        "sometimes": 0.30,
        "often": 0.55,
        "usually": 0.80,
        "nearly-always": 0.95,
    }
)
"""Word -> share of engines (0 to 1). Never 0 or 1: a rule may be wrong, and so may an answer."""

USUAL = ("often", "usually", "nearly-always")
"""What is met so often whatever the fault is nothing to complain of."""
