"""A file that is there whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Give a path to write to; what is there takes the place of `path` when all of it is written. Raises OSError."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield unfinished
        unfinished.replace(path)
    finally:
        with suppress(OSError):
            unfinished.unlink()
