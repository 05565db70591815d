"""Packs on disk -> one Knowledge, or every problem in them at once."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from . import checker
from .fields import Fields
from .merging import ReadPack, merge
from .model import Knowledge, Pack
from .reader import VERSION, Entries, read_entries, read_pack
from .source import (
    MOST_VALUES,
    OUTSIDE,
    FaultyFiles,
    Place,
    Problem,
    Table,
    compose,
    leads_outside,
    read_text,
    values_in,
)

PACK_FILE = "pack.yaml"
MOST_FILES = 500

MOST_LIKELIHOODS = 4_000_000
"""Causes times answers of all findings together. What a walk weighs grows by it: to half a gigabyte at this size."""


def base_pack() -> Path:
    """Return the folder of the base rules: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "rules" / "base"
    return installed if installed.is_dir() else package.parent / "rules" / "base"


def upon_base(clubs: Iterable[Path]) -> list[Path]:
    """Return the folders to read: the base rules, and upon them those that are not the base rules themselves."""
    ground = base_pack()
    return [ground, *(club for club in clubs if os.path.realpath(club) != os.path.realpath(ground))]


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


def load(folders: Iterable[Path]) -> Knowledge:
    """Return what the packs in `folders` say together. Raises FaultyFiles with every problem found."""
    read = read_packs(folders)
    if read.problems:
        raise FaultyFiles(list(read.problems))
    return read.knowledge


@dataclass(frozen=True, slots=True)
class Read:
    """What packs say together, and everything wrong in them. `whole`: every entry could be read."""

    knowledge: Knowledge
    problems: tuple[Problem, ...]
    whole: bool


@uncollected()
def read_packs(folders: Iterable[Path]) -> Read:
    """Return what the packs in `folders` say together, in this order, with everything wrong in and between them."""
    problems: list[Problem] = []
    read = [_read_pack(folder, problems) for folder in folders]
    every_entry = not problems
    amiss = _missing_packs([one.pack for one in read if one.pack is not None])
    problems += amiss
    # Without a needed pack, or a file of one, every name it defines would be called unknown.
    knowledge = merge(read, [] if amiss else problems)
    problems += _too_large(knowledge)
    if not amiss and all(one.whole for one in read):
        problems += checker.problems(knowledge, frozenset().union(*(one.unread for one in read)))
    return Read(knowledge, tuple(sorted(set(problems))), every_entry and not amiss)


def pack_files(folder: Path) -> list[Path]:
    """Return the files of a pack, in the order in which they are read."""
    return sorted(path for path in folder.glob("*.yaml") if path.is_file() and not path.name.startswith("."))


def _read_pack(folder: Path, problems: list[Problem]) -> ReadPack:
    where = shown(folder)
    nothing = ReadPack(None, (), frozenset(), whole=False)
    if not (folder / PACK_FILE).is_file():
        problems.append(Problem(Place(where), f"no rule pack here: a pack is a folder with a {PACK_FILE}"))
        return nothing
    files = pack_files(folder)
    amiss = [*_outside(folder, where, files), *_too_many(where, len(files), MOST_FILES, "files")]
    if amiss:
        problems += amiss
        return nothing
    packs: list[Pack] = []
    entries: list[Entries] = []
    whole = True
    values = 0
    for path in files:
        name = os.path.join(where, path.name)
        try:
            root, wrong = compose(read_text(path, name), name)
        except FaultyFiles as faulty:
            problems.extend(faulty.problems)
            whole = False
            continue
        values += values_in(root)
        wrong += _too_many(where, values, MOST_VALUES, "values")
        problems.extend(wrong)
        if wrong:
            whole = False
        elif path.name == PACK_FILE:
            packs += _pack(root, name, where, problems)
        else:
            entries.append(read_entries(root, name, problems))
        if values > MOST_VALUES:
            break
    return ReadPack(
        pack=packs[0] if packs else None,
        entries=tuple(made for one in entries for made in one.made),
        unread=frozenset().union(*(one.unread for one in entries)),
        whole=whole and all(one.whole for one in entries),
    )


def _outside(folder: Path, shown: str, files: Iterable[Path]) -> Iterator[Problem]:
    """A link in a pack could show any file of whoever reads it."""
    for path in files:
        if leads_outside(path, folder):
            yield Problem(Place(os.path.join(shown, path.name)), OUTSIDE)


def _too_many(shown: str, count: int, most: int, of: str) -> Iterator[Problem]:
    if count > most:
        yield Problem(Place(shown), f"more than {most:,} {of} in one pack; make two of it")


def shown(folder: Path) -> str:
    """Return the folder as a reader can find it: relative to where they stand when it lies below."""
    try:
        return str(folder.resolve().relative_to(Path.cwd()))
    except (ValueError, OSError, RuntimeError):  # it lies elsewhere, or links lead round in a circle
        return str(folder)


def _pack(root: object, name: str, folder: str, problems: list[Problem]) -> list[Pack]:
    if not isinstance(root, Table):
        problems.append(Problem(Place(name), "takes pack:, name:, version:, author: and, if it needs other packs, needs:"))
        return []
    it = Fields(root, problems)
    pack = read_pack(it, folder)
    it.close()
    return [pack]


def _too_large(knowledge: Knowledge) -> Iterator[Problem]:
    answers = sum(len(finding.answers) for finding in knowledge.findings.values())
    if len(knowledge.causes) * answers > MOST_LIKELIHOODS:
        says = f"{len(knowledge.causes):,} causes and {answers:,} answers together are too many; take packs away"
        yield Problem(Place(knowledge.packs[-1].folder if knowledge.packs else ""), says)


def _missing_packs(packs: Sequence[Pack]) -> list[Problem]:
    """One line for each pack that is needed and not there in time, too old, or there twice."""
    problems = []
    earlier: dict[str, Pack] = {}
    all_ids = {pack.id for pack in packs}
    for pack in packs:
        for need in pack.needs:
            found = earlier.get(need.pack)
            if found is None and need.pack in all_ids:
                says = f"pack '{pack.id}' needs '{need.pack}', which is read after it; name '{need.pack}' first"
                problems.append(Problem(need.pack.place, says))
            elif found is None:
                says = f"pack '{pack.id}' needs the pack '{need.pack}', which is not here; add it with --rules"
                problems.append(Problem(need.pack.place, says))
            elif need.least and _numbers(found.version) < _numbers(need.least):
                says = f"pack '{pack.id}' needs '{need.pack}' {need.least} or newer; here is {found.version}"
                problems.append(Problem(need.pack.place, says))
        if pack.id in earlier:
            problems.append(Problem(pack.id.place, f"pack '{pack.id}' is already read from {earlier[pack.id].folder}"))
        else:
            earlier[pack.id] = pack
    return problems


def _numbers(version: str) -> tuple[int, ...]:
    """A version as numbers; 1.0 is as new as 1.0.0, so zeros at its end are left out. What is no version is oldest."""
    numbers = [int(number) for number in version.split(".")] if VERSION.fullmatch(version) else []
    while numbers and not numbers[-1]:
        numbers.pop()
    return tuple(numbers)
