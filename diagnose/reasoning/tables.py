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
    told = _tells_by_finding(knowledge)
    for finding in knowledge.findings.values():
        name = str(finding.id)
        rates = _general(finding)
        rows = [rates] * len(causes)
        for place, tell in told.get(name, ()):
            rows[place] = _shown(finding, tell, words, rates)
        column[name] = MappingProxyType({str(answer): place for place, answer in enumerate(finding.answers)})
        general[name] = _mixed(np.array(rates))
        likelihood[name] = _mixed(np.array(rows)) if rows else np.zeros((0, len(rates)))
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


def _tells_by_finding(knowledge: Knowledge) -> Mapping[str, list[tuple[int, Tell]]]:
    """Finding or condition -> the causes that speak of it, by their place, with what they say."""
    told: dict[str, list[tuple[int, Tell]]] = {}
    for place, cause in enumerate(knowledge.causes.values()):
        for name, tell in cause.shows.items():
            told.setdefault(name, []).append((place, tell))
    return told


def general_rates(finding: Finding) -> Floats:
    """Return how often each answer is met on engines with some other fault; the words scaled to add up to 1."""
    return np.array(_general(finding))


def shown_rates(finding: Finding, tell: Tell, words: Mapping[str, float] = FREQUENCY) -> Floats:
    """Return how often each answer is met on engines with the cause of this tell. Unnamed answers share what is left.

    words: frequency word -> share of engines.
    """
    return np.array(_shown(finding, tell, words, _general(finding)))


# Plain lists: a finding has two to eight answers, and for so few they are several times as fast as arrays.


def _general(finding: Finding) -> list[float]:
    words = [FREQUENCY[answer.seen] for answer in finding.answers.values()]
    total = sum(words)
    return [word / total for word in words]


def _shown(finding: Finding, tell: Tell, words: Mapping[str, float], general: list[float]) -> list[float]:
    named = [words[tell.words[answer]] if answer in tell.words else None for answer in finding.answers]
    told = [rate for rate in named if rate is not None]
    total = sum(told)
    if len(told) == len(named):
        return [rate / total for rate in told]
    left = max(1.0 - total, FREQUENCY[finding.coincidence] if finding.coincidence else LEFT_OVER)
    scale = min(1.0, (1.0 - left) / total)
    unnamed = sum(usual for usual, rate in zip(general, named, strict=True) if rate is None)
    return [left * usual / unnamed if rate is None else rate * scale for usual, rate in zip(general, named, strict=True)]


def _mixed(rates: Floats) -> Floats:
    return (1.0 - WRONG_ANSWERS) * rates + WRONG_ANSWERS / rates.shape[-1]
