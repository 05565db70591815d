"""What confirmed cases teach: how common each fault is, and what the six frequency words mean in this club.

The prior is a Dirichlet over the causes: what the packs say counts as so many imagined cases, and each confirmed case as
one. From the club to the kind of machine to the machine in hand each level begins with what the wider one has come to,
and no case counts at two levels. The words are pooled over all tells of all causes, because no cause alone has cases
enough: on synthetic clubs that closed 60 % of the gap to one who knows all after 100 cases, a table a cause 30 %.

What is written counts as 60 imagined cases, or as many more as the cases themselves speak for: averaged over 60, 120,
... by how well each foretells what was counted. Sixty alone did harm where the packs are right and faults are many
(measured; DEVELOPERS.md has the table). Pure functions; `counted` alone reads the book.
"""

from __future__ import annotations

import math
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
"""Fewest cases that what is written counts as, on each level."""

IMAGINED_HITS = 4.0
"""Fewest hits that the share of a word as written counts as: a rare word keeps its meaning through more cases."""

DOUBLINGS = 8
"""How often the fewest are doubled: up to 7,680 cases and 512 hits, past which nothing moves."""

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
        share = learned_shares(share, level)
    return share


def learned_shares(prior: Floats, counts: Floats) -> Floats:
    """Return the shares after these counts, (causes,), averaged over how many imagined cases the prior may count as."""
    sizes = IMAGINED * 2.0 ** np.arange(DOUBLINGS)
    belief = _belief([counts_likelihood(prior, counts, size) for size in sizes])
    return sum((b * posterior_mean(prior, counts, size) for b, size in zip(belief, sizes, strict=True)), 0 * prior)


def posterior_mean(prior: Floats, counts: Floats, imagined: float) -> Floats:
    """Return the mean of a Dirichlet after these counts, (causes,): (imagined x prior + counts) / (imagined + all counts).

    prior: (causes,) shares that add up to 1. A textbook result (conjugate prior of the multinomial, from memory);
    scipy.stats.dirichlet agrees in the tests.
    """
    return (imagined * prior + counts) / (imagined + counts.sum())


def counts_likelihood(prior: Floats, counts: Floats, imagined: float) -> float:
    """Return how well a prior of so many imagined cases foretells these counts: the logarithm of the
    Dirichlet-multinomial, less what does not depend on `imagined`. A textbook result (from memory);
    scipy.stats.dirichlet_multinomial agrees in the tests."""
    met = counts > 0
    began = imagined * prior[met]
    gained = sum(math.lgamma(a + n) - math.lgamma(a) for a, n in zip(began, counts[met], strict=True))
    return gained + math.lgamma(imagined) - math.lgamma(imagined + counts.sum())


def _belief(logs: Sequence[float]) -> Floats:
    """What each of several likelihoods weighs, when all were as likely before."""
    belief = np.exp(np.array(logs) - max(logs))
    return belief / belief.sum()


@dataclass(frozen=True, slots=True)
class WordCount:
    """How often a word held: answers given as the word has it (`hits`), and how often they would be if it held always.

    `slips` of the hits are expected to be wrong answers that fell there by chance.
    """

    hits: float = 0.0
    slips: float = 0.0
    chances: float = 0.0

    @property
    def true_hits(self) -> float:
        """Hits without the slips, between none and all."""
        return min(max(self.hits - self.slips, 0.0), self.chances)


def word_counts(knowledge: Knowledge, answers: Mapping[tuple[str, str, str], int]) -> dict[str, WordCount]:
    """Pool what was answered over all tells of all causes, by the word of each tell.

    Where the words of a tell were scaled to fit together, its chances are scaled alike.
    """
    told: dict[tuple[str, str], dict[str, int]] = defaultdict(dict)
    for (of, asked, answer), many in answers.items():
        if of in knowledge.causes and asked in knowledge.causes[of].shows and asked in knowledge.findings:
            told[of, asked][answer] = many
    sums = {word: [0.0, 0.0, 0.0] for word in FREQUENCY}
    for (of, asked), given in told.items():
        finding, tell = knowledge.findings[asked], knowledge.causes[of].shows[asked]
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
    """Return what each word means, given how often it held, averaged over how many hits its written share may count as.

    The words keep their order: two that come out the wrong way round are pooled (isotonic regression by weight).
    """
    words = sorted(FREQUENCY, key=lambda word: FREQUENCY[word])
    sizes = IMAGINED_HITS * 2.0 ** np.arange(DOUBLINGS)
    belief = _belief([sum(hits_likelihood(FREQUENCY[word], pooled[word], size) for word in words) for size in sizes])
    shares = [
        sum(b * word_share(FREQUENCY[word], pooled[word], size) for b, size in zip(belief, sizes, strict=True))
        for word in words
    ]
    weights = [pooled[word].chances + IMAGINED_HITS / FREQUENCY[word] for word in words]
    in_order = never_falling([min(max(share, LEAST), MOST) for share in shares], weights)
    return dict(zip(words, in_order, strict=True))


def word_share(written: float, count: WordCount, imagined: float) -> float:
    """Return (hits - slips + imagined) / (chances + imagined / written): the mean of a beta distribution that began with
    so many imagined hits at the written share. scipy.stats.beta agrees in the tests."""
    return (count.true_hits + imagined) / (count.chances + imagined / written)


def hits_likelihood(written: float, count: WordCount, imagined: float) -> float:
    """Return how well a written share of so many imagined hits foretells the hits: the logarithm of the beta-binomial,
    less what does not depend on `imagined`. scipy.stats.betabinom agrees in the tests."""
    hits, misses = count.true_hits, count.chances - count.true_hits
    for_it, against = imagined, imagined / written - imagined
    return _log_beta(for_it + hits, against + misses) - _log_beta(for_it, against)


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def never_falling(values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return the values nearest to these that never fall: neighbours out of order become their weighted mean."""
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        blocks.append((value, weight, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (v, w, n), (value_2, weight_2, n_2) = blocks[-2:]
            blocks[-2:] = [((v * w + value_2 * weight_2) / (w + weight_2), w + weight_2, n + n_2)]
    return [value for value, _, many in blocks for _ in range(many)]
