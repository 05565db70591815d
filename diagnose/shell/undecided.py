"""Where nothing stands out: what is said then, and what can still be done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from ..knowledge.checker import RUN
from ..knowledge.model import NORMAL, Cause
from ..planning.lifting import behind
from ..planning.plan import safe_looks, still_to_prove
from ..planning.steps import DoCheck, Progress, Repair, in_the_way
from ..planning.worth import LIKELY_ENOUGH
from ..report.wording import minutes
from . import screens
from .repair import offer, stop_here

if TYPE_CHECKING:
    from .walk import Walk


def undecided(walk: Walk, held: Sequence[str], even_so: Repair | None) -> None:
    """Say why nothing is put forward, and do what is chosen: a quick look, what holds the likeliest (`held`), or an end."""
    seen = walk.examined
    looks = safe_looks(walk.knowledge, seen.conclusions, seen.standing, seen.progress)
    aside = _after_all(walk)
    even_so = None if RUN in seen.conclusions.holds else even_so
    _say_why(walk, held, even_so, aside)
    if looks:
        walk.say("    Quick looks that are still open, engine stopped:")
        for look in looks:
            check = walk.knowledge.checks[look.check]
            walk.say(f"      {check.name} ({minutes(check.minutes)})")
    walk.why = None
    offers = _offers(walk, held, even_so, aside, looks)
    list(offers.values())[walk.choose(list(offers))]()


def _after_all(walk: Walk) -> Cause | None:
    """The leading cause, where it was put aside, and a fault is likely enough by now to be put right."""
    for leads in walk.examined.standing.causes[:1]:
        cause = walk.knowledge.causes[leads.cause]
        if leads.cause in walk.state.put_aside and (cause.family == NORMAL or leads.probability >= LIKELY_ENOUGH):
            return cause if not in_the_way(walk.examined.conclusions, cause.fix) else None
    return None


def _say_why(walk: Walk, held: Sequence[str], even_so: Repair | None, aside: Cause | None) -> None:
    stands = "No cause stands out enough to put it right."
    if even_so:
        stands = "No repair is worth its minutes at this chance: taking it home, or asking for help, is shorter."
    if held:
        stands = "The likeliest cause waits for what is on hold."
    if aside:
        normal = aside.family == NORMAL
        stands = f"The likeliest{' is that nothing is wrong, and that' if normal else ''} was put aside."
    walk.say()
    walk.say(f"Undecided for now. {stands}", "head")
    walk.show_standing()
    if aside:
        walk.show(screens.paragraph(str(aside.explains), walk.width, "    "))
    for name in held[:1]:
        walk.say(f"    The likeliest, {walk.knowledge.causes[name].name}, waits for what is on hold:")
        for hold in in_the_way(walk.examined.conclusions, walk.knowledge.causes[name].fix):
            walk.show(screens.hold(walk.knowledge, walk.examined.conclusions, hold, walk.width))


def _offers(
    walk: Walk, held: Sequence[str], even_so: Repair | None, aside: Cause | None, looks: Sequence[DoCheck]
) -> dict[str, Callable[[], object]]:
    offers: dict[str, Callable[[], object]] = {}
    if looks:
        first = looks[0]
        offers["do the first of these looks now"] = lambda: walk.do_check(
            walk.knowledge.checks[first.check], first.finds, (), first.worth
        )
    if even_so:
        cause = walk.knowledge.causes[even_so.cause]
        offers[f"put right even so: {cause.name} ({minutes(cause.fix.minutes)})"] = lambda: offer(walk, cause)
    if aside and aside.family == NORMAL:
        offers["nothing is wrong after all"] = lambda: offer(walk, aside)
    elif aside:
        offers[f"put right after all: {aside.name} ({minutes(aside.fix.minutes)})"] = lambda: offer(walk, aside)
    if held:
        offers["look now at what keeps it on hold"] = lambda: look_at_what_holds(walk, held[0])
        offers["put that cause aside and go on"] = lambda: walk.log.append("repair", cause=held[0], result="not-done")
    offers["end here, undecided, with a report"] = lambda: stop_here(walk)
    offers["I know what it was"] = lambda: walk.found("")
    if walk.state.unknown or walk.state.put_aside:
        offers["look again at what was not known or put aside"] = lambda: _look_again(walk)
    if walk.state.unproved:
        offers["retest what was done and not proved"] = lambda: _take_verdicts_back(walk, "not-proved")
    return offers


def would_lift(walk: Walk, cause: str, progress: Progress) -> tuple[str, ...]:
    """The open questions that would lift the holds on the repair of this cause."""
    conclusions = walk.examined.conclusions
    holds = in_the_way(conclusions, walk.knowledge.causes[cause].fix)
    names = (name for hold in holds for name in still_to_prove(walk.knowledge, conclusions, progress, hold))
    return tuple(dict.fromkeys(names))


def look_at_what_holds(walk: Walk, cause: str) -> None:
    """Ask, one after the other, for what may lift the holds on this repair: what is open or was not known, then what they
    rest on, which may have been put right."""
    asked: set[str] = set()
    while holds := in_the_way(walk.examined.conclusions, walk.knowledge.causes[cause].fix):
        open_now = would_lift(walk, cause, replace(walk.examined.progress, unknown=frozenset(asked)))
        rests_on = (name for hold in holds for name in behind(walk.knowledge, walk.examined.conclusions, hold))
        to_ask = [name for name in (*open_now, *rests_on) if name not in asked]
        if not to_ask:
            walk.say("    Nothing more can be asked that would lift it. 'cautions' shows until when it stands.")
            return
        asked.add(to_ask[0])
        walk.give_anew(walk.knowledge.findings[to_ask[0]], ())
        walk.tell_news()


def _look_again(walk: Walk) -> None:
    numbers = [number for number, finding in walk.state.answered if finding in walk.state.unknown]
    _take_verdicts_back(walk, "not-done", numbers)


def _take_verdicts_back(walk: Walk, result: str, also: Sequence[int] = ()) -> None:
    numbers = [one.number for one in walk.state.worked if one.what == result]
    walk.log.append("withdraw", numbers=[*also, *numbers])
