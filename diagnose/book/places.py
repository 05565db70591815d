"""Where the book is. Needs no database library, so that a walk without a book never waits for one."""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import urlsplit

VARIABLE = "DIAGNOSE_BOOK"
FILE = "book.sqlite"


class BookTrouble(Exception):
    """The book cannot be used as asked; the message says what, where and what to do."""


class NoBook(BookTrouble):
    """There is no book there yet."""


def where(data: Path, option: str | None = None) -> str:
    """Return the book's file or address: by option, else by the variable DIAGNOSE_BOOK, else in the data folder.

    Raises BookTrouble for an address that holds a password: it would stand in the shell's history and in lists of
    processes.
    """
    chosen = option or os.environ.get(VARIABLE) or str(data / FILE)
    if on_server(chosen) and _holds_password(chosen):
        raise BookTrouble(
            "the address of the book holds a password; leave it out: it is asked for when the server wants one,"
            " or taken from PGPASSWORD"
        )
    return chosen


def on_server(chosen: str) -> bool:
    """True for an address, False for a file."""
    return "://" in chosen


def _holds_password(chosen: str) -> bool:
    try:
        parts = urlsplit(chosen)
        return parts.password is not None or "password=" in parts.query.lower()
    except ValueError:
        return False  # it is no address at all, which is said when it is opened
