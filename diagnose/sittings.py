"""`diagnose` and `diagnose setup`: which case, who sits over it, and where a set-up leads to a fault.

The first question needs no rules, so they are read while it is on the screen: `rules` waits for them.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from .case.log import ENDING, CaseLog, LogTrouble, read_log
from .case.places import cases_folder, reports_folder
from .case.state import CaseState, replay
from .knowledge.model import Knowledge
from .shell.console import Console, Left
from .shell.opening import choose_case, first_words, greet, greet_set_up

WELL, WRONG = 0, 1

MOST_LOOKED_AT = 1_000
"""Newest logs among which a set-up left open is looked for: it may lie weeks back, behind many faults."""

Rules = Callable[[], Knowledge]
Complain = Callable[[str], None]


def walk(rules: Rules, console: Console, data: Path, new: bool, set_up_in: str | None, complain: Complain) -> int:
    """Walk a fault, or go on with a case left open; return the exit code. Raises LogTrouble.

    set_up_in: the case of a set-up that this fault came after; its case is then a new one.
    """
    if set_up_in:
        return _walk_after(rules, console, data, set_up_state(data, set_up_in), complain)
    try:
        log = choose_case(console, cases_folder(data), new)
    except Left:
        return WELL
    if log.state.setting_up:
        return _over_the_list(rules, console, data, log, complain)
    return _over_a_fault(rules, console, data, log, complain)


def set_up(rules: Rules, console: Console, data: Path, new: bool, complain: Complain) -> int:
    """Set an engine up, or go on with a set-up left open; return the exit code. Raises LogTrouble."""
    try:
        log = choose_case(console, cases_folder(data), new, lambda state: state.setting_up, MOST_LOOKED_AT)
    except Left:
        return WELL
    if not log.state.setting_up:
        log.append("set-up")
    return _over_the_list(rules, console, data, log, complain)


def set_up_state(data: Path, named: str) -> CaseState:
    """Return the state of a set-up by the name of its case, or the path of its log. Raises LogTrouble."""
    path = Path(named) if Path(named).suffix else cases_folder(data) / f"{named}{ENDING}"
    state = replay(read_log(path).events)
    if not state.setting_up:
        raise LogTrouble(f"{path}: this case is no set-up; 'diagnose cases' lists which are")
    return state


def _over_the_list(rules: Rules, console: Console, data: Path, log: CaseLog, complain: Complain) -> int:
    with log:
        greet_set_up(console, log.state)
        knowledge = rules()
        from .report.files import CannotWrite
        from .shell.setup import SetUp

        try:
            ended = SetUp(knowledge, log, console, reports_folder(data)).run()
        except CannotWrite as trouble:
            complain(str(trouble))
            return WRONG
        state = log.state
    return _walk_after(rules, console, data, state, complain) if ended == "fault" else WELL


def _walk_after(rules: Rules, console: Console, data: Path, state: CaseState, complain: Complain) -> int:
    """Walk a fault in a case of its own, which begins with what the set-up says."""
    from dataclasses import asdict

    from .planning.setup import carried

    kept = asdict(carried(rules(), state))
    log = CaseLog.create(cases_folder(data))
    log.append("carried", setup=state.case, **kept)
    return _over_a_fault(rules, console, data, log, complain)


def _over_a_fault(rules: Rules, console: Console, data: Path, log: CaseLog, complain: Complain) -> int:
    with log:
        try:
            greet(console, log.state)
            typed = first_words(console, log)
        except Left:
            console.say(f"Kept: {log.path}. Start 'diagnose' again and it goes on here.")
            return WELL
        knowledge = rules()
        from .report.files import CannotWrite
        from .shell.walk import Walk

        try:
            Walk(knowledge, log, console, reports_folder(data), typed).run()
        except CannotWrite as trouble:
            complain(str(trouble))
            return WRONG
    return WELL
