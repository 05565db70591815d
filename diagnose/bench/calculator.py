"""What a calculator is: the inputs it asks for, and the page it gives. One table of inputs serves the command line, the
questions in the walk, and the checking of both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from ..drawing.chart import Chart
from ..knowledge.model import Knowledge


class NotPossible(ValueError):
    """These inputs cannot be meant together; the message says which, why and what to do, in one line."""


@dataclass(frozen=True, slots=True)
class Input:
    """One thing a calculator asks for.

    name      of the option and in the JSON: lower-case words joined by hyphens
    ask       the question as the walk asks it, without the unit
    unit      pint's name of the unit the calculator works in ('' for a plain number)
    least, most   what is possible, in that unit
    choices   word -> what it says, for an input that is no number
    file      a path is meant
    text      a word or name is meant, as it stands
    parts     several numbers are meant at once, one for each part; those at the end may be left out if not needed
    pack      `finding/answer` of the rules: left out, the number below which they give that answer stands
    needed    without it nothing can be worked out; any other may be left out
    many      more than one may be given
    unless    inputs beside which it is not asked for: they say the same
    only_with an input without which it is not asked for, since it would mean nothing
    """

    name: str
    ask: str
    unit: str = ""
    least: float = float("-inf")
    most: float = float("inf")
    choices: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    file: bool = False
    text: bool = False
    parts: tuple[Input, ...] = ()
    pack: str = ""
    needed: bool = False
    many: bool = False
    unless: tuple[str, ...] = ()
    only_with: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One result: its name in the JSON, what it is called, its value in `unit` (pint's name), and how it is written
    with its uncertainty where it has one. A band has its ends in `least` and `most` too, and its middle as value."""

    name: str
    label: str
    value: float
    unit: str
    written: str
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True)
class Page:
    """What a calculator says.

    says      sentences in plain words: what it means, how sure it is, what to do
    sources   of the formulas, title, section, year
    cautions  ids of cautions of the rules, shown before everything else
    findings  finding -> answer or reading: what the rules are told
    """

    title: str
    rows: tuple[Row, ...] = ()
    says: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    findings: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    charts: tuple[Chart, ...] = ()


Value = float | str | tuple[float, ...]
"""A number in the input's unit; a choice's word, a path or a name; the numbers of an input with parts."""

Given = Mapping[str, Value | tuple[Value, ...]]
"""Input -> its value; a tuple of values where many may be given. What was left out is not there."""


def numbers_of(given: Given) -> dict[str, float]:
    """Return the inputs that are single numbers."""
    return {name: float(value) for name, value in given.items() if isinstance(value, int | float)}


@dataclass(frozen=True, slots=True)
class Calculator:
    """One calculator: `diagnose bench NAME`, and `bench NAME` in the walk. `work` raises NotPossible.

    cautions  ids of cautions shown before anything is asked, where reading the inputs can hurt; the page's come after
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    work: Callable[[Given], Page]
    cautions: tuple[str, ...] = ()
    by_rules: Callable[[Given, Callable[[], Knowledge]], Page] | None = None

    def with_rules(self, rules: Callable[[], Knowledge]) -> Calculator:
        """Return the calculator as it works with these rules, which are read only where it needs them."""
        by_rules = self.by_rules
        return self if by_rules is None else replace(self, work=lambda given: by_rules(given, rules))
