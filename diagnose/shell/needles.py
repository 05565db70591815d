"""The needle ledger at the prompt: what can be typed of it, and the next move."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..bench.needles import history
from ..case.ledger import (
    NeedleStands,
    NotAMove,
    last_entry,
    stands,
    told,
    turned,
)
from ..case.readings import NotAReading, turns
from ..drawing.terminal import draw
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.setup_model import NEEDLES
from ..planning.needles import (
    brought_in_since,
    in_words,
    next_move,
    way_back_ends,
    without_a_baseline,
)
from .choices import NotUnderstood
from .needles_written import (
    belonging,
    enter,
    say_what_is_written,
    show_holds,
    show_ledger,
    to_go_by,
    trusted_here,
    write_as_good,
    write_where_it_belongs,
)

if TYPE_CHECKING:
    from .sitting import Sitting

NOT_YET_GOOD = ("run", "run-at-power")
"""While any of these holds stands it has not run well at work, so no count is good."""

PLOT_ROWS = 8

USES = (
    "Write for instance: needle H 1 1/4 (a count), or needle H +1/8 (a move, plus is out). Also: needle next, needle"
    " undo, needle baseline (back to it), needle baseline H 1 1/4 (where it belongs), needle good."
)


def typed(sitting: Sitting, rest: str) -> bool:
    """Carry out what was typed after `needle`. True when the prompt must be asked anew."""
    word, _, entry = rest.partition(" ")
    match word.lower():
        case "":
            show(sitting)
        case "next":
            suggest(sitting)
        case "undo":
            return undo(sitting, entry)
        case "baseline" if entry:
            return tell_where_it_belongs(sitting, entry)
        case "baseline":
            return back_to_baseline(sitting)
        case "good":
            return call_good(sitting, entry)
        case "h" | "l" if entry:
            trouble = enter(sitting, word.upper(), entry)
            if trouble:
                sitting.say(f"    {trouble}.")
        case _:
            sitting.say(f"    {USES}")
    return False


def show(sitting: Sitting) -> None:
    """Where each needle stands and how it got there, in words and, once there is something to see, as a plot."""
    entries = sitting.state.needles
    show_ledger(sitting)
    if turned(entries):
        sitting.say()
        sitting.show((line, "") for line in draw(history(entries), sitting.width, PLOT_ROWS))


def suggest(sitting: Sitting) -> None:
    """The next move, or why there is none."""
    move = next_move(sitting.knowledge, sitting.examined.conclusions, trusted_here(sitting))
    if move is None:
        sitting.say("    Nothing that was answered says which way a needle should go. Leave both where they stand.")
        return
    sitting.say(f"    {move.because}")
    show_holds(sitting, move.held or move.spared)
    if move.held:
        sitting.say(f"    Refused for {move.needle} while the hold stands.")
        return
    if move.spared:
        sitting.say("    Opening by an eighth is the one exception.")
    sitting.say(f"    {in_words(move)}")


def undo(sitting: Sitting, named: str = "") -> bool:
    """Take the last entry back, of a needle that is named or of any: what was written, not the needle."""
    last = last_entry(sitting.state.needles, named.upper())
    if last is None:
        sitting.say(f"    There is no count or move{f' of {named}' if named else ''} of this case to take back.")
        return False
    sitting.log.append("withdraw", numbers=[last.number])
    sitting.say(f"    Taken back: {last.needle} {told(last)}.")
    say_what_is_written(sitting, last.needle)
    return True


def back_to_baseline(sitting: Sitting) -> bool:
    """The way back for each needle; what would weaken the mixture is refused under a hold."""
    places = [place for needle in NEEDLES if (place := stands(trusted_here(sitting), needle)) is not None]
    staying = [place for place in places if _stays(sitting, place)]
    for place in staying:
        sitting.say(f"    {place.needle} stays at {turns(place.now)}, where it ran well.")
    away = [place for place in places if place.moved_by and place not in staying]
    if not away:
        if not staying:
            sitting.say("    Both stand at their baseline." if places else "    No needle has been counted yet.")
        return False
    held = sitting.examined.conclusions.held(NEEDLE_HOLDS)
    waiting = [place for place in away if place.moved_by > 0 and held]
    if waiting:
        show_holds(sitting, held)
        sitting.say(f"    Refused for {' and '.join(place.needle for place in waiting)} while the hold stands.")
    allowed = [place for place in away if place not in waiting]
    if not allowed:
        return False
    for place in allowed:
        sitting.say(f"    {place.needle}: {place.way_back()}")
    if sitting.choose(["yes, write it down", "no, leave it"], "Engine stopped. Are they back there?"):
        return True
    for place in allowed:
        sitting.log.append("needle", needle=place.needle, sixteenths=-place.moved_by, moved=True)
        sitting.say(f"    {place.needle} stands at its baseline of {turns(place.baseline)}.")
    return True


def _stays(sitting: Sitting, place: NeedleStands) -> bool:
    """True for a needle that ran well further out than its baseline, where that is the count with the fault or of the
    chase."""
    cured = sitting.examined.conclusions.cured
    return cured and place.moved_by > 0 and way_back_ends(sitting.knowledge, sitting.state, place.needle) is None


def tell_where_it_belongs(sitting: Sitting, typed: str) -> bool:
    """`needle baseline H 1 1/4`: where it stood when it ran well, as somebody says."""
    needle, _, text = typed.partition(" ")
    needle = needle.upper()
    if needle not in NEEDLES or not text:
        sitting.say("    Write the needle and the count at which it ran well, such as: needle baseline H 1 1/4")
        return False
    try:
        entry = belonging(sitting, needle, text)
    except (NotAReading, NotAMove, NotUnderstood) as error:
        sitting.say(f"    {error}.")
        return False
    place = stands(to_go_by(sitting), needle)
    has_one = needle not in without_a_baseline(sitting.knowledge, sitting.state)
    if place and has_one and entry.sixteenths < place.baseline:
        if sitting.examined.conclusions.cured:
            sitting.say(f"    Refused: it ran well further out, and its baseline is {turns(place.baseline)}.")
            return False
        asked = f"That is further in than its baseline of {turns(place.baseline)}. Is it so?"
        if sitting.choose(["yes, write it down", "no, a slip"], asked):
            return True
    write_where_it_belongs(sitting, needle, entry.sixteenths)
    return True


def call_good(sitting: Sitting, named: str) -> bool:
    """The engine runs well here: the present counts are the baseline from now on."""
    wanted = NEEDLES if not named else (named.upper(),)
    places = [place for needle in wanted if (place := stands(trusted_here(sitting), needle)) is not None]
    if not places:
        sitting.say("    Count the needle first, such as: needle H 1 1/4")
        return False
    held = sitting.examined.conclusions.held(NOT_YET_GOOD)
    if held:
        show_holds(sitting, held)
        sitting.say("    Refused: a count is good when the engine has run well on it, at work too.")
        return False
    move = next_move(sitting.knowledge, sitting.examined.conclusions, trusted_here(sitting))
    if move is not None and move.needle in [place.needle for place in places]:
        sitting.say(f"    {move.because}")
        asked = f"That speaks against {move.needle} where it stands. Good even so?"
        if sitting.choose(["no, it is not good yet", "yes, it runs well there, at work too"], asked) == 0:
            return True
    for place in places:
        if brought_in_since(sitting.knowledge, sitting.state, place.needle):
            sitting.say(f"    {place.needle} was brought in since the last good run: run it there first.")
        else:
            write_as_good(sitting, place)
    return True
