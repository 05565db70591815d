"""The needle ledger at the prompt: what is typed of the needles, kept or refused, and the next move."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ..bench.needles import history
from ..case.ledger import (
    NeedleEntry,
    NeedleStands,
    NotAMove,
    check_entry,
    doubtful,
    good_at,
    inside_its_good_count,
    last_entry,
    stands,
    told,
    turned,
    weakens,
)
from ..case.readings import NotAReading, parse_turns, turns
from ..drawing.terminal import draw
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.setup_model import NEEDLES
from ..planning.needles import (
    EIGHTH,
    SIXTEENTH,
    against_its_count,
    baseless,
    brought_in_since,
    carburettor_of,
    counted_as_found,
    in_words,
    lost,
    moved_in_the_chase,
    next_move,
    places_unknown,
    trusted,
    turned_since,
    way_back_ends,
    without_a_baseline,
)
from . import screens
from .choices import NotUnderstood, not_known

if TYPE_CHECKING:
    from .sitting import Sitting

NOT_YET_GOOD = ("run", "run-at-power")
"""While any of these holds stands it has not run well at work, so no count is good."""

PLOT_ROWS = 8

NOT_MOVED = "same"
"""Typed where it is asked for the count at which a needle ran well, of one that stands there still."""

A_SLIP = "not written down; type it again"

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
            tell_where_it_belongs(sitting, entry)
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
    _show_ledger(sitting)
    if turned(entries):
        sitting.say()
        sitting.show((line, "") for line in draw(history(entries), sitting.width, PLOT_ROWS))


def _show_ledger(sitting: Sitting) -> None:
    unknown = places_unknown(sitting.knowledge, sitting.state)
    no_baseline = baseless(sitting.state)
    sitting.show(screens.ledger(sitting.state.needles, unknown, no_baseline, _may_close(sitting), sitting.width))


def _trusted(sitting: Sitting) -> tuple[NeedleEntry, ...]:
    return trusted(sitting.knowledge, sitting.state)


def _may_close(sitting: Sitting) -> bool:
    return not sitting.examined.conclusions.held(NEEDLE_HOLDS)


def _show_holds(sitting: Sitting, holds: Sequence[str]) -> None:
    for hold in holds:
        sitting.show(screens.hold(sitting.knowledge, sitting.examined.conclusions, hold, sitting.width))


def suggest(sitting: Sitting) -> None:
    """The next move, or why there is none."""
    move = next_move(sitting.knowledge, sitting.examined.conclusions, _trusted(sitting))
    if move is None:
        sitting.say("    Nothing that was answered says which way a needle should go. Leave both where they stand.")
        return
    sitting.say(f"    {move.because}")
    _show_holds(sitting, move.held or move.spared)
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


def say_what_is_written(sitting: Sitting, needle: str) -> None:
    """After something of a needle was taken back: what the ledger says now, which the needle itself does not follow."""
    place = stands(_trusted(sitting), needle)
    now = f"{needle} at {turns(place.now)}" if place else f"not where {needle} stands"
    sitting.say(f"    The ledger says {now}. The needle itself has not turned: if it stands elsewhere, write that.")


def back_to_baseline(sitting: Sitting) -> bool:
    """The way back for each needle; what would weaken the mixture is refused under a hold."""
    places = [place for needle in NEEDLES if (place := stands(_trusted(sitting), needle)) is not None]
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
        _show_holds(sitting, held)
        sitting.say(f"    Refused for {' and '.join(place.needle for place in waiting)} while the hold stands.")
    allowed = [place for place in away if place not in waiting]
    if not allowed:
        return False
    for place in allowed:
        sitting.say(f"    {place.needle}: {place.way_back()}")
    sitting.say("Engine stopped. Are they back there?", "ask")
    if sitting.choose(["yes, write it down", "no, leave it"]):
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


def tell_where_it_belongs(sitting: Sitting, typed: str) -> None:
    """`needle baseline H 1 1/4`: where it stood when it ran well, as somebody says."""
    needle, _, text = typed.partition(" ")
    needle = needle.upper()
    if needle not in NEEDLES or not text:
        sitting.say("    Write the needle and the count at which it ran well, such as: needle baseline H 1 1/4")
        return
    try:
        entry = _belonging(sitting, needle, text)
    except (NotAReading, NotAMove, NotUnderstood) as error:
        sitting.say(f"    {error}.")
        return
    place = stands(_to_go_by(sitting), needle)
    if place and entry.sixteenths < place.baseline:
        if sitting.examined.conclusions.cured:
            sitting.say(f"    Refused: it ran well further out, and its baseline is {turns(place.baseline)}.")
            return
        sitting.say(f"    That is further in than its baseline of {turns(place.baseline)}. Is it so?")
        if sitting.choose(["yes, write it down", "no, a slip"]):
            return
    _write_where_it_belongs(sitting, needle, entry.sixteenths)


def call_good(sitting: Sitting, named: str) -> bool:
    """The engine runs well here: the present counts are the baseline from now on."""
    wanted = NEEDLES if not named else (named.upper(),)
    places = [place for needle in wanted if (place := stands(_trusted(sitting), needle)) is not None]
    if not places:
        sitting.say("    Count the needle first, such as: needle H 1 1/4")
        return False
    held = sitting.examined.conclusions.held(NOT_YET_GOOD)
    if held:
        _show_holds(sitting, held)
        sitting.say("    Refused: a count is good when the engine has run well on it, at work too.")
        return False
    move = next_move(sitting.knowledge, sitting.examined.conclusions, _trusted(sitting))
    if move is not None and move.needle in [place.needle for place in places]:
        sitting.say(f"    {move.because}")
        sitting.say(f"    That speaks against {move.needle} where it stands. Good even so?")
        if sitting.choose(["no, it is not good yet", "yes, it runs well there, at work too"]) == 0:
            return True
    for place in places:
        if brought_in_since(sitting.knowledge, sitting.state, place.needle):
            sitting.say(f"    {place.needle} was brought in since the last good run: run it there first.")
        else:
            _write_as_good(sitting, place)
    return True


def keep_as_good(sitting: Sitting, needle: str) -> None:
    """A needle that the repair set, and that stood the retests, is good there: the count with the fault is no baseline."""
    place = stands(_trusted(sitting), needle)
    if place is None:
        sitting.say(f"    {needle} is not written down as good: where it stands is not known.")
    elif brought_in_since(sitting.knowledge, sitting.state, needle):
        sitting.say(f"    {needle} is not written down as good: it was brought in since the last good run.")
    else:
        _write_as_good(sitting, place)


def _write_as_good(sitting: Sitting, place: NeedleStands) -> None:
    sitting.log.append("needle", needle=place.needle, sixteenths=place.now, moved=False, good=True)
    sitting.say(f"    {place.needle} is good at {turns(place.now)}. That is its baseline from now on.")


def enter(sitting: Sitting, needle: str, text: str) -> str:
    """Record a count or move, asked for once more when it is hard to believe; return what forbids it, or '' when it is
    recorded."""
    try:
        entry = _entry(sitting, needle, text)
    except (NotAReading, NotAMove) as error:
        return str(error)
    sixteenths, moved = entry.sixteenths, entry.moved
    closing = weakens(_to_go_by(sitting), entry)
    held = sitting.examined.conclusions.held(NEEDLE_HOLDS)
    if closing and moved and held:
        _show_holds(sitting, held)
        return "refused: that move would weaken the mixture while the hold stands"
    before = stands(_to_go_by(sitting), needle)
    if closing and moved and before and sitting.examined.conclusions.cured:
        ends = way_back_ends(sitting.knowledge, sitting.state, needle)
        if ends is None:
            return f"refused: {needle} stays where it ran well"
        if before.now + sixteenths < ends:
            return f"refused: the way back ends at its baseline of {turns(ends)}"
    if _is_a_slip(sitting, entry):
        return A_SLIP
    sitting.log.append("needle", needle=needle, sixteenths=sixteenths, moved=moved)
    place = stands(sitting.state.needles, needle)
    assert place is not None
    sitting.say(f"    {needle} stands at {turns(place.now)}.")
    if needle in without_a_baseline(sitting.knowledge, sitting.state):
        sitting.say(f"    {needle} may have been moved before it was counted, so this is no baseline.")
        _ask_where_it_belongs(sitting, needle)
    _tell_the_rules(sitting, needle)
    if closing and not moved and held:
        sitting.say("    That is further in than it stood, and a weaker mixture is on hold: open it again before it runs.")
    elif inside_its_good_count(sitting.state.needles, needle):
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


def _entry(sitting: Sitting, needle: str, text: str) -> NeedleEntry:
    """Return the count or move that was typed. Raises NotAReading, or NotAMove for what is impossible."""
    entry = NeedleEntry(needle, *parse_turns(text))
    check_entry(_to_go_by(sitting), entry)
    return entry


def _to_go_by(sitting: Sitting) -> list[NeedleEntry]:
    """The ledger that an entry is measured by: what a repair turned may be told by its move, a needle that is lost only
    by a count."""
    return [entry for entry in sitting.state.needles if entry.needle not in lost(sitting.state)]


def _is_a_slip(sitting: Sitting, entry: NeedleEntry) -> bool:
    """Ask whether an entry that is hard to believe was a slip; any other is none."""
    doubt = doubtful(_to_go_by(sitting), entry)
    if not doubt:
        return False
    sitting.say(f"    {doubt}. Is it so?")
    return sitting.choose(["yes, write it down", "no, a slip"]) == 1


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


def ask_where(sitting: Sitting, needle: str) -> bool:
    """Ask where a needle stands and write it into the ledger; False when it was not counted."""
    sitting.say()
    counted = stands(_to_go_by(sitting), needle) is not None
    move = " a move (such as +1/8)," if counted else ""
    sitting.say(
        f"Where does the {needle} needle stand now? Turns out from lightly seated (such as 1 1/4),{move}"
        " or ? if it was not counted.",
        "ask",
    )

    def understand(line: str) -> bool:
        if not line.strip() or not_known(line):
            return False
        trouble = enter(sitting, needle, line)
        if trouble:
            raise NotUnderstood(trouble)
        return True

    written = sitting.read(understand)
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
        while (inside := inside_its_good_count(_trusted(sitting), needle)) > SIXTEENTH:
            good = good_at(sitting.state.needles, needle) or 0
            sitting.say()
            sitting.say(f"{needle} stands {turns(inside)} further in than where it ran well ({turns(good)}).", "warning")
            sitting.say("    That is lean, and a retest runs it at work. Engine stopped: open it first.")
            opened, slowly = f"opened to {turns(good)} now", "it came in a sixteenth at a time, a run after each"
            chosen = sitting.choose([opened, "it was miscounted", slowly])
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
        _ask_where_it_belongs(sitting, needle)
    for needle in moved_in_the_chase(sitting.knowledge, sitting.state):
        place = stands(sitting.state.needles, needle)
        if place is None:
            sitting.say()
            sitting.say(
                f"A needle was moved before or while the fault was looked for, and {needle} was never counted.", "head"
            )
            if not _asked_where_it_belongs(sitting, needle):
                _ask_where_it_belongs(sitting, needle)
            sitting.say("    Engine stopped: count it in, lightly, and leave it where you found it.")
            _count_or_leave_open(sitting, needle)
        elif needle in baseless(sitting.state):
            continue
        elif place.moved_by or not any(entry.moved and entry.needle == needle for entry in sitting.state.needles):
            _ask_if_back(sitting, place)


def _asked_where_it_belongs(sitting: Sitting, needle: str) -> bool:
    return needle in baseless(sitting.state) or any(e.needle == needle and e.said for e in sitting.state.needles)


def _ask_where_it_belongs(sitting: Sitting, needle: str) -> None:
    """Ask for the count before the chase: where it stands after that is no baseline. One that was counted already stays
    where it stands."""
    place = stands(sitting.state.needles, needle)
    there = f" {NOT_MOVED!r} if it was not moved," if place else ""
    sitting.say(f"Where did the {needle} needle stand when it ran well? Turns out,{there} or ? if nobody knows.", "ask")

    def understand(line: str) -> NeedleEntry | None:
        if not line.strip() or not_known(line):
            return None
        if place and line.strip().lower() == NOT_MOVED:
            return NeedleEntry(needle, place.now, False, said=True)
        try:
            return _belonging(sitting, needle, line)
        except (NotAReading, NotAMove) as error:
            raise NotUnderstood(str(error)) from None

    belongs = sitting.read(understand)
    if belongs is None:
        sitting.log.append("no-baseline", needle=needle)
        return
    _write_where_it_belongs(sitting, needle, belongs.sixteenths)


def _belonging(sitting: Sitting, needle: str, text: str) -> NeedleEntry:
    """The count that was typed as where a needle belongs. Raises NotAReading, NotAMove or NotUnderstood."""
    entry = _entry(sitting, needle, text)
    if entry.moved:
        raise NotUnderstood("a count is wanted here, such as 1 1/4")
    if _is_a_slip(sitting, entry):
        raise NotUnderstood(A_SLIP)
    return entry


def _write_where_it_belongs(sitting: Sitting, needle: str, sixteenths: int) -> None:
    sitting.log.append("needle", needle=needle, sixteenths=sixteenths, moved=False, said=True)
    sitting.say(f"    {needle} belongs at {turns(sixteenths)}: that is its baseline.")
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
    sitting.say(f"{needle} {where}. Did it stand there when the trouble showed?", "ask")
    if sitting.choose(["yes, as it was found", "no, it was turned since, or nobody knows"]) == 0:
        last = max(entry.number for entry in sitting.state.needles if entry.needle == needle)
        sitting.log.append("answer", finding=finding, answer=against_its_count(found), by_entry=last)


def _ask_if_back(sitting: Sitting, place: NeedleStands) -> None:
    """Ask where a needle was left, and write it into the ledger. Nothing is asked to be closed under a hold."""
    off = f" and stood {place.off}" if place.moved_by else ""
    sitting.say()
    sitting.say(f"{place.needle} was moved while the fault was looked for{off}. Where does it stand now?", "ask")
    if place.moved_by > 0 and not _may_close(sitting):
        sitting.say("    Going back is on hold. Open is the safe side: leave it, and it is written into the report.")
    offers: dict[str, Callable[[], object]] = {
        f"at its baseline of {turns(place.baseline)}, brought back": lambda: _write_it_back(sitting, place)
    }
    if place.moved_by:
        offers[f"still at {turns(place.now)}"] = lambda: None
    offers["elsewhere, or it has to be counted"] = lambda: _count_or_leave_open(sitting, place.needle)
    list(offers.values())[sitting.choose(list(offers))]()


def _write_it_back(sitting: Sitting, place: NeedleStands) -> None:
    if not place.moved_by:
        sitting.log.append("needle", needle=place.needle, sixteenths=place.baseline, moved=False)
        return
    sitting.log.append("needle", needle=place.needle, sixteenths=-place.moved_by, moved=True)
    if place.moved_by > 0 and not _may_close(sitting):
        by = turns(place.moved_by).split(" turn")[0]
        sitting.say("    That is further in than it stood, and a weaker mixture is on hold: open it again before it runs,")
        sitting.say(f"    and write it down: needle {place.needle} +{by}")
    else:
        sitting.say("    It ran last where it stood before: run it once more, restrained, before it works again.")


def _count_or_leave_open(sitting: Sitting, needle: str) -> None:
    if not ask_where(sitting, needle):
        sitting.log.append("uncounted", needle=needle)


def show_what_stands_off(sitting: Sitting) -> None:
    """Show the ledger while a needle stands off its baseline; the way back keeps the holds."""
    places = [place for needle in NEEDLES if (place := stands(sitting.state.needles, needle)) is not None]
    if any(place.moved_by for place in places):
        _show_ledger(sitting)
