"""What confirmed cases teach: how common each fault is, and what the six frequency words mean in this club.

The prior is a Dirichlet over the causes: what the packs say counts as IMAGINED cases, and each confirmed case as one.
From the club to the kind of machine to the machine in hand each level begins with what the wider one has come to, and
no case counts at two levels. The words are pooled over all tells of all causes, because no cause alone has cases enough:
on synthetic clubs that closed 60 % of the gap to one who knows all after 100 cases, a table of every cause 30 %.
Pure functions; `counted` alone reads the book.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, case, func, select

from ..knowledge.frequency import FREQUENCY
from ..knowledge.model import Knowledge
from ..reasoning.learned import ANY_KIND, Learned
from ..reasoning.tables import WRONG_ANSWERS, shown_rates, tables_of
from . import tallies
from .schema import cases, causes_found

Floats = NDArray[np.float64]

IMAGINED = 60.0
"""Cases that the prior of each level counts as. Measured on synthetic clubs: fewer overfit, raw counts did harm."""

IMAGINED_HITS = 4.0
"""Hits that a word's own share counts as: a rare word keeps its meaning through more cases than a common one."""

LEAST, MOST = 0.01, 0.99
"""No word comes to mean never at all, or always: a rule may be wrong, and so may an answer."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What was counted in the confirmed cases of a book.

    causes   (kind of machine, True on the machine in hand) -> cause -> cases
    answers  (cause, finding, answer) -> cases with this one cause
    cases    confirmed cases
    """

    causes: Mapping[tuple[str, bool], Mapping[str, int]] = field(default_factory=dict)
    answers: Mapping[tuple[str, str, str], int] = field(default_factory=dict)
    cases: int = 0


def counted(connection: Connection, machine: str | None = None) -> Counts:
    """Count the confirmed cases of the book; `machine` is the uid of the one in hand."""
    here = case((cases.c.machine == machine, 1), else_=0) if machine else case((cases.c.uid == None, 1), else_=0)  # noqa: E711
    query = (
        select(func.coalesce(cases.c.kind, ANY_KIND), here, causes_found.c.cause, func.count())
        .join(cases, cases.c.uid == causes_found.c.case)
        .where(cases.c.confirmed != "no")
        .group_by(func.coalesce(cases.c.kind, ANY_KIND), here, causes_found.c.cause)
    )
    causes: dict[tuple[str, bool], dict[str, int]] = defaultdict(dict)
    for kind, in_hand, cause, many in connection.execute(query):
        causes[kind, bool(in_hand)][cause] = many
    many = connection.scalar(select(func.count()).select_from(cases).where(cases.c.confirmed != "no")) or 0
    return Counts(causes, tallies.kept(connection), many)


def learn(knowledge: Knowledge, counts: Counts) -> Learned | None:
    """Return what the cases teach, or None when none of them tells anything to these rules."""
    order = tables_of(knowledge).causes
    known = {level: {c: n for c, n in some.items() if c in knowledge.causes} for level, some in counts.causes.items()}
    if not any(known.values()):
        return None
    vectors = {level: np.array([some.get(cause, 0) for cause in order], dtype=float) for level, some in known.items()}
    kinds = {kind for kind, _ in vectors}
    shares = {kind: _by_kind(knowledge, vectors, kind) for kind in (ANY_KIND, *sorted(kinds - {ANY_KIND}))}
    seen: Counter[str] = Counter()
    seen_here: Counter[str] = Counter()
    for (_, in_hand), some in known.items():
        seen.update(some)
        seen_here.update(some if in_hand else {})
    return Learned(
        cases=counts.cases,
        seen=MappingProxyType(dict(seen)),
        seen_here=MappingProxyType(dict(seen_here)),
        how_common=MappingProxyType(
            {kind: MappingProxyType(dict(zip(order, map(float, share), strict=True))) for kind, share in shares.items()}
        ),
        words=MappingProxyType(word_shares(word_counts(knowledge, counts.answers))),
    )


