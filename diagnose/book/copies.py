"""Copies of a book: made while it is in use, looked through before they replace anything, and merged."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from sqlalchemy import text

from .access import Book, copy_file, free_name, open_book
from .places import BookTrouble, NoBook
from .rows import Met, Taken, rows_of, take_in


def merge(book: Book, other: Book) -> Taken:
    """Take all of another book into this one; what both have stays once, and the later of two changes wins.

    It goes in batches: cut off in the middle, the same call finishes it.
    """
    taken, met = Taken(), Met()
    with other.reading() as source:
        for rows in rows_of(source):
            with book.writing() as connection:
                taken += take_in(connection, rows, met)
    return taken


def back_up(book: Book, copy: Path) -> None:
    """Copy the book into a new file while others go on writing. Raises BookTrouble, also when the file is there."""
    if copy.exists():
        raise BookTrouble(f"{copy}: is there already; name a new file, so that no older copy is lost")
    if book.file is not None:
        copy_file(book.file, copy)
        return
    unfinished = copy.with_name(f".{copy.name}.{os.getpid()}.gathered")
    try:
        with open_book(str(unfinished), make=True) as made:
            merge(made, book)
        copy_file(unfinished, copy)
    finally:
        for name in (unfinished, *_beside(unfinished)):
            with suppress(OSError):
                name.unlink()


def faults_in(book: Book) -> list[str]:
    """Look a book through; return what is wrong with it, in words of the database. Raises BookTrouble."""
    if book.file is None:
        return []
    with book.reading() as connection:
        said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check(5)"))]
        loose = [f"a row of {row[0]} points to nothing" for row in connection.execute(text("PRAGMA foreign_key_check"))]
    return [line for line in said if line != "ok"] + loose[:5]


def restore(chosen: Path, copy: Path) -> Path | None:
    """Put a copy in the place of the book, once it is found whole; return where the book that stood there is kept now.

    A copy in older tables is migrated on the way. Raises BookTrouble; then nothing has changed.
    """
    if not copy.is_file():
        raise BookTrouble(f"{copy}: there is no such copy")
    unfinished = chosen.with_name(f".{chosen.name}.restoring")
    _forget(unfinished)
    copy_file(copy, unfinished)
    try:
        try:
            with open_book(str(unfinished)) as made:
                faults = faults_in(made)
        except NoBook:
            raise BookTrouble(f"{copy}: holds no book; nothing was changed") from None
        if faults:
            raise BookTrouble(f"{copy}: is damaged itself ({faults[0]}); nothing was changed; try an older copy")
        kept = _move_aside(chosen)
        unfinished.replace(chosen)
        return kept
    except OSError as error:
        raise BookTrouble(f"{chosen}: cannot be written: {error.strerror or error}") from None
    finally:
        _forget(unfinished)


def _move_aside(chosen: Path) -> Path | None:
    if not chosen.exists():
        return None
    kept = free_name(chosen.with_name(f"{chosen.name}.before-restore"))
    for ending in ("-wal", "-shm"):  # what was not yet written into the book goes with it
        with suppress(FileNotFoundError):
            chosen.with_name(chosen.name + ending).replace(kept.with_name(kept.name + ending))
    chosen.replace(kept)
    return kept


def _beside(path: Path) -> Iterator[Path]:
    for ending in ("-wal", "-shm", "-journal"):
        yield path.with_name(path.name + ending)


def _forget(path: Path) -> None:
    for name in (path, *_beside(path)):
        with suppress(OSError):
            name.unlink()
