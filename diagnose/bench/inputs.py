"""What was typed -> what a calculator works with: numbers in the input's unit, words of a choice, paths."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from ..case.readings import SHOWN, NotAReading, convert, parse_quantity
from ..knowledge.model import Knowledge
from .calculator import Calculator, Given, Input, NotPossible, Page, Value


def understood(asked: Input, text: str) -> Value:
    """Return the value meant by `text` for one input. Raises NotPossible with what can be meant."""
    typed = text.strip()
    if asked.choices:
        return _choice(asked, typed)
    if asked.file or asked.text:
        if not typed:
            raise NotPossible(f"{asked.name}: write {'the path of a file' if asked.file else 'a name'}")
        return typed
    if asked.parts:
        return _numbers(asked, typed)
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


_AFTER_A_UNIT = re.compile(r"(?<=[^\d\s.,:/+-])\s+(?=[-+]?\d)")
"""Between `30 s` and `0.4 bar`."""


def _numbers(asked: Input, typed: str) -> tuple[float, ...]:
    """`50 %, 32 %, 1500 rpm`: parted by semicolons, commas or blanks, whichever gives the right number of parts."""
    least = sum(part.needed for part in asked.parts)
    for texts in (typed.split(";"), typed.split(", "), typed.split(","), typed.split(), _AFTER_A_UNIT.split(typed)):
        if least <= len(texts) <= len(asked.parts):
            return tuple(float(understood(part, text)) for part, text in zip(asked.parts, texts, strict=False))  # type: ignore[arg-type]
    example = ", ".join(f"{part.name} ({SHOWN.get(part.unit, part.unit)})" for part in asked.parts)
    count = f"{least} to {len(asked.parts)}" if least < len(asked.parts) else f"{least}"
    raise NotPossible(f"{asked.name}: '{typed[:40]}' is not {count} numbers; write {example}")


def with_figures(calculator: Calculator, rules: Callable[[], Knowledge]) -> Calculator:
    """Return the calculator as it works with the rules' figures where the user gives none. `rules` is read only then."""

    def work(given: Given) -> Page:
        lacks = any(asked.pack and asked.name not in given for asked in calculator.inputs)
        return calculator.work(from_rules(calculator, given, rules()) if lacks else given)

    return replace(calculator, work=work)


def from_rules(calculator: Calculator, given: Given, knowledge: Knowledge) -> Given:
    """Return the inputs with the limits of the rules where the user gave none and the rules have one."""
    filled = dict(given)
    for asked in calculator.inputs:
        finding = knowledge.findings.get(asked.pack.partition("/")[0]) if asked.pack and asked.name not in given else None
        answer = finding.answers.get(asked.pack.partition("/")[2]) if finding else None
        if finding and finding.measure and answer and answer.below is not None:
            filled[asked.name] = convert(answer.below, str(finding.measure.unit), asked.unit)
    return filled


def gathered(calculator: Calculator, typed: Mapping[str, Sequence[str]]) -> Given:
    """Return all inputs, from the texts given for each. Raises NotPossible for the first that is wrong or missing."""
    given: dict[str, Value | tuple[Value, ...]] = {}
    for asked in calculator.inputs:
        texts = typed.get(asked.name, ())
        if not texts:
            if asked.needed:
                raise NotPossible(f"{calculator.name} needs --{asked.name}: {asked.ask}")
            continue
        if not asked.many and len(texts) > 1:
            raise NotPossible(f"{asked.name}: given {len(texts)} times; give it once")
        values = [understood(asked, text) for text in texts]
        given[asked.name] = tuple(values) if asked.many else values[0]
    return given


def in_words(asked: Input, value: Value | tuple[Value, ...]) -> str:
    """Return a value, or all values of an input that takes many, as people write it, with its unit."""
    if asked.many and isinstance(value, tuple):
        return "; ".join(_in_words(asked, one) for one in value)
    return _in_words(asked, value)  # type: ignore[arg-type]


def _in_words(asked: Input, value: Value) -> str:
    if isinstance(value, tuple):
        return ", ".join(_in_words(part, one) for part, one in zip(asked.parts, value, strict=False))
    return value if isinstance(value, str) else f"{value:.7g} {SHOWN.get(asked.unit, asked.unit)}".strip()