def _by_kind(knowledge: Knowledge, vectors: Mapping[tuple[str, bool], Floats], kind: str) -> Floats:
    """The shares of all causes on the machine in hand, taken to be of this kind: from the packs inwards."""
    written = tables_of(knowledge).how_common
    nothing = np.zeros_like(written)
    club = sum((v for (k, in_hand), v in vectors.items() if k != kind and not in_hand), nothing)
    like_it = vectors.get((kind, False), nothing)
    machine = sum((v for (_, in_hand), v in vectors.items() if in_hand), nothing)
    share = written / written.sum()
    for level in (club, like_it, machine):
        share = posterior_mean(share, level)
    return share


def posterior_mean(prior: Floats, counts: Floats, imagined: float = IMAGINED) -> Floats:
    """Return the mean of a Dirichlet after these counts, (causes,): (imagined x prior + counts) / (imagined + all counts).

    prior: (causes,) shares that add up to 1. Johnson, Kotz and Balakrishnan, Continuous Multivariate Distributions,
    chapter on the Dirichlet, 2000 (from memory); scipy.stats.dirichlet agrees in the tests.
    """
    return (imagined * prior + counts) / (imagined + counts.sum())


@dataclass(frozen=True, slots=True)
class WordCount:
    """How often a word held: answers given as the word has it (`hits`), and how often they would be if it held always.

    `slips` of the hits are expected to be wrong answers that fell there by chance.
    """

    hits: float = 0.0
    slips: float = 0.0
    chances: float = 0.0


def word_counts(knowledge: Knowledge, answers: Mapping[tuple[str, str, str], int]) -> dict[str, WordCount]:
    """Pool what was answered over all tells of all causes, by the word of each tell.

    Where the words of a tell were scaled to fit together, its chances are scaled alike.
    """
    told: dict[tuple[str, str], dict[str, int]] = defaultdict(dict)
    for (of, asked, answer), many in answers.items():
        told[of, asked][answer] = many
    sums = {word: [0.0, 0.0, 0.0] for word in FREQUENCY}
    for (of, asked), given in told.items():
        known_cause, finding = knowledge.causes.get(of), knowledge.findings.get(asked)
        if known_cause is None or finding is None or asked not in known_cause.shows:
            continue
        tell = known_cause.shows[asked]
        known = {answer: given.get(answer, 0) for answer in map(str, finding.answers)}
        total = sum(known.values())
        rates = dict(zip(known, shown_rates(finding, tell), strict=True))
        for answer, word in tell.words.items():
            pooled = sums[str(word)]
            pooled[0] += known[answer]
            pooled[1] += total * WRONG_ANSWERS / len(known)
            pooled[2] += total * (1 - WRONG_ANSWERS) * float(rates[answer]) / FREQUENCY[word]
    return {word: WordCount(*pooled) for word, pooled in sums.items()}


def word_shares(pooled: Mapping[str, WordCount]) -> dict[str, float]:
    """Return what each word means, given how often it held: (hits - slips + 4) / (chances + 4 / share as written).

    Without slips this is the mean of a beta distribution that began with 4 hits at the written share. The words keep
    their order: two that come out the wrong way round are pooled (isotonic regression, by the weight of each).
    """
    words = sorted(FREQUENCY, key=lambda word: FREQUENCY[word])
    weights = [pooled[word].chances + IMAGINED_HITS / FREQUENCY[word] for word in words]
    shares = [
        (pooled[word].hits - pooled[word].slips + IMAGINED_HITS) / weight
        for word, weight in zip(words, weights, strict=True)
    ]
    in_order = _never_falling([min(max(share, LEAST), MOST) for share in shares], weights)
    return dict(zip(words, in_order, strict=True))


def _never_falling(values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """The values nearest to these that never fall: neighbours out of order become their weighted mean."""
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        blocks.append((value, weight, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (v, w, n), (value_2, weight_2, n_2) = blocks[-2:]
            blocks[-2:] = [((v * w + value_2 * weight_2) / (w + weight_2), w + weight_2, n + n_2)]
    return [value for value, _, many in blocks for _ in range(many)]
