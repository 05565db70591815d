"""What keeps a likely repair on hold: what may lift it is asked, asked once more, or put right first."""

from __future__ import annotations

from collections.abc import Mapping

from ..knowledge.checker import RUN
from ..knowledge.model import Knowledge
from ..reasoning.rank import Standing
from ..reasoning.reason import Conclusions, reason
from ..reasoning.tables import WRONG_ANSWERS
from .lifting import behind, way_to_lift
from .mending import mending
from .steps import (
    Ask,
    AskAgain,
    DoCheck,
    Progress,
    Repair,
    can_be_seen,
    in_the_way,
    open_questions,
    question,
    standing_of,
    under_of,
    wanted,
)
from .worth import CALL_FOR_HELP, LIKELY_ENOUGH, PAYS, minutes_of

MOST_IN_THE_WAY = 3
"""Answers that are asked again for one repair on hold; where more stand against it, they are hardly all mistaken."""


def what_lifts(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, cause: str
) -> Ask | DoCheck | AskAgain | Repair | None:
    """What may lift the holds on a repair: an open question, or else, for a likely cause, a part to be put right that was
    found bad, an answer to be given anew, or what opens a question that is itself on hold."""
    holds = in_the_way(conclusions, knowledge.causes[cause].fix)
    to_ask = {str(f.id): minutes_of(knowledge, f) for f in open_questions(knowledge, conclusions, progress)}
    rules = _rules_of(conclusions, holds)
    way = way_to_lift(knowledge, conclusions, holds, to_ask)
    likely = standing_of(standing, cause) >= LIKELY_ENOUGH
    if way:
        waits = cause if likely else ""
        return question(knowledge, conclusions, progress, knowledge.findings[way[0]], rules, waits=waits)
    if not likely:
        return None
    minutes = to_ask | _to_ask_again(knowledge, conclusions, progress)
    first = _put_right_first(knowledge, conclusions, standing, progress, cause, minutes)
    if first:
        return first
    anew = _asked_in_turn(knowledge, conclusions, progress, holds, minutes)
    if not anew or len([name for name in anew if name in conclusions.answers]) > MOST_IN_THE_WAY:
        return None
    if anew[0] in to_ask:
        return question(knowledge, conclusions, progress, knowledge.findings[anew[0]], rules, waits=cause)
    return AskAgain(anew[0], rules, waits=cause)


def makes_it_run(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress
) -> AskAgain | Repair | None:
    """While a part that was found bad forbids every start, that part: looked at once more, then put right, however unlikely
    it is as the cause. Nothing else can be proved before."""
    rules = _rules_of(conclusions, (RUN,)) if RUN in conclusions.holds else ()
    for name in behind(knowledge, conclusions, RUN):
        causes = [
            cause
            for cause in mending(knowledge, name, conclusions.answers[name])
            if standing.of(cause) is not None and _can_be_done(knowledge, conclusions, progress, cause)
        ]
        if causes and name not in progress.asked_again:
            return AskAgain(name)
        if causes:
            cause = max(causes, key=lambda cause: standing_of(standing, cause))
            return Repair(cause, standing_of(standing, cause), rules)
    return None


def _can_be_done(knowledge: Knowledge, conclusions: Conclusions, progress: Progress, cause: str) -> bool:
    """True for a repair that was not done or put aside before, and that no hold forbids."""
    open_still = cause not in progress.repairs.done | progress.put_aside
    return open_still and not in_the_way(conclusions, knowledge.causes[cause].fix)


