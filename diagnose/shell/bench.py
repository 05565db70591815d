"""The bench at a console: its inputs asked one at a time, and its page in lines of text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Protocol, TypeVar

from ..bench.calculator import Calculator, Given, Input, NotPossible, Page, Value
from ..bench.calculators import calculators
from ..bench.inputs import in_words, understood
from ..case.readings import SHOWN
from ..knowledge.source import FaultyFiles
from .choices import NotUnderstood, not_known
from .console import Console, Dropped, wrapped

Lines = Iterator[tuple[str, str]]

BACK = "back"
"""Word that goes back to the input before."""

Taken = TypeVar("Taken")
Values = Value | tuple[Value, ...]


def left_out(line: str) -> bool:
    """True for what leaves an input out: nothing, none, or don't know."""
    return line.strip().lower() in ("", "none") or not_known(line)


class Reads(Protocol):
    """Reads lines until one is understood: `understand` raises NotUnderstood with what can be meant. What stands among
    `words` is not taken for a command."""

    def __call__(self, understand: Callable[[str], Taken], words: Sequence[str] = ()) -> Taken: ...


class _Back(Exception):
    """The input before is wanted again."""


def worked_out(
    calculator: Calculator, say: Callable[[Lines], None], read: Reads, width: int, known: Mapping[str, Values]
) -> tuple[Given, Page] | None:
    """Ask for every input and return them with the page; None when somebody goes back past the first. `known` is offered
    instead of typing. Inputs that cannot be meant together are asked again, each with what was given."""
    kept = {asked.name: known[asked.name] for asked in calculator.inputs if asked.name in known}
    while True:
        given = _ask_all(calculator, say, read, width, kept)
        if given is None:
            return None
        try:
            return given, calculator.work(given)
        except NotPossible as wrong:
            trouble = str(wrong)
        except FaultyFiles as faulty:
            trouble = str(faulty.problems[0])
        say(_paragraph(f"{_sentence(trouble)} Once more; an empty line keeps what stands.", width, "  ", "warning"))
        kept = dict(given)


def _ask_all(
    calculator: Calculator, say: Callable[[Lines], None], read: Reads, width: int, kept: Mapping[str, Values]
) -> dict[str, Values] | None:
    given: dict[str, Values] = dict(kept)
    past: list[Input] = []
    waiting = list(calculator.inputs)
    while waiting:
        asked = waiting.pop(0)
        if not _wanted(asked, given):
            given.pop(asked.name, None)
            continue
        say(question(asked, len(past) + 1, width, given.get(asked.name)))
        try:
            value = _ask_one(asked, read, given.get(asked.name))
        except _Back:
            if not past:
                return None
            waiting = list(calculator.inputs[calculator.inputs.index(past.pop()) :])
            continue
        given.pop(asked.name, None)
        if value is not None:
            given[asked.name] = value
        past.append(asked)
    return given


def _wanted(asked: Input, given: Mapping[str, Values]) -> bool:
    return not any(other in given for other in asked.unless) and (not asked.only_with or asked.only_with in given)


def _ask_one(asked: Input, read: Reads, kept: Values | None) -> Values | None:
    """One input: its value, what was kept, or None where it is left out. Raises _Back."""
    words = [*asked.choices, BACK]

    def meant(line: str) -> Value | None:
        typed = line.strip()
        if typed.lower() == BACK:
            raise _Back
        if typed.lower() not in asked.choices and left_out(line):
            if asked.needed:
                raise NotUnderstood("nothing can be worked out without it")
            return None
        try:
            return understood(asked, typed)
        except NotPossible as wrong:
            raise NotUnderstood(str(wrong)) from None

    def first(line: str) -> Values | None:
        return kept if kept is not None and not line.strip() else meant(line)

    value = read(first, words)
    if not asked.many or value is None or value is kept:
        return value
    return (value, *_more(read, meant, words))  # type: ignore[arg-type]


def _more(read: Reads, meant: Callable[[str], Value | None], words: Sequence[str]) -> list[Value]:
    """What follows the first value of an input that takes many, up to an empty line."""
    values: list[Value] = []
    while (value := read(lambda line: meant(line) if line.strip() else None, words)) is not None:
        values.append(value)
    return values


def question(asked: Input, number: int, width: int, kept: Values | None = None) -> Lines:
    """An input as a question, with its unit or its choices, and what stands already."""
    yield "", ""
    yield from _paragraph(f"{asked.ask} [{asked.name}]", width, f"{number:>2}. ", "ask")
    hints = []
    if asked.parts:
        hints.append(", ".join(f"{part.name} in {SHOWN.get(part.unit, part.unit)}" for part in asked.parts))
    elif asked.unit:
        unit = SHOWN.get(asked.unit, asked.unit)
        hints.append(f"a number in {unit}, or with its own unit" if unit else "a number")
    if asked.many:
        hints.append("one a line, an empty line after the last")
    if kept is not None:
        hints.append(f"an empty line keeps {in_words(asked, kept)}")
    if not asked.needed:
        hints.append(f"? {'takes the figure of the rules' if asked.pack else 'leaves it out'}")
    for place, says in enumerate(asked.choices.values(), 1):
        yield from _paragraph(says, width, f"    {place}  ")
    if hints:
        yield from _paragraph("; ".join(hints), width, "    ", "quiet")


def page_lines(page: Page, width: int) -> Lines:
    """A calculator's page: its numbers, what they mean, and where the formulas come from."""
    yield "", ""
    yield from _paragraph(page.title, width, "", "head")
    yield from _rows(page, width)
    if page.says:
        yield "", ""
    for says in page.says:
        yield from _paragraph(says, width, "  ")
    if page.charts:
        from ..drawing.terminal import draw

        for chart in page.charts:
            yield "", ""
            yield from ((line, "") for line in draw(chart, width))
    if page.sources:
        yield "", ""
    for source in page.sources:
        yield from _paragraph(source, width, "  ", "quiet", "      ")


def _rows(page: Page, width: int) -> Lines:
    """The numbers in two columns, or below each other where two columns do not fit."""
    room = max((len(row.label) for row in page.rows), default=0)
    if all(room + 4 + len(row.written) <= width for row in page.rows):
        yield from ((f"  {row.label:<{room}}  {row.written}", "") for row in page.rows)
        return
    for row in page.rows:
        if len(row.label) + len(row.written) + 4 <= width:
            yield f"  {row.label}: {row.written}", ""
        else:
            yield from _paragraph(f"{row.label}:", width, "  ", rest="    ")
            yield from _paragraph(row.written, width, "      ")


def listing(width: int) -> Lines:
    """The calculators there are."""
    for calculator in calculators():
        yield from _paragraph(f"{calculator.name}: {calculator.title}", width, "    ", rest="        ")


def _paragraph(text: str, width: int, first: str = "", tone: str = "", rest: str | None = None) -> Lines:
    for line in wrapped(text, width, first, rest):
        yield line, tone


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"


def reader(console: Console) -> Reads:
    """Return what reads from a console outside a walk. Raises Left."""

    def read(understand: Callable[[str], Taken], words: Sequence[str] = ()) -> Taken:
        while True:
            try:
                return understand(console.read("> ", words))
            except Dropped:
                console.say("Line dropped. Ctrl-D leaves.")
            except NotUnderstood as error:
                for line, _ in _paragraph(f"{error}.", console.width, "  "):
                    console.say(line)

    return read
