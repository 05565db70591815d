"""What can come next, one step of each kind, and which questions are open."""

from __future__ import annotations

from dataclasses import dataclass

from ..knowledge.model import Finding, Fix, Knowledge
from ..knowledge.source import Text
from ..reasoning.rank import Repairs, Standing
from ..reasoning.reason import Conclusions
from .worth import Worth, kin_of


@dataclass(frozen=True, slots=True)
class Progress:
    """What the case has been through: unanswerable questions, answers asked twice, repairs put aside or done."""

    unknown: frozenset[str] = frozenset()
    asked_again: frozenset[str] = frozenset()
    put_aside: frozenset[str] = frozenset()
    repairs: Repairs = Repairs()


@dataclass(frozen=True, slots=True)
class Ask:
    """Ask this question. `rules` put it first; else `worth` says what it is expected to save. Where the likely repair of
    the cause `waits` is on hold by these rules, the answer may lift that."""

    finding: str
    rules: tuple[str, ...] = ()
    worth: Worth | None = None
    waits: str = ""


@dataclass(frozen=True, slots=True)
class DoCheck:
    """Do this check and answer what it finds. `rules`, `worth` and `waits` as in Ask."""

    check: str
    finds: tuple[str, ...]
    rules: tuple[str, ...] = ()
    worth: Worth | None = None
    waits: str = ""


@dataclass(frozen=True, slots=True)
class AskAgain:
    """This answer fits badly: by a rule that names the clash, or by its chance of being wrong. Or the repair of the cause
    `waits` is on hold by these rules, and this answer, or that it was not known, keeps it there."""

    finding: str
    rules: tuple[str, ...] = ()
    chance: float = 0.0
    waits: str = ""


@dataclass(frozen=True, slots=True)
class Repair:
    """Put this cause right and retest. It may be unlikely, and yet was found so, and keeps the repair of the cause `waits`,
    or with '' whatever runs the engine, on hold by these rules."""

    cause: str
    probability: float
    rules: tuple[str, ...] = ()
    waits: str = ""


@dataclass(frozen=True, slots=True)
class Undecided:
    """Nothing left is worth asking or trying. `held` are causes whose fix a hold forbids; `even_so` is the repair with
    most chance a minute, not worth its minutes, for someone who would rather try than take it home."""

    held: tuple[str, ...] = ()
    even_so: Repair | None = None


Next = Ask | DoCheck | AskAgain | Repair | Undecided


def question(
    knowledge: Knowledge,
    conclusions: Conclusions,
    progress: Progress,
    finding: Finding,
    rules: tuple[str, ...] = (),
    worth: Worth | None = None,
    waits: str = "",
) -> Ask | DoCheck:
    """Return the asking for one finding: by itself, or with all that its check still has to find."""
    if finding.check is None:
        return Ask(str(finding.id), rules, worth, waits)
    finds = (knowledge.findings[name] for name in knowledge.checks[finding.check].finds)
    still = tuple(str(one.id) for one in finds if askable(knowledge, conclusions, progress, one))
    return DoCheck(str(finding.check), still, rules, worth, waits)


def open_questions(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> list[Finding]:
    """Return the findings that can be asked for now, in the order of the packs."""
    return [f for f in knowledge.findings.values() if askable(knowledge, conclusions, progress, f)]


def askable(knowledge: Knowledge, conclusions: Conclusions, progress: Progress, finding: Finding) -> bool:
    """True if this question is open: not answered, not known otherwise, not beyond the machine, not held."""
    return wanted(knowledge, conclusions, progress, finding) and not conclusions.held(under_of(knowledge, finding))


def wanted(knowledge: Knowledge, conclusions: Conclusions, progress: Progress, finding: Finding) -> bool:
    """True if this question is open, or would be if no hold forbade it."""
    name = finding.id
    if name in conclusions.answers or name in progress.unknown or name in conclusions.skips:
        return False
    if finding.check is not None and finding.check in conclusions.skips:
        return False
    return conclusions.applies(needs_of(knowledge, finding)) and not _said_otherwise(knowledge, conclusions, name)


def can_be_seen(knowledge: Knowledge, conclusions: Conclusions, finding: Finding) -> bool:
    """True if the machine can show this now and no hold forbids looking."""
    return conclusions.applies(needs_of(knowledge, finding)) and not conclusions.held(under_of(knowledge, finding))


def needs_of(knowledge: Knowledge, finding: Finding) -> tuple[Text, ...]:
    """Return what a machine must have and be able to do for this finding to be answered."""
    return finding.needs if finding.check is None else (*finding.needs, *knowledge.checks[finding.check].needs)


def under_of(knowledge: Knowledge, finding: Finding) -> tuple[Text, ...]:
    """Return the holds that forbid answering this finding: its own, and those of the check that answers it."""
    return finding.under if finding.check is None else (*finding.under, *knowledge.checks[finding.check].under)


def in_the_way(conclusions: Conclusions, fix: Fix) -> tuple[str, ...]:
    """Return the holds that forbid a fix as a whole, or else every step of it; () when something of it can be done. A step
    held alone only waits."""
    steps = [conclusions.held(step.under) for step in fix.steps]
    every_step = tuple(dict.fromkeys(hold for holds in steps for hold in holds)) if all(steps) else ()
    return conclusions.held(fix.under) or every_step


def _said_otherwise(knowledge: Knowledge, conclusions: Conclusions, finding: str) -> bool:
    return any(
        kin.are == "same" and any(other in conclusions.answers for other in kin.of)
        for kin in kin_of(knowledge).get(finding, ())
    )


def standing_of(standing: Standing, cause: str) -> float:
    """Return the probability of a cause, 0 if the machine cannot have it."""
    ranked = standing.of(cause)
    return ranked.probability if ranked else 0.0
