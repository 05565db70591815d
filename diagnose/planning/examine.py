"""examine(): all that follows from the state of a case, in one call: conclusions, standing and what comes next."""

from __future__ import annotations

import gc
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

from ..case.state import SOUND, CaseState
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.model import Knowledge
from ..reasoning.learned import Learned
from ..reasoning.rank import Repairs, Standing, rank
from ..reasoning.reason import Conclusions, reason
from .plan import one_more, plan
from .proof import FAULT_GONE, as_it_runs_now, cured
from .steps import Next, Progress


@dataclass(frozen=True, eq=False)
class Examined:
    """A case as the rules see it."""

    knowledge: Knowledge
    conclusions: Conclusions
    standing: Standing
    progress: Progress
    learned: Learned | None = None

    @cached_property
    def next(self) -> Next:
        """The next question, check or repair."""
        return plan(self.knowledge, self.conclusions, self.standing, self.progress)


def repairs_of(results: Mapping[str, str]) -> Repairs:
    """Return what was repaired, from cause -> result; a repair not done counts for nothing. A part that was found sound is
    as little the cause as one that was changed for nothing."""
    return Repairs(
        same=frozenset(cause for cause, result in results.items() if result in ("same", SOUND)),
        better=frozenset(cause for cause, result in results.items() if result == "better"),
    )


def as_known_today(knowledge: Knowledge, state: CaseState) -> CaseState:
    """Return the case without the questions and answers that today's rules no longer have; the log keeps them."""
    findings = {
        name: given
        for name, given in state.findings.items()
        if name in knowledge.findings and given.answer in knowledge.findings[name].answers
    }
    unknown = state.unknown & knowledge.findings.keys()
    return replace(
        state,
        findings=MappingProxyType(findings),
        unknown=unknown,
        answered=tuple((n, name) for n, name in state.answered if name in findings or name in unknown),
    )


def examine(knowledge: Knowledge, state: CaseState, learned: Learned | None = None) -> Examined:
    """Return what follows from a case, with what a club's own cases have taught where that is given."""
    state = as_known_today(knowledge, state)
    repairs = repairs_of({repair.cause: repair.result for repair in state.repairs if repair.cause in knowledge.causes})
    conclusions = reason(knowledge, state.answers)
    return Examined(
        knowledge=knowledge,
        conclusions=_with_holds_of_today(knowledge, state, conclusions),
        standing=rank(knowledge, conclusions, repairs, learned),
        progress=Progress(state.unknown, state.asked_again, state.put_aside | state.unproved, repairs),
        learned=learned,
    )


def _with_holds_of_today(knowledge: Knowledge, state: CaseState, conclusions: Conclusions) -> Conclusions:
    """Once the fault is gone, how it ran before holds no needle any more. Every other hold stands as it did."""
    cause = cured(knowledge, state, conclusions)
    if cause is None:
        return conclusions
    now = reason(knowledge, as_it_runs_now(knowledge, state, conclusions, cause), (FAULT_GONE,))
    kept = {name: rules for name, rules in conclusions.holds.items() if name not in NEEDLE_HOLDS}
    needles = {name: rules for name, rules in now.holds.items() if name in NEEDLE_HOLDS}
    return replace(conclusions, holds=MappingProxyType(kept | needles), cured=True)


def ready(knowledge: Knowledge) -> Knowledge:
    """Return the same with everything built that an answer needs, so that none has to wait for it.

    For a program that keeps its rules to the end: the garbage collector looks through what is there by now no more. With
    a large pack that takes it a second, in the middle of a walk.
    """
    seen = examine(knowledge, CaseState())
    one_more(knowledge, seen.conclusions, seen.standing, seen.progress)
    gc.freeze()
    return knowledge
