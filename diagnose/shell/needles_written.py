"""What is written into the needle ledger at the prompt: a count or a move that was typed, kept or refused."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..case.ledger import (
    NeedleEntry,
    NeedleStands,
    NotAMove,
    check_entry,
    doubtful,
    inside_its_good_count,
    stands,
    weakens,
)
from ..case.readings import NotAReading, parse_turns, turns
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.setup_model import NEEDLES
from ..planning.needles import (
    EIGHTH,
    against_its_count,
    baseless,
    carburettor_of,
    counted_as_found,
    lost,
    places_unknown,
    trusted,
    way_back_ends,
    without_a_baseline,
)
from . import screens
from .choices import NotUnderstood, not_known

if TYPE_CHECKING:
    from .sitting import Sitting

NOT_MOVED = "same"
"""Typed where it is asked for the count at which a needle ran well, of one that stands there still."""

A_SLIP = "not written down; type it again"


def show_holds(sitting: Sitting, holds: Sequence[str]) -> None:
    for hold in holds:
        sitting.show(screens.hold(sitting.knowledge, sitting.examined.conclusions, hold, sitting.width))


def trusted_here(sitting: Sitting) -> tuple[NeedleEntry, ...]:
    return trusted(sitting.knowledge, sitting.state)


def may_close(sitting: Sitting) -> bool:
    return not sitting.examined.conclusions.held(NEEDLE_HOLDS)


def to_go_by(sitting: Sitting) -> list[NeedleEntry]:
    """The ledger that an entry is measured by: what a repair turned may be told by its move, a needle that is lost only
    by a count."""
    return [entry for entry in sitting.state.needles if entry.needle not in lost(sitting.state)]


def entry_of(sitting: Sitting, needle: str, text: str) -> NeedleEntry:
    """Return the count or move that was typed. Raises NotAReading, or NotAMove for what is impossible."""
    entry = NeedleEntry(needle, *parse_turns(text))
    check_entry(to_go_by(sitting), entry)
    return entry


def is_a_slip(sitting: Sitting, entry: NeedleEntry) -> bool:
    """Ask whether an entry that is hard to believe was a slip; any other is none."""
    doubt = doubtful(to_go_by(sitting), entry)
    if not doubt:
        return False
    return sitting.choose(["yes, write it down", "no, a slip"], f"{doubt}. Is it so?") == 1


def enter(sitting: Sitting, needle: str, text: str) -> str:
    """Record a count or move, asked for once more when it is hard to believe; return what forbids it, or '' when it is
    recorded."""
    try:
        entry = entry_of(sitting, needle, text)
    except (NotAReading, NotAMove) as error:
        return str(error)
    sixteenths, moved = entry.sixteenths, entry.moved
    closing = weakens(to_go_by(sitting), entry)
    held = sitting.examined.conclusions.held(NEEDLE_HOLDS)
    if closing and moved and held:
        show_holds(sitting, held)
        return "refused: that move would weaken the mixture while the hold stands"
    before = stands(to_go_by(sitting), needle)
    if closing and moved and before and sitting.examined.conclusions.cured:
        ends = way_back_ends(sitting.knowledge, sitting.state, needle)
        if ends is None:
            return f"refused: {needle} stays where it ran well"
        if before.now + sixteenths < ends:
            return f"refused: the way back ends at its baseline of {turns(ends)}"
    if is_a_slip(sitting, entry):
        return A_SLIP
    sitting.log.append("needle", needle=needle, sixteenths=sixteenths, moved=moved)
    place = stands(sitting.state.needles, needle)
    assert place is not None
    sitting.say(f"    {needle} stands at {turns(place.now)}.")
    if needle in without_a_baseline(sitting.knowledge, sitting.state):
        sitting.say(f"    {needle} may have been moved before it was counted, so this is no baseline.")
        ask_where_it_belongs(sitting, needle)
    else:
        _tell_the_rules(sitting, needle)
    if closing and not moved and held:
        sitting.say("    That is further in than it stood, and a weaker mixture is on hold: open it again before it runs.")
    elif closing and inside_its_good_count(sitting.state.needles, needle):
        sitting.say("    That is further in than where it ran well, and lean: open it again before it runs.")
    elif closing and not moved and sitting.examined.conclusions.cured and place.now < place.baseline:
        sitting.say(
            "    That is further in than its baseline, and nobody has seen it run there: open it again before it runs."
        )
    if moved:
        if abs(sixteenths) > EIGHTH:
            sitting.say("    Come closer in small moves: an eighth, then a sixteenth for the last.")
        _tell_other(sitting, needle)
    return ""


COUNTED_BY = {f"{needle.lower()}-turns": needle for needle in NEEDLES}
"""Question that is answered by a count -> the needle it counts."""


def keep_the_count(sitting: Sitting, finding: str, reading: str) -> None:
    """A count that was given as the answer of a check belongs into the ledger as well. One that is not in sixteenths stays
    an answer."""
    if finding in COUNTED_BY and not sitting.state.setting_up:
        enter(sitting, COUNTED_BY[finding], reading)


def _tell_other(sitting: Sitting, needle: str) -> None:
    """What a move of this needle does to the work of the other, by the kind of carburettor."""
    other = NEEDLES[1 - NEEDLES.index(needle)]
    kind = carburettor_of(sitting.knowledge, sitting.state.answers)
    if kind is None:
        sitting.say(f"    Now check {other} too: on many carburettors the two move each other a little.")
        return
    effect = kind.h_moves_l if needle == "H" else kind.l_moves_h
    check = f" Now check {other} too." if other in kind.needles and effect != "hardly" else ""
    sitting.say(f"    {needle} {effect.replace('-', ' ')} moves what {other} does: {kind.name}. {kind.says}{check}")


def ask_where_it_belongs(sitting: Sitting, needle: str) -> None:
    """Ask for the count before the chase: where it stands after that is no baseline. One that was counted already stays
    where it stands."""
    place = stands(sitting.state.needles, needle)
    there = f" {NOT_MOVED!r} if it was not moved," if place else ""

    def understand(line: str) -> NeedleEntry | None:
        if not line.strip() or not_known(line):
            return None
        if place and line.strip().lower() == NOT_MOVED:
            return NeedleEntry(needle, place.now, False, said=True)
        try:
            return belonging(sitting, needle, line)
        except (NotAReading, NotAMove) as error:
            raise NotUnderstood(str(error)) from None

    asked = f"Where did the {needle} needle stand when it ran well? Turns out,{there} or ? if nobody knows."
    belongs = sitting.inquire(asked, understand)
    if belongs is None:
        sitting.log.append("no-baseline", needle=needle)
        return
    write_where_it_belongs(sitting, needle, belongs.sixteenths)


def belonging(sitting: Sitting, needle: str, text: str) -> NeedleEntry:
    """The count that was typed as where a needle belongs. Raises NotAReading, NotAMove or NotUnderstood."""
    entry = entry_of(sitting, needle, text)
    if entry.moved:
        raise NotUnderstood("a count is wanted here, such as 1 1/4")
    if is_a_slip(sitting, entry):
        raise NotUnderstood(A_SLIP)
    return entry


def write_where_it_belongs(sitting: Sitting, needle: str, sixteenths: int) -> None:
    sitting.log.append("needle", needle=needle, sixteenths=sixteenths, moved=False, said=True)
    sitting.say(
        f"    {needle} belongs at {turns(sixteenths)}: that is its baseline. Mistyped? 'needle undo' takes it back."
    )
    _tell_the_rules(sitting, needle)


def _tell_the_rules(sitting: Sitting, needle: str) -> None:
    """Once the ledger holds both where a needle was found and where it belongs, the rules hear of it, unless somebody has
    answered that already. Only who stands there knows that it was not turned since the trouble showed."""
    finding = f"{needle.lower()}-against-count"
    found = counted_as_found(sitting.state, needle)
    if found is None or finding not in sitting.knowledge.findings or sitting.state.setting_up:
        return
    known = sitting.state.answers.get(finding)
    if known and (finding not in sitting.state.by_ledger or known == against_its_count(found)):
        return
    where = f"stands {found.off}" if found.moved_by else f"stands at its baseline of {turns(found.baseline)}"
    asked = f"{needle} {where}. Did it stand there when the trouble showed?"
    if sitting.choose(["yes, as it was found", "no, it was turned since, or nobody knows"], asked) == 0:
        last = max(entry.number for entry in sitting.state.needles if entry.needle == needle)
        sitting.log.append("answer", finding=finding, answer=against_its_count(found), by_entry=last)


def write_as_good(sitting: Sitting, place: NeedleStands) -> None:
    sitting.log.append("needle", needle=place.needle, sixteenths=place.now, moved=False, good=True)
    sitting.say(f"    {place.needle} is good at {turns(place.now)}. That is its baseline from now on.")


def say_what_is_written(sitting: Sitting, needle: str) -> None:
    """After something of a needle was taken back: what the ledger says now, which the needle itself does not follow."""
    place = stands(trusted_here(sitting), needle)
    now = f"{needle} at {turns(place.now)}" if place else f"not where {needle} stands"
    sitting.say(f"    The ledger says {now}. The needle itself has not turned: if it stands elsewhere, write that.")


def show_ledger(sitting: Sitting) -> None:
    unknown = places_unknown(sitting.knowledge, sitting.state)
    no_baseline = baseless(sitting.state)
    sitting.show(screens.ledger(sitting.state.needles, unknown, no_baseline, may_close(sitting), sitting.width))
