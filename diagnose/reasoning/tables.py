"""Frequency words compiled into likelihood tables, once for each Knowledge and what was learned.

Every answer is mixed with WRONG_ANSWERS of noise, because owners mishear and misremember. The numbers and the
methods were measured on synthetic rule bases; DEVELOPERS.md has the decisions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from ..knowledge.frequency import FREQUENCY
from ..knowledge.model import CONCLUDED, Finding, Knowledge, Tell
from .learned import Learned

WRONG_ANSWERS = 0.05
"""Share of answers taken to be wrong."""

LEFT_OVER = 0.02
"""Least share kept for the answers that a tell does not name, so that nothing is impossible."""

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Tables:
    """Likelihoods of one Knowledge. Rows of a finding's table are the causes in order; columns are its answers.

    causes      ids of the causes, in order
    column      finding -> answer -> column
    likelihood  finding -> (causes x answers), probability of the answer given the cause alone
    general     finding -> (answers,), probability given some other fault
    ordered     findings whose answers run from normal to worst
    concluded   condition -> (causes,), probability that it is concluded given the cause alone
    concluded_in_general  condition -> probability given some other fault
    how_common  (causes,), relative prior weight
    """

    causes: tuple[str, ...]
    column: Mapping[str, Mapping[str, int]]
    likelihood: Mapping[str, Floats]
    general: Mapping[str, Floats]
    ordered: frozenset[str]
    concluded: Mapping[str, Floats]
    concluded_in_general: Mapping[str, float]
    how_common: Floats


@lru_cache(maxsize=8)
def tables_of(knowledge: Knowledge, learned: Learned | None = None) -> Tables:
    """Return the compiled tables of this knowledge, with the words as a club's cases have shown them where it has any."""
    words = FREQUENCY if learned is None else learned.words
    causes = tuple(map(str, knowledge.causes))
    column, likelihood, general = {}, {}, {}
    for finding in knowledge.findings.values():
        name = str(finding.id)
        rate = general_rates(finding)
        told = [cause.shows.get(name) for cause in knowledge.causes.values()]
        rows = [rate if tell is None else shown_rates(finding, tell, words) for tell in told]
        column[name] = MappingProxyType({str(answer): place for place, answer in enumerate(finding.answers)})
        general[name] = _mixed(rate)
        likelihood[name] = _mixed(np.array(rows)) if rows else np.zeros((0, len(rate)))
    concluded, in_general = {}, {}
    for condition in knowledge.conditions.values():
        name = str(condition.id)
        usual = FREQUENCY[condition.seen]
        in_general[name] = usual
        concluded[name] = np.array(
            [
                words[cause.shows[name].words[CONCLUDED]] if name in cause.shows else usual
                for cause in knowledge.causes.values()
            ]
        )
    return Tables(
        causes=causes,
        column=MappingProxyType(column),
        likelihood=MappingProxyType(likelihood),
        general=MappingProxyType(general),
        ordered=frozenset(str(f.id) for f in knowledge.findings.values() if not f.unordered),
        concluded=MappingProxyType(concluded),
        concluded_in_general=MappingProxyType(in_general),
        how_common=np.array([FREQUENCY[cause.how_common] for cause in knowledge.causes.values()]),
    )


def general_rates(finding: Finding) -> Floats:
    """Return how often each answer is met on engines with some other fault; the words scaled to add up to 1."""
    words = np.array([FREQUENCY[answer.seen] for answer in finding.answers.values()])
    return words / words.sum()


def shown_rates(finding: Finding, tell: Tell, words: Mapping[str, float] = FREQUENCY) -> Floats:
    """Return how often each answer is met on engines with the cause of this tell. Unnamed answers share what is left.

    words: frequency word -> share of engines.
    """
    general = general_rates(finding)
    named = np.array([answer in tell.words for answer in finding.answers])
    rates = np.array([words[tell.words[a]] if a in tell.words else 0.0 for a in finding.answers])
    if named.all():
        return rates / rates.sum()
    left = max(1.0 - rates.sum(), LEFT_OVER)
    rates *= min(1.0, (1.0 - left) / rates.sum())
    rates[~named] = left * general[~named] / general[~named].sum()
    return rates


def _mixed(rates: Floats) -> Floats:
    return (1.0 - WRONG_ANSWERS) * rates + WRONG_ANSWERS / rates.shape[-1]
