"""Taking a person out, when they ask: out of the book, and out of the folders of this machine."""

from __future__ import annotations

import glob
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from ..case.log import ENDING, LogTrouble, logs_in, read_log
from ..case.state import CaseState, replay
from .access import Book
from .closed import mark
from .machine_report import file_name
from .removing import erase
from .rows import uid_of
from .schema import cases, machines


@dataclass(frozen=True, slots=True)
class Removed:
    """How much of a person is gone: rows of the book, and files of their cases and machines; and the logs that cannot be
    read, so that nobody knows whose they are."""

    rows: int
    files: int
    unread: tuple[Path, ...] = ()


def remove_owner(book: Book, owner: str, cases_folder: Path, reports_folder: Path) -> Removed:
    """Remove an owner with all that is theirs, and on this machine the logs of their cases, open ones and set-ups too, and
    the reports of those and of their machines.

    What is freed in the book's file is overwritten, and its write-ahead log emptied, so that nothing can be read there.
    """
    with book.reading() as connection:
        theirs = {row.uid: row.name for row in connection.execute(select(machines).where(machines.c.owner == owner))}
        in_the_book = connection.execute(select(cases.c.name, cases.c.uid).where(cases.c.machine.in_(list(theirs)))).all()
    logs, unread = _logs_in(cases_folder)
    called = {*theirs, *(uid_of("machine", name) for name in theirs.values())}
    # Another laptop's case of that name is not touched.
    kept_here = {name for name, uid in in_the_book if mark(cases_folder / f"{name}{ENDING}") == uid}
    kept_here |= {name for name, state in logs.items() if state.machine and uid_of("machine", state.machine) in called}
    set_ups = {logs[name].set_up_in for name in kept_here if name in logs and logs[name].set_up_in}
    names = [*kept_here, *set_ups, *map(file_name, theirs)]
    files = {path for folder in (cases_folder, reports_folder) for path in _files_of(names, folder)}
    with book.writing() as connection:
        gone = erase(connection, [owner])
    for path in files:
        path.unlink()
    if book.file is not None:
        with book.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    return Removed(len(gone), len(files), unread)


def _logs_in(folder: Path) -> tuple[dict[str, CaseState], tuple[Path, ...]]:
    """The cases of a folder by the names of their logs, and the logs that cannot be read."""
    states, unread = {}, []
    for path in logs_in(folder):
        try:
            states[path.stem] = replay(read_log(path).events)
        except LogTrouble:
            unread.append(path)
    return states, tuple(unread)


def _files_of(names: Iterable[str], folder: Path) -> Iterator[Path]:
    """The logs of cases, what was cut off them, and the reports of cases or machines, those for the workshop too."""
    for name in names:
        for called in (name, f"{name}-workshop"):
            yield from folder.glob(f"{glob.escape(called)}.*")
