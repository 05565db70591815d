"""What a question is worth: the minutes it costs, the repair minutes it is expected to save, what it tells."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..knowledge.chains import grouped
from ..knowledge.frequency import FREQUENCY
from ..knowledge.model import Finding, Kin, Knowledge
from ..reasoning.rank import Standing
from ..reasoning.reason import Conclusions
from ..reasoning.tables import Floats, Places, Tables

CALL_FOR_HELP = 120.0
"""Minutes charged for taking it home or to the workshop: what ends every fault, known to these rules or not.

Nobody works through a hundred repairs at the pits. Without this end the long tail of unlikely causes would make
every question look worth its while.
"""

ASKING = 1.0
"""Minutes of patience that every question costs besides its own: reading it, asking the owner, typing. Without it a
walk asks fifty quick questions, because each still saves more than its few seconds."""

LEADERS_COUNT = 3.0
"""Nats that a sure guess is worth. Information alone prizes thinning out a long tail of unlikely causes as much as parting
the two that lead. Measured on 440 drawn cases of two seeds: 2 to 3 in 100 more right at the first repair, in the same
minutes; on a third seed no difference."""

LIKELY_ENOUGH = 0.45
"""A repair less likely than this waits while there is something telling to ask. One answer alone often changes no
decision, so it seems not to pay, and yet the next few together find the cause."""

PAYS = 1.0
"""What an unlikely repair must promise for each of its minutes, in minutes of help spared, to be begun."""

UNLIKELY = 1e-5
"""A cause less likely than this plays no part in what a question is worth."""

USUALLY_UNSURE = "rarely"
"""How often an owner cannot answer, where a finding does not say."""


@dataclass(frozen=True, slots=True)
class Worth:
    """Why a question is asked: minutes it costs, minutes it is expected to save, information it is expected to give
    (nats), and how much more often a guess by the odds is expected to be right after it (0 to 1)."""

    minutes: float
    saves: float
    tells: float
    settles: float

    @property
    def tells_a_minute(self) -> float:
        """Information for each minute."""
        return self.tells / self.minutes

    @property
    def serves_a_minute(self) -> float:
        """What puts one question before another."""
        return (self.tells + LEADERS_COUNT * self.settles) / self.minutes


@dataclass(frozen=True, eq=False)
class _Prospects:
    """Every answer of every finding for one sweep: one row an answer, the answers of a finding together.

    likelihood  (answers, causes + other)
    rows        finding -> its rows
    unsure      finding -> how often an owner cannot answer it
    repair_minutes  (causes,) with the shortest retest
    """

    likelihood: Floats
    rows: Mapping[str, Places]
    unsure: Mapping[str, float]
    repair_minutes: Floats


@lru_cache(maxsize=8)
def _prospects_of(knowledge: Knowledge, tables: Tables) -> _Prospects:
    blocks, rows, begin = [], {}, 0
    for name, table in tables.likelihood.items():
        blocks.append(np.column_stack([table.T, tables.general[name]]))
        rows[name] = np.arange(begin, begin + table.shape[1])
        begin += table.shape[1]
    return _Prospects(
        likelihood=np.concatenate(blocks) if blocks else np.zeros((0, len(tables.causes) + 1)),
        rows=rows,
        unsure={str(f.id): FREQUENCY[f.unsure or USUALLY_UNSURE] for f in knowledge.findings.values()},
        repair_minutes=np.array(list(repair_minutes(knowledge).values())),
    )


@lru_cache(maxsize=8)
def repair_minutes(knowledge: Knowledge) -> Mapping[str, float]:
    """Return the minutes of putting each cause right, with the shortest retest."""
    retest = min((retest.minutes for retest in knowledge.retests.values()), default=0.0)
    return {str(cause.id): cause.fix.minutes + retest for cause in knowledge.causes.values()}


def minutes_of(knowledge: Knowledge, finding: Finding) -> float:
    """Return what an answer costs: its own minutes, or those of the check that gives it."""
    return finding.minutes if finding.check is None else knowledge.checks[finding.check].minutes


def worths(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, findings: Sequence[Finding]
) -> tuple[Worth, ...]:
    """Return what each of these open questions is worth now, in their order."""
    if not findings:
        return ()
    prospects = _prospects_of(knowledge, standing.tables)
    blocks = [prospects.rows[finding.id] for finding in findings]
    starts = np.cumsum([0, *(len(block) for block in blocks[:-1])])
    likelihood = prospects.likelihood[np.concatenate(blocks)]
    _damp_kin(knowledge, conclusions, findings, likelihood, starts)
    # Causes next to impossible are left to help with all that is unknown; most of them are, after a few answers.
    likely = standing.cures > UNLIKELY
    cures = standing.cures[likely]
    chances = likelihood[:, :-1][:, likely] * cures
    other = likelihood[:, -1] * standing.other + likelihood[:, :-1][:, ~likely] @ standing.cures[~likely]
    to_repair = prospects.repair_minutes[likely]
    before = expected_repair_minutes(cures, standing.other + standing.cures[~likely].sum(), to_repair)
    after = np.add.reduceat(expected_repair_minutes(chances, other, to_repair), starts)
    answered = 1.0 - np.array([prospects.unsure[finding.id] for finding in findings])
    joint = np.column_stack([chances, other])
    told = information_of(joint, starts) * answered
    settled = settling_of(joint, starts) * answered
    saves = (before - after) * answered
    return tuple(
        Worth(minutes_of(knowledge, finding) + ASKING, float(saves[place]), float(told[place]), float(settled[place]))
        for place, finding in enumerate(findings)
    )


def _damp_kin(
    knowledge: Knowledge, conclusions: Conclusions, findings: Sequence[Finding], likelihood: Floats, starts: Places
) -> None:
    """An answer related to some already given will count for less, so it is expected to tell less."""
    ends = [*starts[1:], len(likelihood)]
    answered = Counter(kin.id for name in conclusions.answers for kin in kin_of(knowledge).get(name, ()))
    for finding, begin, end in zip(findings, starts, ends, strict=True):
        akin = (kin for kin in kin_of(knowledge).get(finding.id, ()) if kin.are == "related")
        told = max((answered[kin.id] for kin in akin), default=0)
        if told:
            powered = likelihood[begin:end] ** (0.5**told)
            likelihood[begin:end] = powered / powered.sum(axis=0)


@lru_cache(maxsize=8)
def kin_of(knowledge: Knowledge) -> Mapping[str, tuple[Kin, ...]]:
    """Return finding -> the groups of kin it belongs to."""
    return grouped((finding, kin) for kin in knowledge.kin.values() for finding in kin.of)


def expected_repair_minutes(chances: Floats, other: Floats | float, minutes: Floats) -> Floats:
    """Return the expected minutes of repairing in order of chance over minutes and calling for help in time.

    chances: (..., causes) joint chance that each repair cures; other: (...) chance that none does; minutes: (causes,).
    Homogeneous in the chances: with joint probabilities the sum over answers needs no normalisation. For one fault and
    independent repairs the order is optimal (Kadane and Simon 1977), and help keeps it so (Lin, "Scheduling results
    applicable to decision-theoretic troubleshooting"), both as cited in the project's research notes.
    """
    order = np.argsort(-chances / minutes, axis=-1, kind="stable")
    tried = np.take_along_axis(chances, order, axis=-1)
    spent = np.cumsum(minutes[order], axis=-1)
    solved = np.cumsum(tried * spent, axis=-1)
    left = (chances.sum(axis=-1) + other)[..., None]
    left_after = left - np.cumsum(tried, axis=-1)
    helped_after = solved + left_after * (spent + CALL_FOR_HELP)
    helped_at_once = left[..., 0] * CALL_FOR_HELP
    return np.minimum(helped_after.min(axis=-1), helped_at_once)


def information_of(joint: Floats, starts: Places) -> Floats:
    """Return the information (nats) between answer and cause, (findings,).

    joint: (answers, causes), the joint probabilities of several findings below each other; starts: (findings,), the
    first row of each.
    """
    counts = np.diff([*starts, len(joint)])
    causes = np.repeat(np.add.reduceat(joint, starts, axis=0), counts, axis=0)
    total = causes.sum(axis=1, keepdims=True)
    answers = joint.sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = joint * np.log(joint * total / (answers * causes))
    return np.add.reduceat(np.where(joint > 0, terms, 0.0).sum(axis=1), starts)


def settling_of(joint: Floats, starts: Places) -> Floats:
    """Return how much the sum of the squared probabilities is expected to rise, (findings,).

    That sum is the chance that a cause drawn by its probability is the true one. joint, starts: as in information_of.
    """
    causes = np.add.reduceat(joint, starts, axis=0)
    total = causes.sum(axis=1)
    answers = joint.sum(axis=1)
    squares = np.divide((joint**2).sum(axis=1), answers, out=np.zeros_like(answers), where=answers > 0)
    return np.add.reduceat(squares, starts) / total - (causes**2).sum(axis=1) / total**2


def parts(knowledge: Knowledge, standing: Standing, finding: Finding) -> tuple[str, ...]:
    """Return the leading cause and the one likely enough that this question parts most from it; () when there is none."""
    tables = standing.tables
    if str(finding.id) not in tables.likelihood:
        return ()
    joint = tables.likelihood[str(finding.id)].T * standing.cures
    likely = [int(i) for i in np.argsort(-standing.cures, kind="stable")[:8] if standing.cures[i] > 0]
    if len(likely) < 2:
        return ()
    given = joint[:, likely] / joint[:, likely].sum(axis=0)
    apart = np.abs(given - given[:, [0]]).sum(axis=0) * standing.cures[likely]
    other = likely[int(np.argmax(apart))]
    return (tables.causes[likely[0]], tables.causes[other]) if other != likely[0] else ()
