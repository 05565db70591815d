"""Ways of choosing what comes next: the planner, and what it is compared with.

All of them keep the safe order, re-ask what clashes, know when nobody wants to be asked more, and repair in order of
chance over minutes. They differ in which question comes next, in when there have been enough, and in their repairs: one
after another until help is called, or as the planner has them, only what is worth its minutes, after a doubtful answer is
given again and the short look that settles it is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from random import Random

from ..case.state import CaseState
from ..knowledge.model import Finding, Knowledge
from ..planning.examine import Examined, examine
from ..planning.plan import before_work, compelled, next_questions, patient, telling_questions, work_next
from ..planning.steps import Next, Progress, question
from ..planning.worth import Worth
from ..reasoning.rank import Standing
from ..reasoning.reason import Conclusions

Way = Callable[[Examined], Next]
Telling = Sequence[tuple[Finding, Worth]]
Order = Callable[[Telling], Finding]
Enough = Callable[[Examined, Telling], bool]
Work = Callable[[Examined], Next]

PLANNED = "as planned"
FIXED = "fixed order,"
SURE = 0.9
FIXED_LENGTHS = (10, 15, 20, 25)
"""Lengths of a printed list that are tried; the best of them is what the planner must beat."""


def as_planned(seen: Examined) -> Next:
    """What the walk does."""
    return seen.next


def one_after_another(seen: Examined) -> Next:
    """Repair by chance over minutes whatever may cure it."""
    return work_next(*_case(seen), pays=0.0)


def weighed(seen: Examined) -> Next:
    """Repair as the planner does."""
    return before_work(*_case(seen), work_next(*_case(seen)))


def asking(order: Order, enough: Enough, work: Work = one_after_another) -> Way:
    """Ask in this order until there is enough, then repair."""

    def way(seen: Examined) -> Next:
        case = _case(seen)
        must = compelled(seen.knowledge, seen.conclusions, seen.progress)
        if must:
            return must
        telling = telling_questions(*case)
        if telling and patient(len(seen.conclusions.answers), seen.progress) and not enough(seen, telling):
            return question(seen.knowledge, seen.conclusions, seen.progress, order(telling))
        return work(seen)

    return way


def most_a_minute(telling: Telling) -> Finding:
    """The most telling question for the minutes it costs."""
    return max(telling, key=lambda one: one[1].tells_a_minute)[0]


def most_telling(telling: Telling) -> Finding:
    """The most telling question, whatever it costs."""
    return max(telling, key=lambda one: one[1].tells)[0]


def listed(names: Sequence[str]) -> Order:
    """The first of a list that can still be asked and still tells anything."""
    place = {name: number for number, name in enumerate(names)}
    return lambda telling: min((finding for finding, _ in telling), key=lambda finding: place[finding.id])


def sure(seen: Examined, telling: Telling) -> bool:
    """True once the leading cause is 90 % sure."""
    return bool(seen.standing.causes) and seen.standing.causes[0].probability >= SURE


def not_worth_asking(seen: Examined, telling: Telling) -> bool:
    """True once no question is expected to save the minutes it costs."""
    return all(worth.saves <= worth.minutes for _, worth in telling)


def after(many: int) -> Enough:
    """True once so many questions have been asked, known or not."""
    return lambda seen, telling: len(seen.conclusions.answers) + len(seen.progress.unknown) >= many


@lru_cache(maxsize=8)
def printed_order(knowledge: Knowledge) -> tuple[str, ...]:
    """Return all findings as a good printed list would have them: by what they tell a minute before anything is known."""
    seen = examine(knowledge, CaseState())
    telling = tuple(name for name, _ in next_questions(*_case(seen), most=len(knowledge.findings)))
    return (*telling, *(str(name) for name in knowledge.findings if name not in telling))


def shuffled(knowledge: Knowledge, seed: int) -> tuple[str, ...]:
    """Return all findings in an order by chance."""
    names = list(map(str, knowledge.findings))
    Random(seed).shuffle(names)
    return tuple(names)


def ways(knowledge: Knowledge, number: int) -> dict[str, Way]:
    """Return every way by name, for case `number` (each case has its own random order)."""
    printed, by_chance = listed(printed_order(knowledge)), listed(shuffled(knowledge, number))
    return {
        PLANNED: as_planned,
        "until 90 % sure": asking(most_a_minute, sure),
        "repairs weighed, until 90 % sure": asking(most_a_minute, sure, weighed),
        "information alone, until 90 % sure": asking(most_telling, sure),
        "information alone, while it pays": asking(most_telling, not_worth_asking),
        **{f"{FIXED} {many} questions": asking(printed, after(many)) for many in FIXED_LENGTHS},
        f"{FIXED} until 90 % sure": asking(printed, sure),
        "repairs weighed, fixed order": asking(printed, sure, weighed),
        "random order, until 90 % sure": asking(by_chance, sure),
    }


def _case(seen: Examined) -> tuple[Knowledge, Conclusions, Standing, Progress]:
    return seen.knowledge, seen.conclusions, seen.standing, seen.progress
