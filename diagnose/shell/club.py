"""The club's book as a walk uses it: which machine it is, what was with it before, what its cases teach, and the case's
way into it. Whatever is wrong with the book is said in one line, once, and the walk goes on without it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from ..book.glance import machine_names
from ..book.places import on_server
from ..case.casefile import MACHINE
from ..case.log import CaseLog
from ..case.state import CaseState
from ..knowledge.model import Knowledge
from ..reasoning.learned import Learned
from .choices import NotUnderstood
from .console import Console, Dropped, cleaned
from .opening import say

if TYPE_CHECKING:
    from ..book.access import Book
    from ..book.history import History

MOST_NAMES = 6
"""Machines that are offered by number; any other is typed."""

LONGEST_NAME = 60

NEWEST = 20
"""Logs that are looked through at a start: a case whose walk was cut off after its closing is among the newest."""

Got = TypeVar("Got")


@dataclass
class Club:
    """place: the book's file or address, or None to walk without it. password: asks for that of a role on a server."""

    place: str | None
    password: Callable[[str], str]
    trouble: str = ""
    told: bool = False
    _open: Book | None = field(default=None, repr=False)

    def machines(self) -> list[str]:
        """Return the names of the machines in the book, those that had a case last first."""
        if self.place is None:
            return []
        if not on_server(self.place):
            return machine_names(Path(self.place))

        def names(book: Book) -> list[str]:
            from ..book import asking

            with book.reading() as connection:
                return asking.machine_names(connection)

        return self._with(names) or []

    def history(self, machine: str) -> History | None:
        """Return what the book knows of a machine, or None."""

        def of(book: Book) -> History | None:
            from ..book.history import history_of

            with book.reading() as connection:
                return history_of(connection, machine, str(datetime.now().year))

        return self._with(of)

    def learned(self, knowledge: Knowledge, machine: str, folder: Path) -> Learned | None:
        """Take in what was closed and is not in the book yet, and return what all its confirmed cases teach."""

        def of(book: Book) -> Learned | None:
            from ..book.closed import keep_closed
            from ..book.learning import counted, learn
            from ..book.rows import uid_of

            keep_closed(book, folder, knowledge, NEWEST)
            with book.reading() as connection:
                return learn(knowledge, counted(connection, uid_of("machine", machine) if machine else None))

        return self._with(of)

    def keep(self, state: CaseState, knowledge: Knowledge, folder: Path) -> list[str]:
        """Take the case that was just closed into the book; return what there is to say of it."""

        def kept(book: Book) -> list[str]:
            from ..book.closed import keep_closed, proved
            from ..book.history import AGAIN, closing_line, history_of

            keep_closed(book, folder, knowledge, NEWEST)
            lines = ["Kept in the book."]
            if state.closing and state.closing.how == "found" and not proved(state):
                lines.append(
                    "Not proved by a retest, it teaches the book nothing yet; once it is sure:"
                    f" diagnose book correct case {state.case} confirmed=person"
                )
            if state.machine and state.closing:
                with book.reading() as connection:
                    known = history_of(connection, state.machine, str(datetime.now().year))
                again = known.recurring if known else ()
                lines += [
                    closing_line(one, knowledge, state.machine)
                    for one in again
                    if one.cause in state.closing.causes and one.times >= AGAIN
                ]
            return lines

        return self._with(kept, make=True) or []

    def _with(self, use: Callable[[Book], Got], make: bool = False) -> Got | None:
        """Use the book; None where there is none, or when it cannot be used. Then `trouble` says why."""
        if self.place is None or self.trouble:
            return None
        if not make and not on_server(self.place) and not Path(self.place).is_file():
            return None  # without a book nothing of the database library is loaded
        from ..book.access import open_book
        from ..book.places import BookTrouble, NoBook

        try:
            if self._open is None:
                self._open = open_book(self.place, make, self.password)
            return use(self._open)
        except NoBook:
            return None
        except BookTrouble as trouble:
            self.trouble = str(trouble)
            return None

    def close(self) -> None:
        if self._open is not None:
            self._open.close()

    def __enter__(self) -> Club:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def choose_machine(console: Console, club: Club, log: CaseLog, named: str | None) -> None:
    """Ask once which machine it is, while the book knows any; `named` was said on the command line. Raises Left."""
    if log.state.machine or log.state.words:
        return
    known = club.machines()
    name = cleaned(named or "")[:LONGEST_NAME]
    if not name and known:
        name = _asked(console, known)
    if name:
        log.append("machine", name=_as_known(name, known))


def _asked(console: Console, known: list[str]) -> str:
    say(console)
    say(console, "Which machine is it? Its number or name, or Enter to go on without.", "ask")
    for place, name in enumerate(known[:MOST_NAMES], 1):
        say(console, name, first=f"    {place}  ")
    while True:
        try:
            return _meant(console.read("> ", known), known)
        except Dropped:
            say(console, "Line dropped. Ctrl-D leaves.")
        except NotUnderstood as error:
            say(console, f"{error}.")


def _meant(line: str, known: list[str]) -> str:
    """The machine meant by a number, a name or the beginning of just one; any other name is a new machine."""
    typed = line.strip()
    if typed.isdecimal() and _as_known(typed, known) == typed and typed not in known:
        place = int(typed)
        if not 1 <= place <= min(len(known), MOST_NAMES):
            raise NotUnderstood(f"There is no {place} in the list; type the name, or Enter to go on without")
        return known[place - 1]
    if len(typed) > LONGEST_NAME:
        raise NotUnderstood(f"A name has up to {LONGEST_NAME} letters")
    begun = [name for name in known if typed and name.casefold().startswith(typed.casefold())]
    exact = [name for name in begun if name.casefold() == typed.casefold()]
    if len(exact or begun) == 1:
        return (exact or begun)[0]
    if len(begun) > 1:
        raise NotUnderstood(f"That may be {' or '.join(begun[:MOST_NAMES])}; type a little more")
    return typed


def _as_known(name: str, known: list[str]) -> str:
    """A name as the book writes it."""
    return next((one for one in known if one.casefold() == name.casefold()), name)


def show_machine(console: Console, club: Club, log: CaseLog, rules: Callable[[], Knowledge]) -> None:
    """Show what the machine's history begins with, and take from it what need not be asked. `rules` may have to wait."""
    known = club.history(log.state.machine)
    say_trouble(console, club)
    if known is None:
        return
    from ..book.history import opening_lines

    knowledge = rules()
    say(console)
    first, *rest = opening_lines(known, knowledge)
    say(console, first, "head")
    for line in rest:
        say(console, line, first="    ")
    kind = known.machine["kind"]
    if MACHINE in knowledge.findings and kind in knowledge.findings[MACHINE].answers:
        log.append("answer", finding=MACHINE, answer=kind)
    if known.last_weather is not None:
        from .air_since import compare_air

        compare_air(console, known.last_weather, knowledge, log)


def say_trouble(console: Console, club: Club) -> None:
    """Say once that the walk goes on without the book."""
    if club.trouble and not club.told:
        club.told = True
        say(console, f"Without the book: {club.trouble}. The case is kept in its log and comes into the book later.")
