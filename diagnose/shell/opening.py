"""The opening of a walk: which case, and the first question. It needs no rules, so it is on the screen at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import islice
from pathlib import Path

from ..case.log import CaseLog, LogInUse, open_cases
from ..case.state import DONE, CaseState
from .choices import NotUnderstood, choice_of
from .commands import COMMANDS, command_among_words
from .console import Console, Dropped, wrapped

OWNERS_WORDS = "What does it do, in the owner's words? (Enter to go on without)"

NOTHING_SAID = "(nothing said)"

MOST_OFFERED = 20
"""Open cases that are offered by number, the newest; any other is named on the command line."""

TITLE = "Fault finder for small petrol two-strokes with diaphragm carburettors"


def say(console: Console, text: str = "", tone: str = "", first: str = "") -> None:
    for line in wrapped(text, console.width, first) if text else [""]:
        console.say(line, tone)


def choose_case(
    console: Console, folder: Path, new: bool, wanted: Callable[[CaseState], bool] = lambda state: True
) -> CaseLog:
    """Return the case to go on with: one of the `wanted` left open if the person wants it, else a new one. Raises Left."""
    left_open = (one for one in open_cases(folder) if wanted(one[1]))
    waiting = [] if new else list(islice(left_open, MOST_OFFERED))
    while waiting:
        say(console, "Left open:", "head")
        says = [*(_told(state) for _, state in waiting), "start a new case"]
        for place, told in enumerate(says, 1):
            say(console, told, first=f"    {place}  ")
        chosen = _choice(console, says)
        if chosen == len(says) - 1:
            break
        try:
            return CaseLog.open(waiting[chosen][0])
        except LogInUse as busy:
            say(console, f"{busy}; take another.")
            waiting.pop(chosen)
    return CaseLog.create(folder)


def _told(state: CaseState) -> str:
    if state.setting_up:
        return f"go on with the set-up {state.case}, {len(state.steps)} steps so far"
    words = f": {state.words[0]}" if state.words else ""
    return f"go on with {state.case}, {len(state.answered)} answers{words}"


def _choice(console: Console, says: Sequence[str]) -> int:
    while True:
        try:
            return choice_of(console.read("> "), says)
        except Dropped:
            say(console, "Line dropped. Ctrl-D leaves.")
        except NotUnderstood as error:
            say(console, f"{error}.")


def greet(console: Console, state: CaseState) -> None:
    """Say where this is."""
    say(console, TITLE, "head")
    if state.words:
        say(console, f"Going on with case {state.case}: {len(state.answered)} answers so far.")
        for words in state.words:
            say(console, f"The owner said: {words}")
        return
    say(console, "Answer by number, by a few letters, or ? when you don't know. 'help' lists what else can be typed.")
    say(console, f"Case {state.case}: every answer is kept as soon as it is given.")
    if state.set_up_in:
        done = sum(taken.outcome == DONE for taken in state.steps.values())
        say(console, f"Known of set-up {state.set_up_in}: {done} steps done, {len(state.steps) - done} not.")


def greet_set_up(console: Console, state: CaseState) -> None:
    """Say what the set-up list is, and how it is answered."""
    say(console, "Set-up, from the bare carburettor to the first flight", "head")
    if state.steps:
        say(console, f"Going on with set-up {state.case}: {len(state.steps)} steps so far.")
        return
    say(console, "Each step is done, not done, or cannot be done here. 'help' lists what else can be typed.")
    say(console, f"Set-up {state.case}: every answer is kept as soon as it is given.")


def first_words(console: Console, log: CaseLog) -> str | None:
    """Ask for and keep the owner's words. A command typed instead is returned for the walk to carry out. Raises Left."""
    if not log.state.words:
        say(console)
        say(console, OWNERS_WORDS, "ask")
    while not log.state.words:
        try:
            line = console.read("> ", list(COMMANDS))
        except Dropped:
            say(console, "Line dropped. 'leave' or Ctrl-D leaves, with everything kept.")
            continue
        if command_among_words(line):
            return line
        log.append("words", text=line or NOTHING_SAID)
    return None
