"""The calculators there are. Each lives in a module of its own, read when it is wanted."""

from __future__ import annotations

from importlib import import_module
from types import MappingProxyType

from .calculator import Calculator, NotPossible

MODULES = MappingProxyType(
    {
        "air": "air",
        "needles": "needles",
        "rotor": "rotor",
        "premix": "premix",
        "curve": "curve",
        "leak": "leak",
        "heat": "heat",
    }
)
"""Name -> module in this folder, which holds it as CALCULATOR. In the order of a season: set up, then look after."""


def calculator(name: str) -> Calculator:
    """Return the calculator of that name, or of those first letters. Raises NotPossible."""
    begun = [known for known in MODULES if name and known.startswith(name.lower())]
    if name.lower() not in MODULES and len(begun) != 1:
        raise NotPossible(f"no calculator is called '{name[:40]}'; there are {', '.join(MODULES)}")
    found = name.lower() if name.lower() in MODULES else begun[0]
    calculator: Calculator = import_module(f".{MODULES[found]}", __package__).CALCULATOR
    return calculator


def calculators() -> list[Calculator]:
    """Return all of them."""
    return [calculator(name) for name in MODULES]