def _to_ask_again(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> dict[str, float]:
    """Finding -> minutes of asking once more what was answered, or not known.

    Given anew, an answer is another one only where it was mistaken, so its minutes count as often as it takes to meet a
    mistake: a way over looks that nobody has taken is shorter than one over answers that are hardly all wrong.
    """
    asked = (knowledge.findings[name] for name in (*conclusions.answers, *sorted(progress.unknown)))
    return {
        str(finding.id): minutes_of(knowledge, finding) / (WRONG_ANSWERS if finding.id in conclusions.answers else 1.0)
        for finding in asked
        if finding.id not in progress.asked_again and can_be_seen(knowledge, conclusions, finding)
    }


def _asked_in_turn(
    knowledge: Knowledge,
    conclusions: Conclusions,
    progress: Progress,
    holds: tuple[str, ...],
    minutes: Mapping[str, float],
) -> tuple[str, ...]:
    """What can be asked now on the shortest way to lift these holds, where a question that a hold forbids may be opened
    by others on the way. minutes: what each question counts that may be asked, or asked again."""
    before = _opened_by(knowledge, conclusions, progress, minutes)
    opened = {
        name: sum(minutes[other] for other in others) + minutes_of(knowledge, knowledge.findings[name])
        for name, others in before.items()
    }
    way = way_to_lift(knowledge, conclusions, holds, {**minutes, **opened})
    return tuple(dict.fromkeys(first for name in way for first in before.get(name, (name,))))


def _opened_by(
    knowledge: Knowledge, conclusions: Conclusions, progress: Progress, minutes: Mapping[str, float]
) -> Mapping[str, tuple[str, ...]]:
    """Finding that a hold forbids asking -> what may lift that hold, out of what may be asked (with its minutes)."""
    forbidden = {
        str(finding.id): conclusions.held(under_of(knowledge, finding))
        for finding in knowledge.findings.values()
        if wanted(knowledge, conclusions, progress, finding) and finding.id not in minutes
    }
    ways = {holds: way_to_lift(knowledge, conclusions, holds, minutes) for holds in dict.fromkeys(forbidden.values())}
    return {name: ways[holds] for name, holds in forbidden.items() if ways[holds]}


def _put_right_first(
    knowledge: Knowledge,
    conclusions: Conclusions,
    standing: Standing,
    progress: Progress,
    waiting: str,
    minutes: Mapping[str, float],
) -> AskAgain | Repair | None:
    """The shortest repair of a part that was found bad, if a way to the waiting one is open once all such are put right.
    What was found is looked at once more before. minutes: what each question counts that may be asked, or asked again."""
    bad = _to_mend(knowledge, conclusions, standing, progress, waiting)
    fix = knowledge.causes[waiting].fix
    holds = in_the_way(conclusions, fix)
    rules = _rules_of(conclusions, holds)
    mended = reason(knowledge, {name: answer for name, answer in conclusions.answers.items() if name not in bad})
    looks = {name: minutes_of(knowledge, knowledge.findings[name]) for name in bad}
    left = in_the_way(mended, fix)
    found = way_to_lift(knowledge, mended, left, {**minutes, **looks})
    if left and not found:
        return None
    along_the_way = {name for hold in holds for name in behind(knowledge, conclusions, hold)} | set(found)
    to_do = sorted(
        (name for name in bad if name in along_the_way), key=lambda name: knowledge.causes[bad[name]].fix.minutes
    )
    if not to_do:
        return None
    if to_do[0] not in progress.asked_again:
        return AskAgain(to_do[0], rules, waits=waiting)
    repair = bad[to_do[0]]
    return Repair(repair, standing_of(standing, repair), rules, waits=waiting)


def _to_mend(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, waiting: str
) -> dict[str, str]:
    """Finding -> the likeliest cause that puts its answer right, where that is not done yet, not on hold itself, and worth
    its minutes for what waits."""
    worth_it = standing_of(standing, waiting) * CALL_FOR_HELP / PAYS
    bad = {}
    for name, answer in conclusions.answers.items():
        if knowledge.findings[name].past:
            continue
        open_causes = [
            cause
            for cause in mending(knowledge, name, answer)
            if cause != waiting
            and standing.of(cause) is not None
            and _can_be_done(knowledge, conclusions, progress, cause)
            and knowledge.causes[cause].fix.minutes <= worth_it
        ]
        if open_causes:
            bad[name] = max(open_causes, key=lambda cause: standing_of(standing, cause))
    return bad


def _rules_of(conclusions: Conclusions, holds: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(rule for hold in holds for rule in conclusions.holds[hold]))
