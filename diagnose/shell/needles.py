"""The needle ledger at the prompt: what is typed of the needles, kept or refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..case.ledger import NEEDLES, NeedleEntry, NotAMove, check_entry, stands, weakens
from ..case.readings import NotAReading, parse_turns, turns
from ..knowledge.checker import NEEDLE_HOLDS
from . import screens
from .choices import NotUnderstood

if TYPE_CHECKING:
    from .sitting import Sitting


def typed(sitting: Sitting, rest: str) -> bool:
    """Carry out what was typed after `needle`. The question before the eyes stays."""
    may_close = not sitting.examined.conclusions.held(NEEDLE_HOLDS)
    needle, _, entry = rest.partition(" ")
    if not rest:
        sitting.show(screens.ledger(sitting.state.needles, may_close, sitting.width))
        return False
    if needle.upper() not in NEEDLES or not entry:
        sitting.say("    Write for instance: needle H 1 1/4 (a count), or needle H +1/8 (a move, plus is out).")
        return False
    trouble = enter(sitting, needle.upper(), entry)
    if trouble:
        sitting.say(f"    {trouble}.")
    return False


def enter(sitting: Sitting, needle: str, text: str) -> str:
    """Record a count or move; return what forbids it, or '' when it is recorded."""
    try:
        sixteenths, moved = parse_turns(text)
        entry = NeedleEntry(needle, sixteenths, moved)
        check_entry(sitting.state.needles, entry)
    except (NotAReading, NotAMove) as error:
        return str(error)
    closing = weakens(sitting.state.needles, entry)
    held = sitting.examined.conclusions.held(NEEDLE_HOLDS)
    if closing and moved and held:
        for hold in held:
            sitting.show(screens.hold(sitting.knowledge, sitting.examined.conclusions, hold, sitting.width))
        return "refused: that move would weaken the mixture while the hold stands"
    sitting.log.append("needle", needle=needle, sixteenths=sixteenths, moved=moved)
    place = stands(sitting.state.needles, needle)
    assert place is not None
    sitting.say(f"    {needle} stands at {turns(place.now)}.")
    if closing and not moved and held:
        sitting.say("    That is further in than it stood, and a weaker mixture is on hold: open it again before it runs.")
    if moved and abs(sixteenths) > 2:
        sitting.say("    Come closer in small moves: an eighth, then a sixteenth for the last.")
    if moved:
        other = NEEDLES[1 - NEEDLES.index(needle)]
        sitting.say(f"    Now check {other} too: on many carburettors the two move each other a little.")
    return ""


def ask_where(sitting: Sitting, needle: str) -> None:
    """A fix that moves a needle leaves a line in the ledger."""
    sitting.say()
    counted = stands(sitting.state.needles, needle) is not None
    move = " a move (such as +1/8)," if counted else ""
    sitting.say(
        f"Where does the {needle} needle stand now? Turns out from lightly seated (such as 1 1/4),{move}"
        " or ? if it was not counted.",
        "ask",
    )

    def understand(line: str) -> None:
        if line.strip() not in ("", "?"):
            trouble = enter(sitting, needle, line)
            if trouble:
                raise NotUnderstood(trouble)

    sitting.read(understand)


def show_what_stands_off(sitting: Sitting, set_by_the_fix: str | None) -> None:
    """Show the ledger while a needle that the fix did not set stands off its first count; the way back keeps the holds."""
    places = [place for needle in NEEDLES if (place := stands(sitting.state.needles, needle)) is not None]
    if any(place.moved_by and place.needle != set_by_the_fix for place in places):
        may_close = not sitting.examined.conclusions.held(NEEDLE_HOLDS)
        sitting.show(screens.ledger(sitting.state.needles, may_close, sitting.width))
