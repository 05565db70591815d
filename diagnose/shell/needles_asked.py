"""What is asked of the needles around a repair: where each stood before it, stands since, and belongs."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from ..case.ledger import (
    NeedleStands,
    good_at,
    inside_its_good_count,
    stands,
)
from ..case.readings import turns
from ..knowledge.setup_model import NEEDLES
from ..planning.needles import (
    SIXTEENTH,
    baseless,
    brought_in_since,
    lost,
    moved_in_the_chase,
    places_unknown,
    turned_since,
    without_a_baseline,
)
from .choices import NotUnderstood, not_known
from .needles_written import (
    ask_where_it_belongs,
    enter,
    may_close,
    show_ledger,
    to_go_by,
    trusted_here,
    write_as_good,
)

if TYPE_CHECKING:
    from .sitting import Sitting


def ask_where(sitting: Sitting, needle: str) -> bool:
    """Ask where a needle stands and write it into the ledger; False when it was not counted."""
    sitting.say()
    counted = stands(to_go_by(sitting), needle) is not None
    move = " a move (such as +1/8)," if counted else ""

    def understand(line: str) -> bool:
        if not line.strip() or not_known(line):
            return False
        trouble = enter(sitting, needle, line)
        if trouble:
            raise NotUnderstood(trouble)
        return True

    written = sitting.inquire(
        f"Where does the {needle} needle stand now? Turns out from lightly seated (such as 1 1/4),{move}"
        " or ? if it was not counted.",
        understand,
    )
    if written:
        sitting.say("    Mistyped? 'needle undo' takes it back.")
    return written


def ask_before_it_turns(sitting: Sitting, needle: str) -> None:
    """Ask for the count of a needle that was never counted: once it is turned nobody can say where it stood."""
    if stands(sitting.state.needles, needle) is None:
        sitting.say(
            f"    Before it is turned: engine stopped, count the {needle} needle in, and set it back where it stood."
        )
        ask_where(sitting, needle)


def keep_what_was_written_at_the_steps(sitting: Sitting, needle: str, before: int) -> None:
    """A move that was written down while a repair was being done, `before` which the ledger had so many entries, says where
    the needle stands after it: it is not asked for again."""
    written = [entry for entry in sitting.state.needles[before:] if entry.needle == needle and not entry.said]
    place = stands(sitting.state.needles, needle)
    if written and place is not None:
        sitting.log.append("needle", needle=needle, sixteenths=place.now, moved=False)
        sitting.say(f"    {needle} stands at {turns(place.now)}, as you wrote it down.")


def ask_after_it_turned(sitting: Sitting, needle: str) -> None:
    """Ask where a needle stands since a repair turned it, until it is counted or said not to be: whoever left at the
    question, or took the count back, is asked again."""
    if needle in turned_since(sitting.knowledge, sitting.state) - lost(sitting.state):
        _count_or_leave_open(sitting, needle)


def no_run_inside_its_good_count(sitting: Sitting) -> None:
    """Before a retest: a needle that stands further in than where it ran well is opened, or counted again, before it runs;
    a sixteenth is what thinner air may ask for."""
    for needle in NEEDLES:
        while (inside := inside_its_good_count(trusted_here(sitting), needle)) > SIXTEENTH:
            good = good_at(sitting.state.needles, needle) or 0
            sitting.say()
            where = f"{needle} stands {turns(inside)} further in than where it ran well ({turns(good)})."
            sitting.say(where, "warning")
            sitting.say("    That is lean, and a retest runs it at work. Engine stopped: open it first.")
            opened, slowly = f"opened to {turns(good)} now", "it came in a sixteenth at a time, a run after each"
            chosen = sitting.choose([opened, "it was miscounted", slowly], about=where)
            if chosen == 0:
                sitting.log.append("needle", needle=needle, sixteenths=inside, moved=True)
            elif chosen == 1:
                ask_where(sitting, needle)
            else:
                break


def ask_where_it_was_cured(sitting: Sitting, needle: str) -> None:
    """Before the repair counts as proved: a needle that nobody counted since it was turned ran well where it stands, and
    only a count makes a baseline of that."""
    if needle in places_unknown(sitting.knowledge, sitting.state):
        sitting.say()
        sitting.say(f"{needle} ran well where it stands now, and nobody has counted it there.", "head")
        sitting.say("    Engine stopped: count it in, lightly, and set it back where it stood.")
        _count_or_leave_open(sitting, needle)


def see_to_what_was_moved(sitting: Sitting) -> None:
    """Before a case closes as cured: ask of each needle that was moved in the chase whether it is back at its baseline."""
    for needle in without_a_baseline(sitting.knowledge, sitting.state):
        sitting.say()
        sitting.say(f"{needle} may have been moved before it was counted: its first count is no baseline.", "head")
        ask_where_it_belongs(sitting, needle)
    for needle in moved_in_the_chase(sitting.knowledge, sitting.state):
        place = stands(sitting.state.needles, needle)
        if place is None:
            sitting.say()
            sitting.say(
                f"A needle was moved before or while the fault was looked for, and {needle} was never counted.", "head"
            )
            if not _asked_where_it_belongs(sitting, needle):
                ask_where_it_belongs(sitting, needle)
            sitting.say("    Engine stopped: count it in, lightly, and leave it where you found it.")
            _count_or_leave_open(sitting, needle)
        elif needle in baseless(sitting.state):
            continue
        elif place.moved_by or not any(entry.moved and entry.needle == needle for entry in sitting.state.needles):
            _ask_if_back(sitting, place)


def _asked_where_it_belongs(sitting: Sitting, needle: str) -> bool:
    return needle in baseless(sitting.state) or any(e.needle == needle and e.said for e in sitting.state.needles)


def _ask_if_back(sitting: Sitting, place: NeedleStands) -> None:
    """Ask where a needle was left, and write it into the ledger. Nothing is asked to be closed under a hold."""
    off = f" and stood {place.off}" if place.moved_by else ""
    sitting.say()
    asked = f"{place.needle} was moved while the fault was looked for{off}. Where does it stand now?"
    sitting.say(asked, "ask")
    if place.moved_by > 0 and not may_close(sitting):
        sitting.say("    Going back is on hold. Open is the safe side: leave it, and it is written into the report.")
    offers: dict[str, Callable[[], object]] = {
        f"at its baseline of {turns(place.baseline)}, brought back": lambda: _write_it_back(sitting, place)
    }
    if place.moved_by:
        offers[f"still at {turns(place.now)}"] = lambda: None
    offers["elsewhere, or it has to be counted"] = lambda: _count_or_leave_open(sitting, place.needle)
    list(offers.values())[sitting.choose(list(offers), about=asked)]()


def _write_it_back(sitting: Sitting, place: NeedleStands) -> None:
    if not place.moved_by:
        sitting.log.append("needle", needle=place.needle, sixteenths=place.baseline, moved=False)
        return
    sitting.log.append("needle", needle=place.needle, sixteenths=-place.moved_by, moved=True)
    if place.moved_by > 0 and not may_close(sitting):
        by = turns(place.moved_by).split(" turn")[0]
        sitting.say("    That is further in than it stood, and a weaker mixture is on hold: open it again before it runs,")
        sitting.say(f"    and write it down: needle {place.needle} +{by}")
    else:
        sitting.say("    It ran last where it stood before: run it once more, restrained, before it works again.")


def _count_or_leave_open(sitting: Sitting, needle: str) -> None:
    if not ask_where(sitting, needle):
        sitting.log.append("uncounted", needle=needle)


def keep_as_good(sitting: Sitting, needle: str) -> None:
    """A needle that the repair set, and that stood the retests, is good there: the count with the fault is no baseline."""
    place = stands(trusted_here(sitting), needle)
    if place is None:
        sitting.say(f"    {needle} is not written down as good: where it stands is not known.")
    elif brought_in_since(sitting.knowledge, sitting.state, needle):
        sitting.say(f"    {needle} is not written down as good: it was brought in since the last good run.")
    else:
        write_as_good(sitting, place)


def show_what_stands_off(sitting: Sitting) -> None:
    """Show the ledger while a needle stands off its baseline; the way back keeps the holds."""
    places = [place for needle in NEEDLES if (place := stands(sitting.state.needles, needle)) is not None]
    if any(place.moved_by for place in places):
        show_ledger(sitting)
