"""What can be typed at any prompt: one table for dispatch, completion and help."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .walk import Walk


@dataclass(frozen=True, slots=True)
class Command:
    """A word, what may follow it, what it does, and how it is done. It returns True when the prompt must be asked anew."""

    word: str
    takes: str
    does: str
    run: Callable[[Walk, str], bool]


COMMANDS: dict[str, Command] = {}


def _command(takes: str, does: str) -> Callable[[Callable[[Walk, str], bool]], Callable[[Walk, str], bool]]:
    def enter(run: Callable[[Walk, str], bool]) -> Callable[[Walk, str], bool]:
        word = run.__name__.removesuffix("_")
        COMMANDS[word] = Command(word, takes, does, run)
        return run

    return enter


_PARTICULARS = re.compile(r"(back \d+|needle [HhLl]\s.*\d.*|note .+|how \d+)", re.IGNORECASE)


def command_among_words(line: str) -> tuple[Command, str] | None:
    """Return the command meant where free words are asked: a bare one, or one whose particulars cannot be words."""
    bare = len(line.split()) == 1
    return command_in(line) if bare or _PARTICULARS.fullmatch(line.strip()) else None


def command_in(line: str) -> tuple[Command, str] | None:
    """Return the command a line begins with and the rest of it, or None."""
    word, _, rest = line.strip().partition(" ")
    command = COMMANDS.get(word.lower())
    return (command, rest.strip()) if command and (command.takes or not rest) else None


@_command("", "why this question is asked")
def why(walk: Walk, rest: str) -> bool:
    walk.show_why()
    return False


@_command("", "how the causes stand so far")
def standing(walk: Walk, rest: str) -> bool:
    walk.show_standing()
    return False


@_command("[number or name]", "how a cause got there, and what would settle it")
def how(walk: Walk, rest: str) -> bool:
    walk.show_how(rest)
    return False


@_command("[count]", "take back the last answer, or the last few")
def back(walk: Walk, rest: str) -> bool:
    return walk.go_back(rest)


@_command("[question]", "change an earlier answer; alone it lists them")
def change(walk: Walk, rest: str) -> bool:
    return walk.change(rest)


@_command("words", "tell what else it does, such as: also it bangs in the exhaust")
def also(walk: Walk, rest: str) -> bool:
    return walk.also(rest)


@_command("text", "write a note into the case")
def note(walk: Walk, rest: str) -> bool:
    walk.take_note(rest)
    return False


@_command("[H 1 1/4]", "the needle ledger; with H or L: a count, or a move such as H +1/8")
def needle(walk: Walk, rest: str) -> bool:
    return walk.needle(rest)


@_command("", "show the cautions and holds again")
def cautions(walk: Walk, rest: str) -> bool:
    walk.show_cautions()
    return False


@_command("[cause]", "you know what it was: close the case with it")
def found(walk: Walk, rest: str) -> bool:
    return walk.found(rest)


@_command("", "write the fault report as it stands")
def report(walk: Walk, rest: str) -> bool:
    walk.write_report()
    return False


@_command("", "keep everything and go; the next start goes on here")
def leave(walk: Walk, rest: str) -> bool:
    walk.leave()
    return True


@_command("", "this list")
def help_(walk: Walk, rest: str) -> bool:
    walk.show_help()
    return False
