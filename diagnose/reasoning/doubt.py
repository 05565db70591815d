"""Doubt: which answer is best asked again, and which single changed answer would change the leading cause."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..knowledge.model import Knowledge
from .learned import Learned
from .rank import Repairs, Standing, answer_ratios, rank
from .reason import Conclusions, reason
from .tables import WRONG_ANSWERS

WORTH_ASKING_AGAIN = 0.08
"""Least chance that an answer is wrong and that the right one would change the leader."""


@dataclass(frozen=True, slots=True)
class Doubtful:
    """An answer that fits badly: the chance that it is wrong and that the true one would change the leader."""

    finding: str
    chance: float


@dataclass(frozen=True, slots=True)
class Turn:
    """If `finding` were `answer` instead, `leader` would lead."""

    finding: str
    answer: str
    leader: str


def doubtful(
    conclusions: Conclusions,
    standing: Standing,
    asked_again: frozenset[str] = frozenset(),
    least: float = WORTH_ASKING_AGAIN,
) -> Doubtful | None:
    """Return the answer most worth asking again, or None when no answer is doubtful enough. None is doubted twice.

    least: the chance (0 to 1) below which an answer is left alone.
    Suspicion times impact: how likely the answer is wrong, and then another cause would lead.
    """
    tables = standing.tables
    given = {e.of: e.answer for e in conclusions.evidence if e.of in tables.likelihood and e.of not in asked_again}
    if not given or not standing.causes:
        return None
    alone = {ranked.cause: ranked.alone for ranked in standing.causes}
    share = np.array([alone.get(cause, 0.0) for cause in tables.causes])
    if share.sum() <= 0:
        return None
    share = share / share.sum()
    logs = np.log(np.maximum(share, 1e-300))
    everyone = np.arange(len(tables.causes))
    leader = int(share.argmax())
    best: Doubtful | None = None
    for finding, answer in sorted(given.items()):
        likelihood = tables.likelihood[finding]
        column = tables.column[finding][answer]
        wrong = float((share * (WRONG_ANSWERS / likelihood.shape[1]) / likelihood[:, column]).sum())
        rest = share / likelihood[:, column]
        truth = (rest / rest.sum()) @ likelihood
        truth[column] = 0.0
        ratios = answer_ratios(tables, finding, everyone)
        leaders = (logs[:, None] - ratios[:, [column]] + ratios).argmax(axis=0)
        chance = wrong * float(truth[leaders != leader].sum() / truth.sum())
        if best is None or chance > best.chance:
            best = Doubtful(finding, chance)
    return best if best and best.chance >= least else None


def turns_of_mind(
    knowledge: Knowledge,
    answers: Mapping[str, str],
    repairs: Repairs | None = None,
    learned: Learned | None = None,
    most: int = 3,
) -> tuple[Turn, ...]:
    """Return single changed answers that would bring another cause to the front, by trying each through the rules."""
    standing = rank(knowledge, reason(knowledge, answers), repairs, learned)
    if not standing.causes:
        return ()
    leader = standing.causes[0]
    telling = [
        name for weight in standing.trail(leader.cause) if weight.decibels > 0 for name in weight.of if name in answers
    ]
    turns: list[Turn] = []
    for finding in dict.fromkeys(telling):
        for answer in knowledge.findings[finding].answers:
            if answer == answers[finding]:
                continue
            changed = rank(knowledge, reason(knowledge, {**answers, finding: str(answer)}), repairs, learned)
            if changed.causes and changed.causes[0].cause != leader.cause:
                turns.append(Turn(finding, str(answer), changed.causes[0].cause))
                break
        if len(turns) == most:
            break
    return tuple(turns)
