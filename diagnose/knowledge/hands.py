"""What hands touch at work that can hurt, and the cautions that speak of it."""

from __future__ import annotations

import re
from types import MappingProxyType

from .checker import CLAUSE, FORBIDS
from .model import Caution

NEEDLE = "a needle"

_HANDS = (
    r"\b(?:adjust|blow|change|clean|close|connect|disconnect|drain|draw|empty|fill|fit|flick|loosen|lower|move|open|pour"
    r"|press|prime|pull|pump|put|raise|refuel|remove|rinse|run|screw|seat|set|spill|spray|squeeze|swap|take|tighten|turn"
    r"|unscrew|wash|wind)\b[^.;:,]{0,40}?"
)
_TOUCHES = MappingProxyType(
    {
        NEEDLE: re.compile(
            _HANDS + r"\b(?:[HL]\b|(?:(?:[HL]|mixture|both|either|high-speed|low-speed) )(?:needles?|screws?)\b|needles\b)"
        ),
        "fuel": re.compile(_HANDS + r"\b(?:fuel|petrol|tank|carburettor cleaner)\b", re.IGNORECASE),
        "the rotor or propeller": re.compile(r"\b(?:rotor|propeller|blades?)\b", re.IGNORECASE),
        "the spark": re.compile(r"\b(?:spark(?! plug)|plug cap|plug lead|high tension)\b", re.IGNORECASE),
    }
)
"""What a step touches -> the words that say so. A spark or a blade hurts whoever only looks at it."""

_SPEAKS = MappingProxyType(
    {
        NEEDLE: re.compile(r"\b(?:needles?|mixture)\b", re.IGNORECASE),
        "fuel": re.compile(r"\b(?:fuel|petrol|vapour)\b", re.IGNORECASE),
        "the rotor or propeller": re.compile(r"\b(?:rotors?|blades?|propellers?)\b", re.IGNORECASE),
        "the spark": re.compile(r"\b(?:spark|ignition|high tension|shock)\b", re.IGNORECASE),
    }
)
"""What a step touches -> what a caution of that kind speaks of."""


def touched(step: str) -> frozenset[str]:
    """Return what a step touches that can hurt: a needle, fuel, the rotor or propeller, the spark."""
    return frozenset(kind for kind, words in _TOUCHES.items() if _says(step, words))


def _says(step: str, words: re.Pattern[str]) -> bool:
    """True if a clause of the step says these words and forbids nothing before them."""
    for clause in CLAUSE.split(step):
        found = words.search(clause[:1].lower() + clause[1:])
        if found and not FORBIDS.search(clause[: found.end()]):
            return True
    return False


def spoken_of(caution: Caution) -> frozenset[str]:
    """Return those of the same things of which a caution speaks."""
    return frozenset(kind for kind, words in _SPEAKS.items() if words.search(f"{caution.id} {caution.says}"))
