"""Writing a file of the book whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from .. import whole as files
from .places import BookTrouble


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Give a path to write to; what is there takes its place when all of it is written. Raises BookTrouble."""
    try:
        with files.whole(path) as unfinished:
            yield unfinished
    except OSError as error:
        raise BookTrouble(f"{path}: cannot be written: {error.strerror or error}; name another place") from None


@contextmanager
def whole_file(path: Path) -> Iterator[TextIO]:
    """Give a text to write into; the file is there when all of it is written. Raises BookTrouble."""
    with whole(path) as unfinished, unfinished.open("w", encoding="utf-8", newline="") as sink:
        yield sink
