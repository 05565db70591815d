"""What keeps a likely repair on hold: what may lift it is asked, asked once more, or put right first."""

from __future__ import annotations

from collections.abc import Mapping

from ..knowledge.model import Fix, Knowledge
from ..reasoning.rank import Standing
from ..reasoning.reason import Conclusions, reason
from .lifting import behind, way_to_lift
from .mending import mending
from .steps import Ask, AskAgain, DoCheck, Progress, Repair, can_be_seen, open_questions, question, standing_of
from .worth import CALL_FOR_HELP, LIKELY_ENOUGH, PAYS, minutes_of

MOST_IN_THE_WAY = 3
"""Answers that are asked again for one repair on hold; where more stand against it, they are hardly all mistaken."""


def lifting(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, cause: str
) -> Ask | DoCheck | AskAgain | Repair | None:
    """What may lift the holds on a repair: an open question, or else, for a likely cause, an answer to be given anew, or a
    part to be put right that was found bad."""
    holds = _in_the_way(conclusions, knowledge.causes[cause].fix)
    holding = _holding(conclusions, holds)
    to_ask = {str(f.id): minutes_of(knowledge, f) for f in open_questions(knowledge, conclusions, progress)}
    for name in way_to_lift(knowledge, conclusions, holds, to_ask):
        return question(knowledge, conclusions, progress, knowledge.findings[name], holding, None)
    if standing_of(standing, cause) < LIKELY_ENOUGH:
        return None
    again = {
        str(finding.id): minutes_of(knowledge, finding)
        for finding in knowledge.findings.values()
        if (finding.id in conclusions.answers or finding.id in progress.unknown)
        and finding.id not in progress.asked_again
        and can_be_seen(knowledge, conclusions, finding)
    }
    found = way_to_lift(knowledge, conclusions, holds, to_ask | again)
    if len([name for name in found if name in conclusions.answers]) > MOST_IN_THE_WAY:
        return None
    for name in found:
        if name in again:
            return AskAgain(name, holding, waits=cause)
        return question(knowledge, conclusions, progress, knowledge.findings[name], holding, None)
    return _mending(knowledge, conclusions, standing, progress, cause, to_ask | again)


def _mending(
    knowledge: Knowledge,
    conclusions: Conclusions,
    standing: Standing,
    progress: Progress,
    waiting: str,
    minutes: Mapping[str, float],
) -> AskAgain | Repair | None:
    """The shortest repair of a part that was found bad, if a way to the waiting one is open once all such are put right.
    What was found is looked at once more before. minutes: what each question costs that may be asked, or asked again."""
    bad = _to_mend(knowledge, conclusions, standing, progress, waiting)
    fix = knowledge.causes[waiting].fix
    holds = _in_the_way(conclusions, fix)
    mended = reason(knowledge, {name: answer for name, answer in conclusions.answers.items() if name not in bad})
    looks = {name: minutes_of(knowledge, knowledge.findings[name]) for name in bad}
    left = _in_the_way(mended, fix)
    found = way_to_lift(knowledge, mended, left, {**looks, **minutes})
    if left and not found:
        return None
    holding = _holding(conclusions, holds)
    in_the_way = {name for hold in holds for name in behind(knowledge, conclusions, hold)} | set(found)
    to_do = sorted((name for name in bad if name in in_the_way), key=lambda name: knowledge.causes[bad[name]].fix.minutes)
    if not to_do:
        return None
    if to_do[0] not in progress.asked_again:
        return AskAgain(to_do[0], holding, waits=waiting)
    repair = bad[to_do[0]]
    return Repair(repair, standing_of(standing, repair), holding, waits=waiting)


def _to_mend(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, waiting: str
) -> dict[str, str]:
    """Finding -> the likeliest cause that puts its answer right, where that is not done yet, not on hold itself, and worth
    its minutes for what waits."""
    worth_it = standing_of(standing, waiting) * CALL_FOR_HELP / PAYS
    bad = {}
    for name, answer in conclusions.answers.items():
        open_causes = [
            cause
            for cause in mending(knowledge, name, answer)
            if cause != waiting
            and standing.of(cause) is not None
            and cause not in progress.repairs.done | progress.put_aside
            and not _in_the_way(conclusions, knowledge.causes[cause].fix)
            and knowledge.causes[cause].fix.minutes <= worth_it
        ]
        if open_causes:
            bad[name] = max(open_causes, key=lambda cause: standing_of(standing, cause))
    return bad


def _holding(conclusions: Conclusions, holds: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(rule for hold in holds for rule in conclusions.holds[hold]))


def _in_the_way(conclusions: Conclusions, fix: Fix) -> tuple[str, ...]:
    """The holds that forbid the fix as a whole, or else all of its steps; a step held alone only waits."""
    as_a_whole = conclusions.held(fix.under)
    return as_a_whole or conclusions.held(tuple(hold for step in fix.steps for hold in step.under))
