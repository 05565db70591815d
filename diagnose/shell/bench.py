"""The bench at a console: its inputs asked one at a time, and its page in lines of text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Protocol, TypeVar

from ..bench.calculator import Calculator, Given, Input, NotPossible, Page
from ..bench.inputs import understood
from ..case.readings import SHOWN
from ..knowledge.model import Knowledge
from .choices import NotUnderstood
from .console import Console, Dropped, wrapped

Lines = Iterator[tuple[str, str]]

LEFT_OUT = ("", "?", "dk", "don't know", "dont know", "do not know", "unknown", "skip", "pass", "none")
"""What leaves an input out."""

Taken = TypeVar("Taken")


class Reads(Protocol):
    """Reads lines until one is understood: `understand` raises NotUnderstood with what can be meant."""

    def __call__(self, understand: Callable[[str], Taken], words: Sequence[str] = ()) -> Taken: ...


def ask(calculator: Calculator, say: Callable[[Lines], None], read: Reads, width: int) -> Given:
    """Ask for every input of a calculator. What is not known is left out, unless it is needed."""
    given: dict[str, float | str | tuple[float, ...] | tuple[str, ...]] = {}
    for number, asked in enumerate(calculator.inputs, 1):
        say(question(asked, number, width))
        if asked.many:
            values = []
            while (value := read(lambda line, asked=asked: _meant(asked, line), list(asked.choices))) is not None:  # type: ignore[misc]
                values.append(value)
            if values:
                given[asked.name] = tuple(values)  # type: ignore[assignment]
            continue
        value = read(lambda line, asked=asked: _meant(asked, line), list(asked.choices))  # type: ignore[misc]
        if value is not None:
            given[asked.name] = value
    return given


def _meant(asked: Input, line: str) -> float | str | None:
    if line.strip().lower() in LEFT_OUT:
        if asked.needed and not asked.many:
            raise NotUnderstood("nothing can be worked out without it")
        return None
    try:
        return understood(asked, line)
    except NotPossible as wrong:
        raise NotUnderstood(str(wrong)) from None


def question(asked: Input, number: int, width: int) -> Lines:
    """An input as a question, with its unit or its choices."""
    yield "", ""
    yield from _paragraph(f"{asked.ask} [{asked.name}]", width, f"{number:>2}. ", "ask")
    hints = []
    if not asked.choices and not asked.file and asked.unit:
        hints.append(f"a number in {SHOWN.get(asked.unit, asked.unit)}, or with its own unit")
    if asked.many:
        hints.append("one a line, an empty line after the last")
    elif not asked.needed:
        hints.append("? or an empty line leaves it out")
    if hints:
        yield from _paragraph("; ".join(hints), width, "    ", "quiet")
    for place, says in enumerate(asked.choices.values(), 1):
        yield from _paragraph(says, width, f"    {place}  ")


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


def cautions_lines(page: Page, knowledge: Knowledge, width: int) -> Lines:
    """The cautions of a page in full, shown before everything else."""
    from .screens import caution

    for name in page.cautions:
        yield from caution(knowledge, name, width)


def _paragraph(text: str, width: int, first: str = "", tone: str = "", rest: str | None = None) -> Lines:
    for line in wrapped(text, width, first, rest):
        yield line, tone


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
