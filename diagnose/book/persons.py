"""Taking a person out, when they ask: out of the book, and out of the folders of this machine."""

from __future__ import annotations

import glob
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from ..case.log import ENDING
from .access import Book
from .closed import mark
from .removing import erase
from .schema import cases, machines


@dataclass(frozen=True, slots=True)
class Removed:
    """How much of a person is gone: rows of the book, and files of their cases."""

    rows: int
    files: int


def remove_owner(book: Book, owner: str, cases_folder: Path, reports_folder: Path) -> Removed:
    """Remove an owner with all that is theirs, and the logs and reports of their cases on this machine.

    What is freed in the book's file is overwritten, and its write-ahead log emptied, so that nothing can be read there.
    """
    with book.reading() as connection:
        theirs = select(machines.c.uid).where(machines.c.owner == owner)
        named = connection.execute(select(cases.c.name, cases.c.uid).where(cases.c.machine.in_(theirs))).all()
    files = [path for name, uid in named for path in _files_of(name, uid, cases_folder, reports_folder)]
    with book.writing() as connection:
        gone = erase(connection, [owner])
    for path in files:
        path.unlink()
    if book.file is not None:
        with book.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    return Removed(len(gone), len(files))


def _files_of(name: str, uid: str, cases_folder: Path, reports_folder: Path) -> list[Path]:
    """The log of a case, what was cut off it, and its reports. Another laptop's case of that name is not touched."""
    if mark(cases_folder / f"{name}{ENDING}") != uid:
        return []
    return [
        path
        for folder in (cases_folder, reports_folder)
        if folder.is_dir()
        for path in folder.glob(f"{glob.escape(name)}.*")
    ]
