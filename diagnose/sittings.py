"""`diagnose` and `diagnose setup`: which case, who sits over it, and where a set-up leads to a fault.

The first question needs no rules, so they are read while it is on the screen: `rules` waits for them.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .case.log import CaseLog, LogTrouble, log_of, read_log
from .case.places import cases_folder, reports_folder, rules_folder
from .case.state import CaseState, replay
from .knowledge.model import Knowledge
from .shell.club import Club, choose_machine, say_trouble, show_machine
from .shell.console import Console, Left
from .shell.opening import choose_case, first_words, greet, greet_set_up, say

if TYPE_CHECKING:
    from .shell.walk import Walk

WELL, WRONG = 0, 1


@dataclass(frozen=True, slots=True)
class Seat:
    """Where somebody sits down: the rules on their way, the console, the data folder, whether packs are named (then
    those of the data folder are not read), the club's book, the machine named, and where trouble is told."""

    rules: Callable[[], Knowledge]
    console: Console
    data: Path
    packs_named: bool
    club: Club
    machine: str | None
    complain: Callable[[str], None]


def walk(seat: Seat, new: bool, set_up_in: str | None) -> int:
    """Walk a fault, or go on with a case left open; return the exit code. Raises LogTrouble.

    set_up_in: the case of a set-up that this fault came after; its case is then a new one.
    """
    if set_up_in:
        return _walk_after(seat, set_up_state(seat.data, set_up_in))
    try:
        log = choose_case(seat.console, cases_folder(seat.data), new)
    except Left:
        return WELL
    return _over(seat, log)


def go_on(seat: Seat, named: str) -> int:
    """Go on with the open case of this name, or of the log at this path; return the exit code. Raises LogTrouble."""
    path = log_of(named, cases_folder(seat.data))
    if not path.exists():
        raise LogTrouble(f"{path}: there is no such case; 'diagnose cases' lists those there are")
    log = CaseLog.open(path)
    if log.state.closing:
        log.close()
        raise LogTrouble(f"{path}: this case is closed; 'diagnose report {named}' writes its report, --new begins another")
    return _over(seat, log)


def set_up(seat: Seat, new: bool) -> int:
    """Set an engine up, or go on with a set-up left open; return the exit code. Raises LogTrouble."""
    try:
        log = choose_case(seat.console, cases_folder(seat.data), new, lambda state: state.setting_up)
    except Left:
        return WELL
    if not log.state.setting_up:
        log.append("set-up")
    return _over_the_list(seat, log)


def set_up_state(data: Path, named: str) -> CaseState:
    """Return the state of a set-up by the name of its case, or the path of its log. Raises LogTrouble."""
    path = log_of(named, cases_folder(data))
    state = replay(read_log(path).events)
    if not state.setting_up:
        raise LogTrouble(f"{path}: this case is no set-up; 'diagnose cases' lists which are")
    return state


def _over(seat: Seat, log: CaseLog) -> int:
    return _over_the_list(seat, log) if log.state.setting_up else _over_a_fault(seat, log)


def _over_the_list(seat: Seat, log: CaseLog) -> int:
    with log:
        greet_set_up(seat.console, log.state)
        knowledge = seat.rules()
        from .shell.setup import SetUp

        ended = SetUp(knowledge, log, seat.console, reports_folder(seat.data)).run()
        state = log.state
    if ended == "fault":
        return _walk_after(seat, state)
    return WRONG if ended == "unwritten" else WELL


def _walk_after(seat: Seat, state: CaseState) -> int:
    """Walk a fault in a case of its own, which begins with what the set-up says."""
    from dataclasses import asdict

    from .planning.setup import carried

    kept = asdict(carried(seat.rules(), state))
    log = CaseLog.create(cases_folder(seat.data))
    log.append("carried", setup=state.case, **kept)
    return _over_a_fault(seat, log)


def _over_a_fault(seat: Seat, log: CaseLog) -> int:
    cases = cases_folder(seat.data)
    with log, seat.club as club:
        try:
            greet(seat.console, log.state)
            choose_machine(seat.console, club, log, seat.machine)
            if log.state.machine and not log.state.words:
                show_machine(seat.console, club, log, seat.rules)
            # What the club's cases teach is worked out while the owner's words are typed.
            learned = ThreadPoolExecutor(1).submit(lambda: club.learned(seat.rules(), log.state.machine, cases))
            typed = first_words(seat.console, log)
        except Left:
            seat.console.say(f"Kept: {log.path}. Start 'diagnose' again and it goes on here.")
            return WELL
        knowledge, lessons = seat.rules(), learned.result()
        from .report.files import CannotWrite
        from .shell.drafting import offer
        from .shell.walk import Walk

        say_trouble(seat.console, club)
        walk = Walk(knowledge, log, seat.console, reports_folder(seat.data), typed, lessons)
        written = True
        try:
            if walk.run():
                written = _keep(seat, walk)
                offer(walk, rules_folder(seat.data), seat.packs_named)
            say_trouble(seat.console, club)
        except CannotWrite as trouble:
            seat.complain(str(trouble))
            return WRONG
    return WELL if written else WRONG


def _keep(seat: Seat, walk: Walk) -> bool:
    """A closed case goes into the club's book, and its report onto paper. False when that cannot be written, which is
    said."""
    from .report.files import CannotWrite, report_of, write_pdf

    state = walk.log.state
    kept = seat.club.keep(state, walk.knowledge, cases_folder(seat.data))
    page = report_of(walk.knowledge, walk.state, walk.examined)
    written = True
    try:
        say(seat.console, f"As PDF: {write_pdf(reports_folder(seat.data), state.case, page)}")
    except CannotWrite as trouble:
        say(seat.console, f"{trouble}.", "warning")
        written = False
    for line in kept:
        say(seat.console, line)
    return written
