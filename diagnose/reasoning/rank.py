"""rank(): how likely each cause is, alone or as one of a pair, and how much each answer moved it.

A naive-Bayes posterior over single causes, "something not in these rules", and the pairs of the leading causes.
Each hypothesis is compared with "some other fault": a contribution is log P(answer | hypothesis) / P(answer | other),
so that contributions and prior add up exactly to the log-odds shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..case.casefile import MACHINE
from ..knowledge.model import Kin, Knowledge
from .learned import ANY_KIND, Learned
from .reason import Conclusions
from .tables import Floats, Places, Tables, tables_of

OTHER = 0.04
"""Prior share of faults that no rule knows."""

TWO_FAULTS = 0.10
"""Prior share of machines with two faults at once."""

LEADING = 12
"""Pairs are formed among this many leading causes; more changes nothing that was measured."""

HELPED = 0.2
"""Weight left to hypotheses without a cause whose repair made things better but not well. A judgement, not measured."""

DECIBELS = 10.0 / math.log(10.0)


@dataclass(frozen=True, slots=True)
class Repairs:
    """What has been put right without ending the fault: no change (`same`), or better but not gone (`better`)."""

    same: frozenset[str] = frozenset()
    better: frozenset[str] = frozenset()

    @property
    def done(self) -> frozenset[str]:
        return self.same | self.better


@dataclass(frozen=True, slots=True)
class Weight:
    """How far one group of observations moved a cause against some other fault, in decibels (10 dB = ten times).

    `of` are the findings or conditions of the group; `undamped` is what they would weigh if they were unrelated.
    """

    of: tuple[str, ...]
    decibels: float
    undamped: float


@dataclass(frozen=True, slots=True)
class RankedCause:
    """A cause with its probability of being present, and of being the only fault.

    In decibels against some other fault: how common it is (`prior_decibels`), and all that the answers say of it
    (`told_decibels`); Standing.trail() has the parts of the latter. `learned_decibels` is the part of the first by which
    the club's own cases moved it from what the packs say. `repaired_decibels` is what the repairs done say of it as the
    only fault: minus infinity when its own did not end the fault.
    """

    cause: str
    probability: float
    alone: float
    prior_decibels: float
    told_decibels: float
    learned_decibels: float = 0.0
    repaired_decibels: float = 0.0


@dataclass(frozen=True, slots=True)
class RankedPair:
    """Two causes at once."""

    causes: tuple[str, str]
    probability: float


@dataclass(frozen=True, eq=False)
class _Observed:
    """The observations as columns: log-ratios against some other fault, and how columns are kin.

    conditions  the columns that are conditions; parts (conditions x observations): what each of them rests on
    """

    names: tuple[str, ...]
    ratios: Floats
    conditions: Places
    parts: NDArray[np.bool_]
    kin: tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True, eq=False)
class Standing:
    """Causes, most probable first; pairs that matter; what is left for something not in these rules.

    `cures` (causes,) is the probability that repairing this cause next ends the fault, in the order of `tables`, the
    likelihoods that all of it rests on.
    """

    causes: tuple[RankedCause, ...]
    pairs: tuple[RankedPair, ...]
    other: float
    cures: Floats
    tables: Tables
    _observed: _Observed
    _weights: Floats

    def trail(self, cause: str) -> tuple[Weight, ...]:
        """Return what moved a cause, the largest first; kin are one entry. They add up to its `told_decibels`."""
        row = self.tables.causes.index(cause)
        groups = (
            Weight(
                tuple(self._observed.names[column] for column in group),
                float(self._weights[row, list(group)].sum() * DECIBELS),
                float(self._observed.ratios[row, list(group)].sum() * DECIBELS),
            )
            for group in _groups(self._observed)
        )
        return tuple(sorted((w for w in groups if w.decibels or w.undamped), key=lambda w: (-abs(w.decibels), w.of)))

    def of(self, cause: str) -> RankedCause | None:
        """Return the entry of one cause, or None when the machine cannot have it."""
        return next((ranked for ranked in self.causes if ranked.cause == cause), None)


def rank(
    knowledge: Knowledge,
    conclusions: Conclusions,
    repairs: Repairs | None = None,
    learned: Learned | None = None,
) -> Standing:
    """Return the standing of every cause that the machine can have.

    learned: how common faults are and what the words mean in a club, instead of what the packs say.
    """
    repairs = repairs or Repairs()
    tables = tables_of(knowledge, learned)
    written = prior = _prior(knowledge, conclusions, tables.how_common)
    if learned is not None:
        kind = conclusions.answers.get(MACHINE, ANY_KIND)
        prior = _prior(knowledge, conclusions, learned.weights(tables.causes, kind))
    observed = observe(knowledge, conclusions, tables, np.arange(len(tables.causes)), None)
    weights = contributions(observed)
    single = np.log(prior, out=np.full_like(prior, -np.inf), where=prior > 0) + weights.sum(axis=1)
    by_repairs = _repair_weight([(cause,) for cause in tables.causes], repairs)

    # A repaired cause may yet be half of a pair, so it competes for a place among the leading ones.
    leading = [int(i) for i in np.argsort(-single, kind="stable")[:LEADING] if prior[i] > 0]
    leading += [i for i, cause in enumerate(tables.causes) if cause in repairs.done and i not in leading and prior[i] > 0]
    first, second = (np.array(side, dtype=int) for side in _sides(leading))
    pair = np.full(len(first), -np.inf)
    if len(first):
        share = prior[first] * prior[second] / _all_pairs(prior)
        pair_weights = contributions(observe(knowledge, conclusions, tables, first, second)).sum(axis=1)
        # What helped is put right, and what it alone had brought about is no longer answered so: the other half is left.
        for mended, other_half in ((first, second), (second, first)):
            helped = [tables.causes[i] in repairs.better for i in mended]
            pair_weights = np.where(helped, weights[other_half].sum(axis=1), pair_weights)
        pair = np.log(share * TWO_FAULTS / (1 - TWO_FAULTS - OTHER)) + pair_weights
        pair = pair + _repair_weight(
            [(tables.causes[a], tables.causes[b]) for a, b in zip(first, second, strict=True)], repairs
        )

    other_by_repairs = math.log(HELPED) if repairs.better else 0.0
    other = math.log(OTHER / (1 - TWO_FAULTS - OTHER)) + other_by_repairs
    logs = np.concatenate([single + by_repairs, pair, [other]])
    posterior = np.exp(logs - logs.max())
    posterior /= posterior.sum()
    alone, both, left = posterior[: len(prior)], posterior[len(prior) : -1], float(posterior[-1])
    present = alone.copy()
    np.add.at(present, first, both)
    np.add.at(present, second, both)
    return Standing(
        causes=_ranked(tables, written, prior, weights, by_repairs - other_by_repairs, alone, present),
        pairs=_ranked_pairs(tables, first, second, both),
        other=left,
        cures=_cures(tables, repairs, first, second, alone, both),
        tables=tables,
        _observed=observed,
        _weights=weights,
    )


def _prior(knowledge: Knowledge, conclusions: Conclusions, how_common: Floats) -> Floats:
    """Prior share of each cause among single faults; a cause whose part the machine lacks has none."""
    applies = np.array([conclusions.applies(cause.needs) for cause in knowledge.causes.values()], dtype=float)
    prior = how_common * applies
    total = prior.sum()
    return prior / total if total else prior


def _all_pairs(prior: Floats) -> float:
    return float(max((prior.sum() ** 2 - (prior**2).sum()) / 2, 1e-12))


def _sides(leading: Sequence[int]) -> tuple[list[int], list[int]]:
    pairs = [(a, b) for place, a in enumerate(leading) for b in leading[place + 1 :]]
    return [a for a, _ in pairs], [b for _, b in pairs]


def _repair_weight(hypotheses: Iterable[tuple[str, ...]], repairs: Repairs) -> Floats:
    """A repair that did not cure rules out its cause as the whole story; one that helped speaks for its cause."""
    weights = []
    for hypothesis in hypotheses:
        if repairs.done.issuperset(hypothesis):
            weights.append(-np.inf)
        else:
            weights.append(math.log(HELPED) * len(repairs.better.difference(hypothesis)))
    return np.array(weights)


def observe(
    knowledge: Knowledge, conclusions: Conclusions, tables: Tables, first: Places, second: Places | None
) -> _Observed:
    """Return the log-ratios (hypotheses x observations) of single causes `first`, or of the pairs (first, second)."""
    spoken = {evidence.of: evidence.answer for evidence in conclusions.evidence}
    findings = sorted(name for name in spoken if name in tables.likelihood)
    conditions = sorted(name for name in spoken if name in tables.concluded)
    names = (*findings, *conditions)
    ratios = np.zeros((len(first), len(names)))
    for column, name in enumerate(findings):
        answer = tables.column[name][spoken[name]]
        ratios[:, column] = answer_ratios(tables, name, first, second)[:, answer]
    for column, name in enumerate(conditions, len(findings)):
        usual = tables.concluded_in_general[name]
        shown = tables.concluded[name][first]
        if second is not None:
            shown = 1 - (1 - shown) * (1 - tables.concluded[name][second]) / (1 - usual)
        ratios[:, column] = np.log(np.clip(shown, 0.01, 0.99) / usual)
    where = {name: column for column, name in enumerate(names)}
    # Of two that are equally loud the one that rests on more comes first.
    by_size = sorted(conditions, key=lambda c: (-len(conclusions.conditions[c].rests_on), c))
    parts = np.zeros((len(by_size), len(names)), dtype=bool)
    for row, one in enumerate(by_size):
        parts[row, [where[name] for name in conclusions.conditions[one].rests_on if name in where]] = True
    columns = np.array([where[one] for one in by_size], dtype=np.intp)
    return _Observed(names, ratios, columns, parts, _kin_columns(knowledge.kin.values(), where))


def _kin_columns(kin: Iterable[Kin], where: Mapping[str, int]) -> tuple[tuple[str, tuple[int, ...]], ...]:
    groups = []
    taken: set[str] = set()
    for group in kin:
        members = [name for name in group.of if name in where and name not in taken]
        if len(members) > 1:
            taken.update(members)
            groups.append((str(group.are), tuple(where[name] for name in members)))
    return tuple(groups)


def answer_ratios(tables: Tables, finding: str, first: Places, second: Places | None = None) -> Floats:
    """Return log P(answer | hypothesis) / P(answer | other), (hypotheses x answers)."""
    general = tables.general[finding]
    if second is None:
        return np.log(tables.likelihood[finding][first] / general)
    a, b = tables.likelihood[finding][first], tables.likelihood[finding][second]
    both = both_show(a, b, general, finding in tables.ordered)
    return np.log(both / general)


def both_show(a: Floats, b: Floats, general: Floats, ordered: bool) -> Floats:
    """Return how often each answer is met when two faults are there at once, (pairs x answers).

    a, b: (pairs x answers) with each fault alone; general: (answers,) with some other fault.
    """
    return _noisy_max(a, b, general) if ordered else (a + b) / 2


def _noisy_max(a: Floats, b: Floats, general: Floats) -> Floats:
    """Both faults push the answer towards worst: CDF = CDF_a x CDF_b / CDF_general, answers from normal to worst."""
    cdf = np.minimum(np.cumsum(a, axis=1) * np.cumsum(b, axis=1) / np.cumsum(general), 1.0)
    cdf[:, -1] = 1.0
    cdf = np.maximum.accumulate(cdf, axis=1)
    both = np.maximum(np.diff(cdf, axis=1, prepend=0.0), 0.005)
    return both / both.sum(axis=1, keepdims=True)


def contributions(observed: _Observed) -> Floats:
    """Return what each observation adds to each hypothesis (hypotheses x observations) once kinship is counted.

    A condition and the answers it rests on are one observation: whichever side speaks louder counts, and where several
    conditions rest on an answer, the loudest of them. Paraphrases count once, by the strongest; related answers count 1,
    1/2, 1/4 ... by size.
    """
    weights = observed.ratios.copy()
    taken = np.zeros_like(weights, dtype=bool)
    rows = np.arange(len(weights))
    loudest_first = np.argsort(-np.abs(observed.ratios[:, observed.conditions]), axis=1, kind="stable")
    for place in loudest_first.T:
        column, parts = observed.conditions[place], observed.parts[place]
        open_parts = parts & ~taken
        share = open_parts.sum(axis=1) / np.maximum(parts.sum(axis=1), 1)
        told = np.where(open_parts, observed.ratios, 0.0).sum(axis=1)
        pattern = observed.ratios[rows, column] * share
        wins = np.abs(pattern) > np.abs(told)
        weights[rows, column] = np.where(wins, pattern, 0.0)
        replaced = open_parts & wins[:, None]
        weights[replaced] = 0.0
        taken |= replaced
    for are, akin in observed.kin:
        weights[:, akin] = _damped(weights[:, akin], are)
    return weights


def _damped(group: Floats, are: str) -> Floats:
    places = np.argsort(np.argsort(-np.abs(group), axis=1, kind="stable"), axis=1, kind="stable")
    return group * (places == 0) if are == "same" else group * 0.5**places


def _ranked(
    tables: Tables, written: Floats, prior: Floats, weights: Floats, by_repairs: Floats, alone: Floats, present: Floats
) -> tuple[RankedCause, ...]:
    """`written` is the prior as the packs have it, `prior` as it counts; `by_repairs` is what repairs say of each."""
    other = OTHER / (1 - TWO_FAULTS - OTHER)
    told = weights.sum(axis=1) * DECIBELS
    order = sorted((i for i in range(len(prior)) if prior[i] > 0), key=lambda i: (-present[i], tables.causes[i]))
    return tuple(
        RankedCause(
            tables.causes[i],
            float(present[i]),
            float(alone[i]),
            DECIBELS * math.log(prior[i] / other),
            float(told[i]),
            DECIBELS * math.log(prior[i] / written[i]),
            float(DECIBELS * by_repairs[i]),
        )
        for i in order
    )


def _groups(observed: _Observed) -> tuple[tuple[int, ...], ...]:
    """Columns that are explained together: each kin group, and each remaining observation by itself."""
    kin = [columns for _, columns in observed.kin]
    grouped = {column for columns in kin for column in columns}
    return (*kin, *((column,) for column in range(len(observed.names)) if column not in grouped))


def _ranked_pairs(tables: Tables, first: Places, second: Places, both: Floats) -> tuple[RankedPair, ...]:
    order = np.argsort(-both, kind="stable")[:10]
    return tuple(RankedPair((tables.causes[first[i]], tables.causes[second[i]]), float(both[i])) for i in order)


def _cures(tables: Tables, repairs: Repairs, first: Places, second: Places, alone: Floats, both: Floats) -> Floats:
    """A repair ends the fault if its cause is alone, or the other half of the pair is already put right.

    Of a pair with both halves open, each repair counts for half: one of the two must come first.
    """
    cures = alone.copy()
    done = np.array([cause in repairs.done for cause in tables.causes], dtype=bool)
    for side, partner in ((first, second), (second, first)):
        np.add.at(cures, side, both * np.where(done[partner], 1.0, 0.5))
    cures[done] = 0.0
    return cures
