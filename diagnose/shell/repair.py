"""A repair and its proof: offered, done, and retested the same way, restrained first."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from ..case.readings import NotAReading, percent
from ..case.state import SOUND
from ..knowledge.checker import RUN
from ..knowledge.model import NORMAL, Cause, Retest
from ..planning.lifting import behind
from ..planning.mending import may_be_gone, put_right
from ..planning.needles import NEEDLES_BACK, moved_in_the_chase, set_by
from ..planning.plan import still_to_prove
from ..planning.proof import (
    asked_before_proof,
    least_minutes,
    minutes_run,
    proved_by,
    retests_of,
    showed_after,
)
from ..report.wording import minutes
from . import screens
from .choices import NotUnderstood, not_known, several_of
from .commands import command_among_words
from .console import Left
from .needles_asked import (
    ask_after_it_turned,
    ask_before_it_turns,
    ask_where_it_was_cured,
    keep_as_good,
    keep_what_was_written_at_the_steps,
    no_run_inside_its_good_count,
    see_to_what_was_moved,
    show_what_stands_off,
)
from .needles_written import may_close

if TYPE_CHECKING:
    from .walk import Walk

EXPLAINED = "Nothing was changed: it was explained that a sound engine does so."
"""What is kept as the proof where nothing is wrong."""


GONE, BETTER, STILL_THERE, ANOTHER_LEFT, NOT_NOW = range(5)
VERDICTS = ("better, but not gone", "still there", "that is gone, another trouble is left", "cannot retest now")
"""What a retest can show besides that all is gone. Another trouble that is left takes nothing from this repair."""

LEAST_WORDS = 2
"""Letters that make words; less is a slip of the finger at the prompt before."""


def offer(walk: Walk, cause: Cause, rules: Sequence[str] = (), waits: str = "") -> None:
    """Put a repair forward with its reasons, and do what is chosen. `rules` hold the repair of the cause `waits`, or
    whatever runs the engine, until this one is done."""
    ranked = walk.examined.standing.of(str(cause.id))
    normal = cause.family == NORMAL
    walk.say()
    share = percent(ranked.probability) if ranked else ""
    lead = "Perhaps nothing is wrong" if normal else "Worth putting right now"
    if waits:
        walk.say(f"Likely, and on hold: {walk.knowledge.causes[waits].name}.", "head")
    if waits or rules:
        lead, share = "Found bad, and put right first", f"{share} likely as the cause"
    walk.show(screens.paragraph(f"{lead}: {cause.name} ({share}) [{cause.id}]", walk.width, "", "ask", "    "))
    walk.show(screens.paragraph(str(cause.explains), walk.width, "    "))
    if ranked:
        for weight in [w for w in walk.examined.standing.trail(ranked.cause) if w.decibels > 1][:4]:
            because = screens.told(walk.examined, walk.state, weight, cause)
            walk.show(screens.paragraph(because, walk.width, "    + "))
        walk.show(screens.seen_in_club(walk.examined, ranked, walk.width, "    + "))
    if not normal:
        walk.show(screens.paragraph(f"If it is left: {cause.harm}", walk.width, "    "))

    def why() -> screens.Lines:
        yield from screens.first_because(walk.knowledge, rules, walk.width)
        if ranked:
            yield from screens.how(walk.examined, walk.state, ranked, (), walk.width)

    walk.why = why
    first = "agreed, this is it" if normal else f"put it right and retest (about {minutes(cause.fix.minutes)})"
    chosen = walk.choose([first, "ask me more first", "not this one now", "stop here, undecided"])
    if chosen == 0:
        _put_right(walk, cause)
    elif chosen == 1:
        walk.one_more()
    elif chosen == 2:
        walk.log.append("repair", cause=str(cause.id), result="not-done")
    else:
        stop_here(walk)


def stop_here(walk: Walk) -> None:
    """Close the case undecided, after asking whether that is meant."""
    asked = "Close the case undecided? A closed case is not opened again; 'leave' keeps it open."
    if walk.choose(["yes, close it undecided", "no, go on"], asked) == 0:
        walk.close("undecided", ())


def _put_right(walk: Walk, cause: Cause) -> None:
    fix = cause.fix
    walk.warn([str(name) for name in fix.cautions])
    if fix.tools:
        walk.say(f"    You need {', '.join(fix.tools)}.")
    if fix.needle:
        ask_before_it_turns(walk, str(fix.needle))
    written = len(walk.state.needles)
    walk.show(screens.steps(walk.knowledge, walk.examined.conclusions, fix.steps, walk.width))
    if cause.family == NORMAL:
        if walk.choose(["heard and understood: leave it as it is", "no, something is wrong"]) == 0:
            walk.log.append("repair", cause=str(cause.id), result="gone", proof=EXPLAINED)
            walk.close(NORMAL, (str(cause.id),))
        else:
            # Nothing was changed, so that it is still there says nothing of the cause.
            walk.log.append("repair", cause=str(cause.id), result="not-done")
        return
    chosen = walk.choose(
        ["done", "could not do it", "looked at it: it is sound, and nothing was done"], about=f"{cause.name}:"
    )
    if chosen:
        walk.log.append("repair", cause=str(cause.id), result=("not-done", SOUND)[chosen - 1])
        return
    # What was done is kept before anything else is asked: a fix without its verdict is still to be retested.
    walk.log.append("fixed", cause=str(cause.id))
    if fix.needle:
        keep_what_was_written_at_the_steps(walk, str(fix.needle), written)
    retest(walk, cause)


def retest(walk: Walk, cause: Cause) -> None:
    """The same symptom, restrained first, then low and short, then as the fault asks; the next only when the last was
    good."""
    needle = str(cause.fix.needle) if cause.fix.needle else ""
    if needle:
        ask_after_it_turned(walk, needle)
    no_run_inside_its_good_count(walk)
    if not _fit_to_retest(walk, cause):
        return
    ask_before_proof(walk)
    walk.show(screens.paragraph(f"It is cured when: {cause.proof}", walk.width, "    "))
    verdict = GONE if walk.state.passed else NOT_NOW
    retests = retests_of(walk.knowledge, walk.examined.conclusions, cause)
    _ask_when_it_showed(walk, retests)
    takes_its_time = any(least_minutes(walk.knowledge, walk.state, one) for one in retests)
    for one in retests:
        if one.id in walk.state.passed or (one.id == NEEDLES_BACK and walk.state.another_left):
            continue
        if one.id == NEEDLES_BACK:
            verdict, ran = _see_needles_back(walk, one), 0.0
        else:
            verdict, ran = _verdict_of(walk, one, "gone so far" if takes_its_time else "gone")
        if verdict == ANOTHER_LEFT:
            # A run that was not clean leads to no flight.
            walk.log.append("passed", retest=str(one.id), another=True)
            break
        if verdict == GONE:
            walk.log.append("passed", retest=str(one.id), **({"minutes": ran} if ran else {}))
        else:
            break
    if verdict == NOT_NOW:
        walk.say("    Kept open. Retest before any normal flight; the case goes on when you come back.")
        raise Left
    if verdict in (BETTER, STILL_THERE) or walk.state.another_left:
        result = "same" if verdict == STILL_THERE and not walk.state.another_left else "better"
        walk.log.append("repair", cause=str(cause.id), result=result, forgotten=_mended(walk, cause))
        not_cured(walk, cause)
        return
    if needle:
        ask_where_it_was_cured(walk, needle)
    see_to_what_was_moved(walk)
    asked = "What was found and changed, in a few words? (Enter: as the steps say)"
    words = walk.inquire(asked, _words_of, find=command_among_words)
    # Only now: whoever goes back at the question before has not proved it, and no count is good.
    if set_by(cause):
        keep_as_good(walk, set_by(cause))
    show_what_stands_off(walk)
    if words:
        walk.log.append("note", text=f"{cause.name}: {words}")
    proof = proved_by(retests, walk.state.ran)
    walk.log.append("repair", cause=str(cause.id), result="gone", proof=proof)
    helped = [done.cause for done in walk.state.repairs if done.result == "better"]
    walk.close("found", (*helped, str(cause.id)))


def ask_before_proof(walk: Walk) -> None:
    """Ask what nobody came to in the walk and what is still to be done hangs on: whether the needles were moved."""
    for finding in asked_before_proof(walk.knowledge, walk.examined.conclusions, walk.examined.progress):
        walk.say()
        walk.say("Before it is proved, one thing that was not asked yet:", "head")
        walk.ask(finding)


def _words_of(line: str) -> str:
    """What was found and changed; '' for Enter. Raises NotUnderstood for a stray number or letter."""
    if line and len(re.findall(r"[^\W\d_]", line)) < LEAST_WORDS:
        raise NotUnderstood(f"'{line}' says nothing; say what was found and changed, or press Enter")
    return line


def _verdict_of(walk: Walk, retest: Retest, well: str) -> tuple[int, float]:
    """Lead through one retest and return its verdict, and the minutes it ran where that was asked for.

    Nothing is gone before it has run as long as the fault asks; `well` is what a clean run is called that is too short to
    ask for that.
    """
    least = least_minutes(walk.knowledge, walk.state, retest)
    _show(walk, retest, least)
    while True:
        walk.say("    The same symptom as before is:")
        verdict = walk.choose(["gone" if least else well, *VERDICTS])
        if verdict not in (GONE, ANOTHER_LEFT) or not least:
            return verdict, 0.0
        ran = _minutes_run(walk)
        if ran >= least:
            return verdict, ran
        walk.say(f"    Too short to tell. Run it for {screens.minutes(least)}, and answer again.")
        walk.show(screens.paragraph(f"Retest: {retest.name} [{retest.id}]", walk.width, "", "ask", "    "))


def _see_needles_back(walk: Walk, retest: Retest) -> int:
    """Lead through the way back of the needles, once every run was good, and return a verdict. A fault that comes back with
    a needle takes nothing from the repair."""
    if walk.examined.conclusions.cured:
        if moved_in_the_chase(walk.knowledge, walk.state) and may_close(walk):
            walk.say("Gone in every run. A needle that was opened may go back to its count, and no further.")
        walk.tell_news()
    _show(walk, retest, 0.0)
    while True:
        chosen = walk.choose(["done, and the fault stays away", "the fault is back", "cannot do it now"])
        if chosen == 0:
            return GONE
        if chosen == 2:
            return NOT_NOW
        walk.say(
            "    The needle brought it back, not the repair. Engine stopped: open it to where it stood in the good runs,"
        )
        walk.say("    write that down, and run it once more.")


def _show(walk: Walk, retest: Retest, least: float) -> None:
    """What is to be done in a retest, and why; `least` is how many minutes it must run, 0 for any."""
    walk.show(screens.procedure(replace(retest, minutes=max(retest.minutes, least)), walk.width, "Retest"))
    for rule in walk.examined.conclusions.proofs.get(retest.id, ()):
        walk.show(screens.paragraph(f"Because: {walk.knowledge.rules[rule].because}", walk.width, "    ", "quiet"))
    if least:
        says = f"It counts as gone after {screens.minutes(least)} of running, not sooner."
        walk.show(screens.paragraph(says, walk.width, "    "))
    walk.warn([str(name) for name in retest.cautions])
    walk.show(screens.steps(walk.knowledge, walk.examined.conclusions, retest.steps, walk.width))


def _ask_when_it_showed(walk: Walk, retests: Sequence[Retest]) -> None:
    """Before anything flies: a fault that takes its time is outlasted, so it is asked, once, how long it took."""
    outlasting = [one for one in retests if one.beyond and showed_after(walk.knowledge, walk.state, one) is None]
    if outlasting and walk.state.showed is None:
        asked = "After how many minutes of running did it show, before? (? if nobody knows)"
        showed = _minutes(walk, asked, "type minutes, such as 10, or ? if nobody knows")
        walk.log.append("showed", minutes=showed or 0.0)


def _minutes_run(walk: Walk) -> float:
    """How long it ran; when nobody looked at the clock it counts as not run."""
    wanted = "type the minutes it ran, such as 12, or ? if nobody looked"
    return _minutes(walk, "How many minutes did it run? (? if nobody looked)", wanted) or 0.0


def _minutes(walk: Walk, asked: str, wanted: str) -> float | None:
    """Minutes as they are typed; None for those that nobody knows. `wanted` is said where nothing was typed."""

    def understand(line: str) -> float | None:
        if not line.strip():
            raise NotUnderstood(wanted)
        try:
            return None if not_known(line) else minutes_run(line)
        except NotAReading as error:
            raise NotUnderstood(str(error)) from None

    return walk.inquire(asked, understand)


def _mended(walk: Walk, cause: Cause) -> list[int]:
    """The events that answer what was seen of the part itself: it is mended, whatever became of the fault."""
    return _answers_to(walk, put_right(walk.knowledge, str(cause.id), walk.examined.conclusions.answers))


def not_cured(walk: Walk, cause: Cause) -> None:
    """Go on from a repair that did not end the fault, after asking what is left of it where it helped."""
    if walk.state.half_mended:
        _ask_what_is_left(walk, cause)
    walk.tell_news(lifts=False)
    walk.say("    Not cured yet: no normal flight, and no power but for a short restrained test, whatever is lifted later.")


def _ask_what_is_left(walk: Walk, cause: Cause) -> None:
    """Part of the fault is gone, so what was answered before may be true no longer."""
    answers = walk.examined.conclusions.answers
    told = [walk.knowledge.findings[name] for name in may_be_gone(walk.knowledge, str(cause.id), answers)]
    left: list[int] = []
    if told:
        walk.why = lambda: screens.paragraph("To look on with what is true now.", walk.width, "    ")
        walk.say("Which of these are still so, after the repair? Type the numbers, or none.", "ask")
        says = [f"{finding.ask} {screens.said(finding, walk.state, answers[str(finding.id)])}" for finding in told]
        walk.show(screens.choices(says, walk.width))
        left = walk.read(lambda line: several_of(line, len(says)), ["none"])
    gone = _answers_to(walk, {str(finding.id) for place, finding in enumerate(told) if place not in left})
    walk.log.append("no-longer", numbers=gone)
    if gone:
        walk.say("    What is no longer so is forgotten, and is asked again where it matters.")


def _answers_to(walk: Walk, findings: Collection[str]) -> list[int]:
    """The events that answer these findings."""
    return [number for number, finding in walk.state.answered if finding in findings]


def _fit_to_retest(walk: Walk, cause: Cause) -> bool:
    """Nothing is run while running is on hold: what holds it is answered again, and only then comes the retest."""
    if RUN not in walk.examined.conclusions.holds:
        return True
    walk.show(screens.hold(walk.knowledge, walk.examined.conclusions, RUN, walk.width))
    while True:
        walk.say("Before the retest, answer again what holds it, as it is now:", "head")
        for name in behind(walk.knowledge, walk.examined.conclusions, RUN):
            walk.ask(walk.knowledge.findings[name])
        # What was not known before may be looked at now.
        progress = replace(walk.examined.progress, unknown=frozenset())
        for name in still_to_prove(walk.knowledge, walk.examined.conclusions, progress, RUN):
            walk.ask(walk.knowledge.findings[name])
        walk.tell_news()
        if RUN not in walk.examined.conclusions.holds:
            return True
        walk.say("Running is still on hold, so the retest waits.", "head")
        chosen = walk.choose(["look now, and answer again", "keep it open and leave", "go on looking without a retest"])
        if chosen == 1:
            raise Left
        if chosen == 2:
            break
    walk.log.append("repair", cause=str(cause.id), result="not-proved", forgotten=_mended(walk, cause))
    walk.tell_news()
    walk.say("    Kept as done and not proved: no normal flight before it has had its retests.")
    return False
