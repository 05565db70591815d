"""Start a pack: a small working one, copied from the example beside this module under the club's own name."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from ..case.places import RULES_VARIABLE
from .placing import write_new

EXAMPLE = Path(__file__).resolve().parent / "example"

EXAMPLES_NAME = "crooked-windsock"
"""The name that the example bears, and with which its ids begin. The club's own name takes its place."""

LONGEST_NAME = 40
_WORDS = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


class CannotStart(Exception):
    """The pack cannot be made; the message says why and what to do."""


def start(name: str, into: Path) -> Path:
    """Write a new pack called `name` into a new folder of that name in `into`, and return that folder.

    Raises CannotStart when the name will not do or the folder is there already, CannotWrite when the disk takes no more;
    then nothing is left of it.
    """
    folder = into / fitting(name)
    if folder.exists():
        raise CannotStart(f"'{folder}' is there already; nothing was changed. Take another name")
    write_new(folder, example_as(name))
    return folder


def fitting(name: str) -> str:
    """Return the name of a pack. Raises CannotStart when it will not do, with what was probably meant."""
    if not _WORDS.fullmatch(name) or len(name) > LONGEST_NAME:
        better = re.sub(r"[^a-z0-9]+", "-", name.lower())[:LONGEST_NAME].strip("-")
        meant = f"; did you mean '{better}'?" if better and better != name else ""
        raise CannotStart(
            f"'{name}' will not do as a pack's name: lower-case words joined by hyphens,"
            f" {LONGEST_NAME} letters at most{meant}"
        )
    if name == "base":
        raise CannotStart("'base' is the name of the rules that ship; take another name")
    return name


def example_as(name: str) -> Mapping[str, str]:
    """Return the files of the example under another name: path inside the pack -> text."""
    return MappingProxyType(
        {
            str(path.relative_to(EXAMPLE)): path.read_text(encoding="utf-8").replace(EXAMPLES_NAME, name)
            for path in sorted(EXAMPLE.rglob("*"))
            if path.suffix in (".yaml", ".md")
        }
    )


def how_to_use(folder: Path, data: Path, named: str | None) -> list[str]:
    """Return what can be done with a new pack, and where packs are found.

    `named` is what the environment variable for packs holds now, if it is set.
    """
    everywhere = data / "rules"
    return [
        f"{folder} is a pack that works: an invented example, to be changed into your own rules.",
        f"Read {folder / 'README.md'} first.",
        "",
        f"  diagnose rules check {folder}   says all that is wrong in it",
        f"  diagnose rules try {folder}     runs its cases",
        f"  diagnose --rules {folder}       walks a fault with it",
        "",
        "The base rules are always read. Then the first of these that names any pack counts:",
        "  1. --rules FOLDER, once for each pack",
        f"  2. the environment variable {RULES_VARIABLE}, folders parted by '{os.pathsep}'"
        f" ({f'now {named}' if named else 'not set now'})",
        f"  3. every folder in {everywhere}",
        f"To have it read every time, move it to {everywhere / folder.name}",
    ]
