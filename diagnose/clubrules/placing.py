"""A drafted cause is proved in a place of its own first; only what loads and comes out right reaches the pack."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ..case.state import CaseState
from ..knowledge.checked import check
from ..knowledge.model import Knowledge
from ..knowledge.packs import PACK_FILE
from ..knowledge.source import FaultyFiles, Problem
from ..planning.examine import examine
from ..report.files import CannotWrite, write_whole
from .drafting import Draft, Drafted, drafted, pack_file
from .trying import CASES, try_packs, unreached

ADVICE = "nothing was changed"


@dataclass(frozen=True, slots=True)
class Proved:
    """A draft that was read, checked and tried together with the packs in use.

    wrong: what keeps it out. advice: what loads and is perhaps not meant. place: where the cause stands in its own case,
    from 1 (None: not at all), behind those `ahead`.
    """

    drafted: Drafted
    wrong: tuple[Problem, ...]
    advice: tuple[Problem, ...]
    place: int | None
    ahead: tuple[str, ...]


def prove(knowledge: Knowledge, draft: Draft, case: CaseState, target: Path, pack: str) -> Proved:
    """Return the draft as it would be in the pack `pack` in the folder `target`, which may not be there yet.

    Nothing is written but in a temporary folder.
    """
    there = [path.name for path in target.glob("*.yaml")] if target.is_dir() else []
    there += [path.name for path in (target / CASES).glob("*.yaml")]
    with tempfile.TemporaryDirectory() as room:
        copy = Path(room) / target.name
        if target.is_dir():
            shutil.copytree(target, copy)
        else:
            _write(copy, {PACK_FILE: pack_file(pack, knowledge)})
        packs = _in_order([Path(one.folder) for one in knowledge.packs], target, copy)
        before = _missed(packs, copy)
        first = drafted(knowledge, draft, case, pack, files=there)
        _write(copy, first.files)
        checked = check(packs)
        if checked.errors:
            return Proved(first, checked.errors, (), None, ())
        standing = examine(checked.knowledge, first.state).standing.causes
        order = [ranked.cause for ranked in standing]
        place = order.index(first.cause) + 1 if first.cause in order else None
        expect = {1: "first", 2: "first_three", 3: "first_three"}.get(place or 0, "")
        made = drafted(knowledge, draft, case, pack, expect, there)
        _write(copy, made.files)
        own = {os.path.join(str(copy), name) for name in made.files}
        wrong = [problem for problem in _missed(packs, copy) if problem.says not in {old.says for old in before}]
        advice = [one for one in checked.advice if any(Path(one.place.file).name == Path(name).name for name in own)]
        ahead = tuple(str(checked.knowledge.causes[name].name) for name in order[: (place or 1) - 1][:3])
    return Proved(made, tuple(wrong), tuple(advice), place, ahead)


def put_in_place(target: Path, pack: str, files: Mapping[str, str], knowledge: Knowledge) -> None:
    """Write the files of a proved draft into the pack in `target`; a pack that is not there yet appears whole.

    No file of the pack is changed. The rules come last, so that a pack which could not take all of it loads as before.
    Raises CannotWrite; then nothing of it is left.
    """
    if not target.is_dir():
        write_new(target, {PACK_FILE: pack_file(pack, knowledge), **files})
        return
    written: list[Path] = []
    try:
        for name in sorted(files, key=lambda name: not name.startswith(CASES)):
            path = target / name
            write_whole(path, files[name], "the draft cannot be written", ADVICE)
            written.append(path)
    except CannotWrite:
        for path in written:
            with suppress(OSError):
                path.unlink()
        raise


def write_new(folder: Path, files: Mapping[str, str]) -> None:
    """Write a new folder with these files (path inside it -> text), whole or not at all. Raises CannotWrite."""
    unfinished = folder.with_name(f".{folder.name}.{os.getpid()}")
    try:
        _write(unfinished, files)
        unfinished.rename(folder)
    except OSError as error:
        shutil.rmtree(unfinished, ignore_errors=True)
        raise CannotWrite(f"{folder}: cannot be written: {error.strerror or error}; {ADVICE}") from None


def _write(folder: Path, files: Mapping[str, str]) -> None:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode())


def _in_order(packs: Sequence[Path], target: Path, copy: Path) -> list[Path]:
    """The packs in use with the copy in its place; a new pack is read where its name stands among the clubs' own."""
    if target in packs:
        return [copy if pack == target else pack for pack in packs]
    ground, *clubs = packs
    return [ground, *sorted([*clubs, copy], key=lambda pack: pack.name)]


def _missed(packs: Sequence[Path], copy: Path) -> list[Problem]:
    """What the cases of the pack in `copy` miss, and which of its rules they do not reach."""
    checked = check(packs)
    if checked.errors:
        return list(checked.errors)
    ours = [pack for pack in checked.knowledge.packs if Path(pack.folder).resolve() == copy.resolve()]
    try:
        trial = try_packs(checked.knowledge, ours)
    except FaultyFiles as faulty:
        return list(faulty.problems)
    missed = [problem for tried in trial.cases for problem in tried.missed]
    return [*missed, *(problem for reached in trial.rules for problem in unreached(reached))]
