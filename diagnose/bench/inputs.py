"""What was typed -> what a calculator works with: numbers in the input's unit, words of a choice, paths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..case.readings import SHOWN, NotAReading, parse_quantity
from .calculator import Calculator, Given, Input, NotPossible

Value = float | str


def understood(asked: Input, text: str) -> Value:
    """Return the value meant by `text` for one input. Raises NotPossible with what can be meant."""
    typed = text.strip()
    if asked.choices:
        return _choice(asked, typed)
    if asked.file:
        if not typed:
            raise NotPossible(f"{asked.name}: write the path of a file")
        return typed
    try:
        return parse_quantity(typed, asked.unit, asked.least, asked.most).value
    except NotAReading as error:
        raise NotPossible(f"{asked.name}: {error}") from None


def _choice(asked: Input, typed: str) -> str:
    """A word of the choice, its number, or its first letters."""
    words = list(asked.choices)
    if typed.isdecimal() and typed not in words and 1 <= int(typed) <= len(words):
        return words[int(typed) - 1]
    begun = [word for word in words if typed and word.startswith(typed.lower())]
    if typed.lower() in words or len(begun) == 1:
        return typed.lower() if typed.lower() in words else begun[0]
    raise NotPossible(f"{asked.name}: '{typed[:40]}' is none of {', '.join(words)}")


def gathered(calculator: Calculator, typed: Mapping[str, Sequence[str]]) -> Given:
    """Return all inputs, from the texts given for each. Raises NotPossible for the first that is wrong or missing."""
    given: dict[str, float | str | tuple[float, ...] | tuple[str, ...]] = {}
    for asked in calculator.inputs:
        texts = typed.get(asked.name, ())
        if not texts:
            if asked.needed:
                raise NotPossible(f"{calculator.name} needs --{asked.name}: {asked.ask}")
            continue
        if not asked.many and len(texts) > 1:
            raise NotPossible(f"{asked.name}: given {len(texts)} times; give it once")
        values = [understood(asked, text) for text in texts]
        given[asked.name] = tuple(values) if asked.many else values[0]  # type: ignore[assignment]
    return given


def in_words(asked: Input, value: float | str | tuple[float, ...] | tuple[str, ...]) -> str:
    """Return a value as people write it, with its unit."""
    if isinstance(value, tuple):
        return "; ".join(in_words(asked, one) for one in value)
    return value if isinstance(value, str) else f"{value:.7g} {SHOWN.get(asked.unit, asked.unit)}".strip()
