"""What the command line does with the book whichever command is run: the book that is meant, what its cases teach, a
password asked for, and the rules when they are wanted."""

from __future__ import annotations

import argparse
import getpass
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from .case.places import cases_folder, data_folder
from .knowledge.model import Knowledge

if TYPE_CHECKING:
    from .book.access import Book
    from .reasoning.learned import Learned
    from .shell.club import Club

Rules = Callable[[], Knowledge]

WELL, WRONG = 0, 1


def as_command(
    command: Callable[[argparse.Namespace, Rules], int], rules: Callable[[argparse.Namespace], Knowledge]
) -> Callable[[argparse.Namespace], int]:
    """A command of the book as the command line runs it; the rules are read when it wants them."""

    def run(options: argparse.Namespace) -> int:
        return command(options, lambda: rules(options))

    return run


def place_of(options: argparse.Namespace) -> str:
    """Return the file or address of the book that these options mean."""
    from .book.places import where

    return where(data_folder(options.data), options.book)


def asked_password(prompt: str) -> str:
    """Ask for a password without showing it; it is kept nowhere. Without a terminal there is nobody to ask."""
    from .book.places import BookTrouble

    if not sys.stdin or not sys.stdin.isatty():
        raise BookTrouble("the server wants a password; set PGPASSWORD, or run it at a terminal")
    return getpass.getpass(prompt)


def opened(options: argparse.Namespace, make: bool = False) -> Book:
    from .book.access import open_book

    return open_book(place_of(options), make, asked_password)


def club_of(options: argparse.Namespace) -> Club:
    """Return the club's book as the walk and the ranking use it."""
    from .shell.club import Club

    return Club(None if options.no_book else place_of(options), asked_password)


def learned_of(options: argparse.Namespace, knowledge: Knowledge, machine: str = "") -> Learned | None:
    """What the book's confirmed cases teach; a book that cannot be used is said, and left out."""
    with club_of(options) as club:
        learned = club.learned(knowledge, machine, cases_folder(data_folder(options.data)))
    if club.trouble:
        print(f"Without the book: {club.trouble}", file=sys.stderr)
    return learned
