"""What `diagnose rules check` says: errors, which keep a pack from loading, and apart from them advice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from .advice import advice
from .model import Knowledge
from .packs import read_packs
from .pointing import pointed
from .source import Problem


@dataclass(frozen=True, slots=True)
class Checked:
    """Packs as they were read, with what is wrong in them and what is hardly meant.

    advised: False when an entry could not be read; advice on the rest would then say things that are not so.
    """

    knowledge: Knowledge
    errors: tuple[Problem, ...]
    advice: tuple[Problem, ...]
    advised: bool


def check(folders: Iterable[Path]) -> Checked:
    """Read packs, the first of them the ground for the others, and return all that is to be said of them.

    Advice on the first pack is given only when it is alone: who writes a club pack cannot change the other.
    """
    read = read_packs(folders)
    if not read.whole:
        return Checked(read.knowledge, read.problems, (), advised=False)
    said = advice(read.knowledge)
    packs = read.knowledge.packs
    if len(packs) > 1:
        said = [problem for problem in said if str(Path(problem.place.file).parent) != packs[0].folder]
    return Checked(read.knowledge, read.problems, tuple(said), advised=True)


def lines(checked: Checked) -> list[str]:
    """Return what is to be said to a person: errors with their lines first, then advice under its heading."""
    said = pointed(checked.errors)
    if checked.errors:
        said += ["", f"{_count(checked.errors, 'error')}: the packs do not load until this is put right."]
        if not checked.advised:
            said.append("Advice is given once every entry can be read.")
    else:
        said.append(_all_well(checked.knowledge))
    if checked.advice:
        said += ["", f"Advice, {_count(checked.advice, 'line')}: this loads, and is perhaps not what you meant.", ""]
        said += pointed(checked.advice)
    return said


def _count(problems: Sequence[Problem], noun: str) -> str:
    return f"{len(problems)} {noun}{'' if len(problems) == 1 else 's'}"


def _all_well(knowledge: Knowledge) -> str:
    counts = {
        "causes": knowledge.causes,
        "findings": knowledge.findings,
        "checks": knowledge.checks,
        "conditions": knowledge.conditions,
        "rules": knowledge.rules,
    }
    tells = sum(len(cause.shows) for cause in knowledge.causes.values())
    said = ", ".join(f"{len(shelf)} {name}" for name, shelf in counts.items())
    return f"{' and '.join(str(pack.id) for pack in knowledge.packs)}: nothing wrong; {said}, {tells} tells"


def document(checked: Checked) -> dict[str, object]:
    """Return the same for programs."""
    return {
        "format": "diagnose-problems",
        "version": 1,
        "errors": [problem.document() for problem in checked.errors],
        "advice": [problem.document() for problem in checked.advice],
    }
