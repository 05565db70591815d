"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TextIO

from .places import BookTrouble


@contextmanager
def whole_file(path: Path) -> Iterator[TextIO]:
    """Give a text to write into; the file is there when all of it is written. Raises BookTrouble."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with unfinished.open("w", encoding="utf-8", newline="") as sink:
            yield sink
        unfinished.replace(path)
    except OSError as error:
        raise BookTrouble(f"{path}: cannot be written: {error.strerror or error}; name another place") from None
    finally:
        with suppress(OSError):
            unfinished.unlink()
