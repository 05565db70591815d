"""What can be typed at any prompt: one table for dispatch, completion and help."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .sitting import Sitting
    from .walk import Walk


@dataclass(frozen=True, slots=True)
class Command:
    """A word, what may follow it, what it does, and how: by a Walk for the words of a fault, else by any Sitting.

    It returns True when the prompt must be asked anew.
    """

    word: str
    takes: str
    does: str
    run: Callable[[Any, str], bool]


COMMANDS: dict[str, Command] = {}


def _command(takes: str, does: str) -> Callable[[Callable[[Any, str], bool]], Callable[[Any, str], bool]]:
    def enter(run: Callable[[Any, str], bool]) -> Callable[[Any, str], bool]:
        word = run.__name__.removesuffix("_")
        COMMANDS[word] = Command(word, takes, does, run)
        return run

    return enter


_PARTICULARS = re.compile(r"(back \d+|bench \w+|needle [HhLl]\s.*\d.*|note .+|how \d+)", re.IGNORECASE)


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
def why(sitting: Sitting, rest: str) -> bool:
    sitting.show_why()
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
def back(sitting: Sitting, rest: str) -> bool:
    return sitting.go_back(rest)


@_command("[question]", "change an earlier answer; alone it lists them")
def change(sitting: Sitting, rest: str) -> bool:
    return sitting.change(rest)


@_command("words", "tell what else it does, such as: also it bangs in the exhaust")
def also(walk: Walk, rest: str) -> bool:
    return walk.also(rest)


@_command("text", "write a note into the case")
def note(sitting: Sitting, rest: str) -> bool:
    sitting.take_note(rest)
    return False


@_command("[H 1 1/4]", "the needle ledger; with H or L: a count, or a move such as H +1/8")
def needle(sitting: Sitting, rest: str) -> bool:
    from .needles import typed  # comes with the rules, and the first question does not wait for those

    return typed(sitting, rest)


@_command("[name]", "work a number out, and tell it to the rules: bench air; alone it lists the calculators")
def bench(walk: Walk, rest: str) -> bool:
    from .reckoning import work_out  # reads the calculators, and most walks need none

    return work_out(walk, rest)


@_command("", "show the cautions and holds again")
def cautions(sitting: Sitting, rest: str) -> bool:
    sitting.show_cautions()
    return False


@_command("[cause]", "you know what it was: close the case with it")
def found(walk: Walk, rest: str) -> bool:
    return walk.found(rest)


@_command("", "write the fault report as it stands")
def report(sitting: Sitting, rest: str) -> bool:
    sitting.write_report()
    return False


@_command("", "keep everything and go; the next start goes on here")
def leave(sitting: Sitting, rest: str) -> bool:
    sitting.leave()
    return True


@_command("", "this list")
def help_(sitting: Sitting, rest: str) -> bool:
    sitting.show_help()
    return False
