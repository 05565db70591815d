"""Packs on disk -> one Knowledge, or every problem in them at once."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType

from . import checker
from .model import Knowledge, Pack
from .reader import Fields, read_entries
from .source import FaultyFiles, Place, Problem, Table, Text, compose, read_text

PACK_FILE = "pack.yaml"
MOST_FILES = 500
FOLDERS = {
    "need": "needs", "finding": "findings", "kin": "kin", "condition": "conditions", "cause": "causes",
    "check": "checks", "retest": "retests", "caution": "cautions", "hold": "holds", "rule": "rules",
}  # fmt: skip


def base_pack() -> Path:
    """Return the folder of the base rules: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "rules" / "base"
    return installed if installed.is_dir() else package.parent / "rules" / "base"


@contextmanager
def uncollected() -> Iterator[None]:
    """Keep Python's garbage collector at rest while many lasting objects are made: a third of the time otherwise."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


@uncollected()
def load(folders: Iterable[Path]) -> Knowledge:
    """Return what the packs in `folders` say together. Raises FaultyFiles with every problem found."""
    problems: list[Problem] = []
    packs: list[Pack] = []
    shelves: dict[str, dict[str, object]] = {name: {} for name in FOLDERS.values()}
    names: dict[str, str] = {}
    for folder in folders:
        packs += _read_pack(folder, shelves, names, problems)
    knowledge = Knowledge(
        packs=tuple(packs),
        **{name: MappingProxyType(shelf) for name, shelf in shelves.items()},  # type: ignore[arg-type]
    )
    # A cross-check of half-read packs would call every id of an unreadable entry unknown.
    if not problems:
        problems = checker.problems(knowledge)
    if problems:
        raise FaultyFiles(problems)
    return knowledge


def _read_pack(folder: Path, shelves: dict, names: dict[str, str], problems: list[Problem]) -> list[Pack]:
    shown = _shown(folder)
    if not (folder / PACK_FILE).is_file():
        problems.append(Problem(Place(shown), f"no rule pack here: a pack is a folder with a {PACK_FILE}"))
        return []
    files = sorted(path for path in folder.glob("*.yaml") if path.is_file() and not path.name.startswith("."))
    if len(files) > MOST_FILES:
        problems.append(Problem(Place(shown), f"more than {MOST_FILES} files in one pack"))
        return []
    packs: list[Pack] = []
    for path in files:
        name = os.path.join(shown, path.name)
        try:
            root, wrong = compose(read_text(path, name), name)
        except FaultyFiles as faulty:
            problems.extend(faulty.problems)
            continue
        problems.extend(wrong)
        if wrong:
            continue
        if path.name == PACK_FILE:
            packs += _pack(root, name, shown, problems)
        else:
            _shelve(read_entries(root, name, problems), shelves, problems)
    return packs


def _shown(folder: Path) -> str:
    """The folder as a reader can find it: relative to where they stand when it lies below."""
    try:
        return str(folder.resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(folder)


def _pack(root: object, name: str, folder: str, problems: list[Problem]) -> list[Pack]:
    if not isinstance(root, Table):
        problems.append(Problem(Place(name), "takes pack:, name:, version: and author:"))
        return []
    it = Fields(root, problems)
    pack = Pack(it.id("pack"), it.text("name"), it.text("version"), it.text("author"), folder)
    it.close()
    return [pack]


def _shelve(entries: list[tuple[str, object]], shelves: dict, problems: list[Problem]) -> None:
    for kind, made in entries:
        shelf = shelves[FOLDERS[kind]]
        entry_id: Text = made.id  # type: ignore[attr-defined]
        if entry_id in shelf:
            first = shelf[entry_id].id.place
            problems.append(Problem(entry_id.place, f"{kind} '{entry_id}' is already defined at {first}"))
        else:
            shelf[entry_id] = made
