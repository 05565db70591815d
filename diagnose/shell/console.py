"""Where a walk is read and typed: a terminal, a plain line reader, or a script. All speak through one interface."""

from __future__ import annotations

import io
import shutil
import sys
import textwrap
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, TextIO

from ..knowledge.source import printable

WIDEST = 80
NARROWEST = 24


class Left(Exception):
    """The person leaves (Ctrl-D, end of input)."""


class Dropped(Exception):
    """The person drops the line just typed (Ctrl-C)."""


class Console(Protocol):
    """Says lines and reads one line at a time."""

    @property
    def width(self) -> int:
        """Columns that text may use."""

    def say(self, text: str = "", tone: str = "") -> None:
        """Show one line or paragraph. `tone`: '' plain, 'ask', 'danger', 'warning', 'quiet', 'head'."""

    def read(self, prompt: str, words: Sequence[str] = ()) -> str:
        """Return what is typed at `prompt`; `words` can be completed. Raises Left or Dropped."""


def cleaned(text: str) -> str:
    """Return typed text without control characters, so that nothing typed can steer a terminal or a report."""
    return " ".join(printable(text, " ").split())[:2_000]


def wrapped(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """Return `text` in lines of `width` columns, the first led by `first` and the others by `rest`."""
    rest = " " * len(first) if rest is None else rest
    # A number and its percent sign stay on one line: textwrap does not break at a no-break space.
    lines = textwrap.wrap(
        text.replace(" %", "\u00a0%"),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=True,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0%", " %") for line in lines] or [first.rstrip()]


def show(console: Console, lines: Iterable[tuple[str, str]]) -> None:
    """Say lines, each in its tone."""
    for line, tone in lines:
        console.say(line, tone)


class PlainConsole:
    """Lines in, lines out: for pipes, dumb terminals and screen readers."""

    def __init__(self, source: TextIO, sink: TextIO, columns: int | None = None) -> None:
        self._source, self._sink = source, sink
        self._columns = columns

    @property
    def width(self) -> int:
        return fitting(self._columns or shutil.get_terminal_size((WIDEST, 24)).columns)

    def say(self, text: str = "", tone: str = "") -> None:
        print(text, file=self._sink, flush=True)

    def read(self, prompt: str, words: Sequence[str] = ()) -> str:
        print(prompt, end="", file=self._sink, flush=True)
        try:
            line = self._source.readline()
        except KeyboardInterrupt:
            print(file=self._sink)
            raise Dropped from None
        if not line:
            print(file=self._sink)
            raise Left
        if not self._source.isatty():
            print(cleaned(line), file=self._sink)  # so that what came through a pipe reads like a walk
        return cleaned(line)


def fitting(columns: int) -> int:
    return max(NARROWEST, min(columns, WIDEST))


class ScriptedConsole:
    """Types from a script and keeps everything that was said: for tests, demos and replay.

    replies: an iterable of lines, or a function from the lines said since the last reply to the next line (None leaves).
    """

    def __init__(self, replies: Iterable[str] | Callable[[list[str]], str | None], width: int = 76) -> None:
        self.width = width
        self.lines: list[str] = []
        self._since: list[str] = []
        if callable(replies):
            self._reply: Callable[[list[str]], str | None] = replies
        else:
            waiting = deque(replies)
            self._reply = lambda _: waiting.popleft() if waiting else None

    def say(self, text: str = "", tone: str = "") -> None:
        self.lines.append(text.rstrip())
        self._since.append(text)

    def read(self, prompt: str, words: Sequence[str] = ()) -> str:
        since, self._since = self._since, []
        reply = self._reply(since)
        if reply is None:
            raise Left
        self.lines.append(f"{prompt}{cleaned(reply)}".rstrip())
        return cleaned(reply)


def open_console(plain: bool) -> Console:
    """Return the console that fits: a full terminal where there is one, lines otherwise."""
    source = sys.stdin or io.StringIO()  # started without any input at all: nothing more will come
    if plain or not (source.isatty() and sys.stdout and sys.stdout.isatty()):
        return PlainConsole(source, sys.stdout)
    from .terminal import TerminalConsole, dumb

    return PlainConsole(source, sys.stdout) if dumb() else TerminalConsole()
