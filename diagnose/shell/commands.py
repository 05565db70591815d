"""What can be typed at any prompt: one table for dispatch, completion and help."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .setup import SetUp
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
"""What can be typed while a fault is walked."""

SETUP_COMMANDS: dict[str, Command] = {}
"""What can be typed while an engine is set up."""

BOTH = (COMMANDS, SETUP_COMMANDS)


def _command(
    takes: str, does: str, tables: Sequence[dict[str, Command]] = (COMMANDS,)
) -> Callable[[Callable[[Any, str], bool]], Callable[[Any, str], bool]]:
    """Enter a function into tables, under its name."""

    def enter(run: Callable[[Any, str], bool]) -> Callable[[Any, str], bool]:
        word = run.__name__.removesuffix("_")
        for table in tables:
            table[word] = Command(word, takes, does, run)
        return run

    return enter


_PARTICULARS = re.compile(
    r"(back \d+|bench \w+|note .+|how \d+|listen .+\.\w{2,5}['\"]?"
    r"|needle ([hl]\s.*\d.*|next|undo|baseline( [hl]\s.*\d.*)?|good( [hl])?))",
    re.IGNORECASE,
)


def command_among_words(line: str) -> tuple[Command, str] | None:
    """Return the command meant where free words are asked: a bare one, or one whose particulars cannot be words."""
    bare = len(line.split()) == 1
    return command_in(line) if bare or _PARTICULARS.fullmatch(line.strip()) else None


def command_in(line: str, commands: Mapping[str, Command] = COMMANDS) -> tuple[Command, str] | None:
    """Return the command a line begins with and the rest of it, or None."""
    word, _, rest = line.strip().partition(" ")
    command = commands.get(word.lower().removesuffix(":"))
    return (command, rest.strip()) if command and (command.takes or not rest) else None


@_command("", "why this question is asked", BOTH)
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


@_command("[count]", "take back the last thing entered, or the last few", BOTH)
def back(sitting: Sitting, rest: str) -> bool:
    return sitting.go_back(rest)


@_command("[question]", "change an earlier answer; alone it lists them", BOTH)
def change(sitting: Sitting, rest: str) -> bool:
    return sitting.change(rest)


@_command("words", "tell what else it does, such as: also it bangs in the exhaust")
def also(walk: Walk, rest: str) -> bool:
    return walk.also(rest)


@_command("text", "write a note into the case", BOTH)
def note(sitting: Sitting, rest: str) -> bool:
    sitting.take_note(rest)
    return False


@_command(
    "[H 1 1/4]",
    "the needle ledger; with H or L: a count, or a move such as H +1/8. Also next, undo, baseline, good",
    BOTH,
)
def needle(sitting: Sitting, rest: str) -> bool:
    from .needles import typed  # comes with the rules, and the first question does not wait for those

    return typed(sitting, rest)


@_command("[name]", "work a number out, and tell it to the rules: bench air; alone it lists the calculators", BOTH)
def bench(sitting: Sitting, rest: str) -> bool:
    from .reckoning import work_out  # reads the calculators, and most walks need none

    return work_out(sitting, rest)


@_command("file", "what a recording says, such as: listen hover.wav")
def listen(sitting: Sitting, rest: str) -> bool:
    from .listening import listen as hear_it  # comes with the rules, as above

    return hear_it(sitting, rest)


@_command("", "show the cautions and holds again", BOTH)
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


@_command("", "keep everything and go; the next start goes on here", BOTH)
def leave(sitting: Sitting, rest: str) -> bool:
    sitting.leave()
    return True


@_command("", "this list", BOTH)
def help_(sitting: Sitting, rest: str) -> bool:
    sitting.show_help()
    return False


@_command("", "the whole list, and what came of each step", (SETUP_COMMANDS,))
def steps(setup: SetUp, rest: str) -> bool:
    setup.show_steps()
    return False


@_command("", "a fault has shown up: keep the set-up as it is, and walk the fault", (SETUP_COMMANDS,))
def fault(setup: SetUp, rest: str) -> bool:
    setup.fault()
    return True


SETUP_COMMANDS["report"] = replace(COMMANDS["report"], does="write the record of the set-up as it stands")
