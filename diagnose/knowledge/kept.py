"""Packs as they were read last, kept so that the next start need not read them anew.

Reading a pack means finding every mistake in it, which is the larger part of a start. What was read without one is kept
under a name made of every byte that was read, of the readers and of Python; whatever changes, it is read anew. What is kept
counts for no more than the packs: only this package's own types are made of it, nothing is called, and what cannot be
taken up again is read anew.
"""

from __future__ import annotations

import copyreg
import hashlib
import io
import pickle
import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import MappingProxyType

from ..whole import whole
from .model import Knowledge
from .packs import MOST_FILES, load, pack_files, shown, uncollected
from .source import LONGEST_FILE

KEPT = 4
"""Packs together that are kept; the oldest goes first."""

ENDING = ".kept"


def load_kept(folders: Iterable[Path], where: Path) -> Knowledge:
    """Return what load() does, from the folder `where` if the very same was read before. Raises what load() raises."""
    folders = list(folders)
    name = _name(folders)
    if name is None:
        return load(folders)
    kept = _taken_up(where / name)
    if kept is None:
        kept = load(folders)
        if _name(folders) == name:  # else it was written to while it was read
            _keep(kept, where, name)
    return kept


def _name(folders: Sequence[Path]) -> str | None:
    """A name that stands for all that is read and all that reads it; None for what only the readers can judge."""
    made = hashlib.sha256(sys.version.encode())
    try:
        for code in sorted(Path(__file__).parent.glob("*.py")):
            made.update(f"{code.name} {code.stat().st_size} {code.stat().st_mtime_ns}\n".encode())
        for folder in folders:
            files = pack_files(folder)
            if len(files) > MOST_FILES or any(file.stat().st_size > LONGEST_FILE for file in files):
                return None
            made.update(f"{shown(folder)} {len(files)}\n".encode())
            for file in files:
                text = file.read_bytes()
                made.update(f"{file.name} {file.is_symlink()} {len(text)}\n".encode() + text)
    except (OSError, UnicodeEncodeError):
        return None
    return made.hexdigest() + ENDING


def frozen(shelf: dict[object, object]) -> Mapping[object, object]:
    """Return a shelf as it is in a Knowledge: to be read only."""
    return MappingProxyType(shelf)


class _Writer(pickle.Pickler):
    dispatch_table = {**copyreg.dispatch_table, MappingProxyType: lambda shelf: (frozen, (dict(shelf),))}


class _Reader(pickle.Unpickler):
    """Makes this package's own types, and nothing else, whatever the file asks for."""

    def find_class(self, module: str, name: str) -> object:
        if (module, name) in ((__name__, frozen.__name__), ("builtins", "frozenset")):
            return super().find_class(module, name)
        found = super().find_class(module, name) if module.startswith("diagnose.knowledge.") else None
        if not isinstance(found, type) or found.__module__ != module:
            raise pickle.UnpicklingError(f"{module}.{name} is no part of a pack")
        return found


@uncollected()
def _taken_up(path: Path) -> Knowledge | None:
    """What was kept there, if it is whole."""
    try:
        kept = _Reader(io.BytesIO(path.read_bytes())).load()
    except Exception:  # a spoilt pickle may raise anything; then the packs are read
        return None
    return kept if isinstance(kept, Knowledge) else None


def _keep(knowledge: Knowledge, where: Path, name: str) -> None:
    """Write it whole or not at all. Where nothing can be kept, the next start takes longer, and that is all."""
    content = io.BytesIO()
    _Writer(content, pickle.HIGHEST_PROTOCOL).dump(knowledge)
    with suppress(OSError):
        with whole(where / name) as unfinished:
            unfinished.write_bytes(content.getvalue())
        by_age = sorted(where.glob(f"*{ENDING}"), key=lambda kept: kept.stat().st_mtime)
        for old in by_age[:-KEPT]:
            old.unlink(missing_ok=True)
