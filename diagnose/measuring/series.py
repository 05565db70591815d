"""A whole measurement: the same drawn cases walked in every way, on every processor of the machine."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from random import Random

from ..knowledge.model import Knowledge
from ..knowledge.packs import load
from .cases import CLEAN, OwnerKnows, draw
from .scores import Scores, scores
from .walks import Walked, place_after_a_slip, walk
from .ways import PLANNED, as_planned, ways

FIRST_FIVE = 5


@dataclass(frozen=True, slots=True)
class Measured:
    """What one run measured: the settings, the scores by way, and the planner's alone by kind of case."""

    cases: int
    compared: int
    seed: int
    owner: OwnerKnows
    noisy: Scores
    clean: Scores
    by_way: dict[str, Scores]
    first_five_after_a_slip: float


def measure(
    packs: Sequence[Path],
    cases: int,
    compared: int,
    seed: int,
    owner: OwnerKnows,
    processes: int | None = None,
    tell: Callable[[int], None] = lambda done: None,
) -> Measured:
    """Walk `cases` drawn cases as planned, with this owner and with one who knows all; the first `compared` in every way.

    The result depends on the packs, the cases, the seed and the owner, not on the number of processes. `tell` is told
    how many cases are done.
    """
    tasks = [(tuple(packs), number, number < compared, seed, owner) for number in range(cases)]
    done = []
    with ProcessPoolExecutor(processes or os.cpu_count()) as pool:
        for one in pool.map(_one_case, tasks):
            done.append(one)
            tell(len(done))
    slips = [one.place_after_a_slip for one in done if one.place_after_a_slip is not None]
    return Measured(
        cases=cases,
        compared=compared,
        seed=seed,
        owner=owner,
        noisy=scores([one.noisy[PLANNED] for one in done]),
        clean=scores([one.clean for one in done]),
        by_way={name: scores([one.noisy[name] for one in done[:compared]]) for name in done[0].noisy},
        first_five_after_a_slip=sum(place <= FIRST_FIVE for place in slips) / len(slips) if slips else 1.0,
    )


@dataclass(frozen=True, slots=True)
class _Done:
    noisy: dict[str, Walked]
    clean: Walked
    place_after_a_slip: int | None


def _one_case(task: tuple[tuple[Path, ...], int, bool, int, OwnerKnows]) -> _Done:
    packs, number, compare, seed, owner = task
    knowledge = _knowledge(packs)
    noisy = draw(knowledge, number, seed, owner)
    clean = draw(knowledge, number, seed, CLEAN)
    tried = ways(knowledge, number) if compare else {PLANNED: as_planned}
    single = len(clean.faults) == 1
    slip = place_after_a_slip(knowledge, clean, Random(f"{seed}/{number}/slip")) if single else None
    return _Done(
        {name: walk(knowledge, noisy, way) for name, way in tried.items()}, walk(knowledge, clean, as_planned), slip
    )


@lru_cache(maxsize=1)
def _knowledge(packs: tuple[Path, ...]) -> Knowledge:
    return load(packs)
