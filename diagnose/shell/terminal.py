"""The one module that knows prompt_toolkit: a line editor with completion on Tab."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator, Sequence

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.history import InMemoryHistory

from .console import Dropped, Left, cleaned, fitting

_TONES = {"danger": "1;31", "warning": "1;33", "ask": "1", "head": "1", "quiet": "2"}


def dumb() -> bool:
    """True where a line editor would only scatter control sequences."""
    return os.environ.get("TERM", "dumb") in ("", "dumb", "unknown")


class _Words(Completer):
    """Completes the words that the question takes, from the letters typed so far."""

    def __init__(self, words: Sequence[str]) -> None:
        self._words = words

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterator[Completion]:
        typed = document.text_before_cursor.lstrip().lower()
        for word in self._words:
            if word.lower().startswith(typed):
                yield Completion(word, start_position=-len(typed))


class TerminalConsole:
    """A real terminal. Meaning is never carried by colour alone, and NO_COLOR takes it away."""

    def __init__(self) -> None:
        # Without room for a menu no blank lines open under the prompt; Enter always submits what is on the line.
        self._session: PromptSession[str] = PromptSession(
            history=InMemoryHistory(), complete_while_typing=False, reserve_space_for_menu=0
        )
        self._coloured = not os.environ.get("NO_COLOR")

    @property
    def width(self) -> int:
        return fitting(shutil.get_terminal_size().columns)

    def say(self, text: str = "", tone: str = "") -> None:
        code = _TONES.get(tone)
        if self._coloured and code and text:
            text = f"\x1b[{code}m{text}\x1b[0m"
        print(text, flush=True)

    def read(self, prompt: str, words: Sequence[str] = ()) -> str:
        try:
            return cleaned(self._session.prompt(prompt, completer=_Words(words)))
        except KeyboardInterrupt:
            raise Dropped from None
        except EOFError:
            raise Left from None
        finally:
            sys.stdout.flush()
