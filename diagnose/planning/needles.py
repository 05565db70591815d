"""The next move of a needle: which way, out of what the rules conclude, and how far, out of where it has been.

A needle is always approached from the rich side. Opening goes back to the last place known to be rich, or a quarter
of a turn; coming in again goes by a quarter, an eighth, a sixteenth as it comes closer, and never as far as a place
that was lean. Common practice, down to the last sixteenth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..case.ledger import NeedleEntry, NeedleStands, good_at, stands
from ..case.readings import SIXTEENTHS, turns
from ..case.state import CaseState
from ..knowledge.checker import CLOSE_NEEDLE, NEEDLE_HOLDS
from ..knowledge.model import Answered, Cause, Knowledge, Proves, leaves
from ..knowledge.setup_model import IN, NEEDLES, OUT, Carburettor
from ..reasoning.reason import Conclusions
from .proof import last_run

QUARTER, EIGHTH, SIXTEENTH = 4, 2, 1
"""Steps in sixteenths of a turn."""

FAR = 4
"""Sixteenths outside its baseline past which a rich needle is still far from right, and may come in by a quarter."""


@dataclass(frozen=True, slots=True)
class NextMove:
    """What to do with a needle next.

    sixteenths    how far; 0 when it stands where it ran well, or as close to lean as can be counted, and is left there
    good          it stands where it ran well, and is not brought in past that
    held          the holds that forbid it; while any is named the move is not to be said
    spared        the holds whose one exception it is: opening by an eighth to save the engine
    counted       False: the needle has to be counted before it is moved
    """

    needle: str
    way: str
    sixteenths: int
    because: str
    held: tuple[str, ...] = ()
    spared: tuple[str, ...] = ()
    counted: bool = True
    good: bool = False

    @property
    def typed(self) -> str:
        """The move as the ledger takes it: +1/8."""
        return f"{'+' if self.way == OUT else '-'}{turns(self.sixteenths).split()[0]}"


@dataclass(frozen=True, slots=True)
class Tried:
    """What the moves of one needle have shown, in sixteenths: the furthest place out that was lean, the nearest place
    further out that was rich, and how often it had to be opened again. None: not known."""

    lean: int | None = None
    rich: int | None = None
    turned: int = 0


def next_move(knowledge: Knowledge, conclusions: Conclusions, entries: Sequence[NeedleEntry]) -> NextMove | None:
    """Return the move that what was concluded asks for, opening before closing; None when nothing says which way, or when
    the fault is gone: the needles go back to their counts then, and no further."""
    if conclusions.cured:
        return None
    moves = [move for move in knowledge.needle_moves.values() if any(c in conclusions.conditions for c in move.concluded)]
    for way in (OUT, IN):
        for move in moves:
            if move.way == way:
                held = conclusions.held(NEEDLE_HOLDS)
                return _sized(entries, str(move.needle), way, str(move.because), held)
    return None


def _sized(entries: Sequence[NeedleEntry], needle: str, way: str, because: str, held: tuple[str, ...]) -> NextMove:
    place = stands(entries, needle)
    if way == OUT:
        # While needles are not to be touched at all, an eighth to save the engine is the one exception.
        spared = tuple(hold for hold in held if hold != CLOSE_NEEDLE)
        size = EIGHTH if spared or place is None else size_out(place, tried(entries, needle))
        return NextMove(needle, OUT, size, because, spared=spared, counted=place is not None)
    if place is None:
        return NextMove(needle, IN, EIGHTH, because, held, counted=False)
    size = size_in(place, tried(entries, needle))
    good = good_at(entries, needle)
    if good is None:
        return NextMove(needle, IN, size, because, held)
    if place.now < good:
        return NextMove(needle, OUT, good - place.now, f"{needle} stands further in than where it ran well.")
    return NextMove(needle, IN, min(size, place.now - good), because, held, good=place.now == good)


def tried(entries: Sequence[NeedleEntry], needle: str) -> Tried:
    """Return what the moves of a needle have shown since it was last said to be good.

    What it was opened from was lean, unless it was brought back there; what it was brought in from was rich.
    """
    place = 0
    lean: int | None = None
    rich: set[int] = set()
    turned = 0
    for entry in entries:
        if entry.needle != needle or entry.said:
            continue
        if not entry.moved:
            place = entry.sixteenths
            if entry.good:
                lean, rich, turned = None, set(), 0
            continue
        after = place + entry.sixteenths
        if entry.sixteenths > 0:
            lean = place if lean is None else max(lean, place)
            turned += 1
        else:
            rich.add(place)
            lean = None if lean is not None and after <= lean else lean
        place = after
    outside = [one for one in rich if one > place]
    return Tried(lean, min(outside, default=None), turned)


def size_out(place: NeedleStands, shown: Tried) -> int:
    """Return how far to open: back to where it was rich, so that it is approached from there again; else a quarter."""
    return QUARTER if shown.rich is None else shown.rich - place.now


def size_in(place: NeedleStands, shown: Tried) -> int:
    """Return how far to come in: smaller near the baseline and after every turning back, and never as far as lean."""
    by_turns = (QUARTER, EIGHTH, SIXTEENTH)[min(shown.turned, 2)]
    over = place.moved_by
    by_place = QUARTER if over > FAR else EIGHTH if over > 0 else SIXTEENTH
    room = place.now if shown.lean is None else place.now - shown.lean - 1
    return max(0, min(by_turns, by_place, room))


NEEDLES_BACK = "needles-back"
"""The retest that sees to the needles. The rules that ask for it name the answers that tell of a needle moved."""


def moved_in_the_chase(knowledge: Knowledge, state: CaseState) -> tuple[str, ...]:
    """Return the needles that were moved while the fault was looked for and that no repair has set since: by the ledger,
    and by every answer before a repair or now for which the rules have the needles seen to.

    An answer whose name begins with a needle's letter tells of that needle; any other tells of both, where no repair has
    set one of them: who has chased a fault with one needle has seldom left the other alone.
    """
    by_ledger = {needle for needle in NEEDLES if _moves(state.needles, needle)}
    told = _telling_of_moves(knowledge, state)
    by_name = {needle: {finding for finding in told if finding.startswith(f"{needle.lower()}-")} for needle in NEEDLES}
    named = by_ledger | {needle for needle in NEEDLES if by_name[needle]}
    kind = carburettor_of(knowledge, state.answers)
    fitted = NEEDLES if kind is None else tuple(map(str, kind.needles))
    set_right = _set(knowledge, state)
    unnamed = set(NEEDLES) if set(told).difference(*by_name.values()) and not set_right else set()
    moved = (named | unnamed) - set_right
    return tuple(needle for needle in fitted if needle in moved)


def _telling_of_moves(knowledge: Knowledge, state: CaseState) -> list[str]:
    """The findings whose answers, before a repair or now, have the needles seen to."""
    befores = ({name: given.answer for name, given in before.items()} for before in state.known_before_repairs)
    known = [*befores, state.answers]
    return [
        str(leaf.finding)
        for rule in knowledge.rules.values()
        if isinstance(rule.outcome, Proves) and NEEDLES_BACK in rule.outcome.retests
        for leaf in leaves(rule.when)
        if isinstance(leaf, Answered) and any(leaf.holds(answers) for answers in known)
    ]


def set_by(cause: Cause) -> str:
    """Return the needle that the repair of this cause sets, so that it is good where it was cured; '' for none."""
    return str(cause.fix.needle) if cause.fix.needle and cause.fix.sets else ""


def _done(knowledge: Knowledge, state: CaseState, results: Sequence[str]) -> list[Cause]:
    """The causes whose repair had one of these results, the one included that is still to be proved."""
    done = [repair.cause for repair in state.repairs if repair.result in results]
    return [knowledge.causes[cause] for cause in (*done, state.to_retest) if cause in knowledge.causes]


def _set(knowledge: Knowledge, state: CaseState) -> set[str]:
    """The needles that a repair has set right; one that was set for nothing was only moved once more."""
    return {set_by(cause) for cause in _done(knowledge, state, ("gone", "better", "not-proved"))} - {""}


def way_back_ends(knowledge: Knowledge, state: CaseState, needle: str) -> int | None:
    """Return the count, in sixteenths, to which a needle may be brought in once the fault is gone; None for one that stays
    where it ran well: a repair has set it there, or nobody knows where it belongs."""
    place = stands(state.needles, needle)
    if place is None or needle in _set(knowledge, state) | baseless(state):
        return None
    return place.baseline


def brought_in_since(knowledge: Knowledge, state: CaseState, needle: str) -> bool:
    """True if a needle stands further in than it is known to have stood in the last good run, so that nobody has seen it
    run there."""
    run = last_run(knowledge, state)
    in_the_run = replace(state, needles=tuple(entry for entry in state.needles if entry.number <= run))
    then, now = (stands(trusted(knowledge, one), needle) for one in (in_the_run, state))
    return bool(run and then and now and now.now < then.now)


def baseless(state: CaseState) -> frozenset[str]:
    """Return the needles of which it was asked in vain where they stood when it ran well, and that were not called good
    since: their first count is where the chase had left them."""
    return _in_vain(state.no_baseline, [entry for entry in state.needles if entry.good or entry.said])


def without_a_baseline(knowledge: Knowledge, state: CaseState) -> tuple[str, ...]:
    """Return the needles that answers say were moved and that were only counted here, so that the first count is no
    baseline, and of which it was not asked yet where they stood when it ran well. A move that was written down here
    began at a count that was."""
    founded = {entry.needle for entry in state.needles if entry.good or entry.said or entry.moved or not entry.number}
    told = bool(_telling_of_moves(knowledge, state))
    return tuple(
        needle
        for needle in moved_in_the_chase(knowledge, state)
        if told and needle not in founded | baseless(state) and stands(state.needles, needle) is not None
    )


def lost(state: CaseState) -> frozenset[str]:
    """Return the needles whose count was asked for in vain, and that were not counted since: a move from nowhere leads
    nowhere."""
    return _in_vain(state.uncounted, [entry for entry in state.needles if not entry.moved and not entry.said])


def _in_vain(asked: Sequence[tuple[int, str]], since: Sequence[NeedleEntry]) -> frozenset[str]:
    """The needles that were asked about in vain, as (event, needle), and of which none of these entries was made later."""
    last = {entry.needle: entry.number for entry in since}
    return frozenset(needle for number, needle in asked if number > last.get(needle, 0))


def turned_since(knowledge: Knowledge, state: CaseState) -> frozenset[str]:
    """Return the needles that a repair has turned and of which nothing was written down since."""
    return frozenset(
        str(needle)
        for cause, number in state.begun.items()
        if cause in knowledge.causes and (needle := knowledge.causes[cause].fix.needle)
        if not any(entry.needle == needle and not entry.said and entry.number > number for entry in state.needles)
    )


def places_unknown(knowledge: Knowledge, state: CaseState) -> frozenset[str]:
    """Return the needles of which nobody knows where they stand, though they may have been counted before."""
    return lost(state) | turned_since(knowledge, state)


def trusted(knowledge: Knowledge, state: CaseState) -> tuple[NeedleEntry, ...]:
    """Return the ledger of the needles of which it is known where they stand. The count at which a repair found a needle
    is the one with the fault: once it was turned, nothing is judged by that or goes by it."""
    unknown = places_unknown(knowledge, state)
    return tuple(entry for entry in state.needles if entry.needle not in unknown)


def stands_off(knowledge: Knowledge, state: CaseState, conclusions: Conclusions) -> tuple[str, ...]:
    """Say of each needle that was moved in the chase where it stands off its count, or of any that nobody knows where it
    stands, and what is to be done about it. What a hold forbids is left to a later session, under that hold."""
    says = []
    moved = moved_in_the_chase(knowledge, state)
    unknown = places_unknown(knowledge, state)
    set_right = _set(knowledge, state)
    worked_on = _done(knowledge, state, ("gone", "better", "same", "not-proved"))
    opened = [str(cause.fix.needle) for cause in worked_on if cause.fix.needle and str(cause.fix.needle) not in set_right]
    for needle in NEEDLES:
        place = stands(state.needles, needle)
        if needle in unknown or (needle in moved and place is None):
            how = "moved while the fault was looked for" if needle in moved else "turned by a repair"
            says.append(
                f"{needle} was {how}, and where it stands is not known. Before it is"
                " turned again: engine stopped, count it from lightly seated, write it down and set it back."
            )
        elif place is not None and needle in baseless(state):
            says.append(
                f"{needle} may have been moved before it was counted, and where it belongs is not known. It ran last at"
                f" {turns(place.now)}: leave it there while it runs well. Where it does not, it is set up anew, from the"
                " rich side, and only then does its count become a baseline."
            )
        elif place is not None and place.moved_by and needle in {*moved, *opened}:
            back = _put_back(knowledge, place, conclusions.held(NEEDLE_HOLDS))
            says.append(f"{needle} still stands {place.off}. {back}")
    return tuple(says)


def _put_back(knowledge: Knowledge, place: NeedleStands, held: Sequence[str]) -> str:
    if place.moved_by < 0:
        return "Open it to that count before it runs again."
    if held:
        names = " and ".join(str(knowledge.holds[hold].name) for hold in held)
        return (
            f"Open is the safe side: leave it for now. It goes back in the next session, under the holds ({names}), a"
            " sixteenth at a time with a run after each."
        )
    return "Bring it back in the next session, a sixteenth at a time, with a run after each."


def carburettor_of(knowledge: Knowledge, answers: Mapping[str, str]) -> Carburettor | None:
    """Return the kind of carburettor that the answers tell, the first that fits; None while it is not known."""
    for kind in knowledge.carburettors.values():
        if all(answers.get(finding) == answer for finding, answer in kind.told_by.items()):
            return kind
    return None


def told_by_ledger(entries: Sequence[NeedleEntry]) -> dict[str, str]:
    """Return finding -> answer or reading that a ledger gives: which way the needles have gone, where they stand.

    The findings are those of the base rules; a pack without them takes no harm.
    """
    places = {needle: place for needle in NEEDLES if (place := stands(entries, needle)) is not None}
    if not places:
        return {}
    found = {f"{needle.lower()}-turns": f"{place.now / SIXTEENTHS:g} turns" for needle, place in places.items()}
    found["needle-moves-lately"] = _gone(entries, places)
    if all(any(entry.good and entry.needle == needle for entry in entries) for needle in places):
        found["baseline-known"] = "moved" if any(place.moved_by for place in places.values()) else "at-it"
    return found


def counted_as_found(state: CaseState, needle: str) -> NeedleStands | None:
    """Return where a needle was counted in this case, before anything was moved or repaired, beside the count at which it
    ran well, of a set-up or by somebody's word; None where the ledger does not hold both."""
    entries = [entry for entry in state.needles if entry.needle == needle]
    known = [entry for entry in entries if entry.said or not (entry.number or entry.moved)]
    here = [entry for entry in entries if entry.number and not entry.said]
    if state.begun or not known or not here or any(entry.moved or entry.good for entry in here):
        return None
    return NeedleStands(needle, known[-1].sixteenths, here[-1].sixteenths)


def against_its_count(found: NeedleStands) -> str:
    """Return the answer of `h-against-count` or `l-against-count` for a needle found so."""
    if abs(found.moved_by) <= SIXTEENTH:
        return "at-it"
    return "further-out" if found.moved_by > 0 else "further-in"


def _gone(entries: Sequence[NeedleEntry], places: Mapping[str, NeedleStands]) -> str:
    """Chased: both needles moved, and either of them to and fro, or one in and the other out."""
    ways = {needle: {entry.sixteenths > 0 for entry in _moves(entries, needle)} for needle in places}
    gone = [place.moved_by for place in places.values()]
    if all(ways.values()) and len(ways) == len(NEEDLES) and len(set().union(*ways.values())) == 2:
        return "both-ways"
    if not any(gone):
        return "none"
    return "leaner" if min(gone) < 0 else "richer"


def _moves(entries: Sequence[NeedleEntry], needle: str) -> list[NeedleEntry]:
    """The moves of a needle since its last good count."""
    moves: list[NeedleEntry] = []
    for entry in entries:
        if entry.needle == needle:
            moves = [] if entry.good else [*moves, entry] if entry.moved else moves
    return moves


_SIZES = {QUARTER: "a quarter of a turn", EIGHTH: "an eighth of a turn", SIXTEENTH: "a sixteenth of a turn"}


def in_words(move: NextMove) -> str:
    """Say a move that is not held, and how it is tried. Raises ValueError for one that is held."""
    if move.held:
        raise ValueError(f"{move.needle} {move.way} is on hold")
    if not move.counted:
        return f"Count {move.needle} first, so that there is a way back. Then type 'needle next' again."
    if move.good:
        return (
            f"{move.needle} stands where it ran well, and is not brought in past that. Run it there. If it is still rich,"
            " something else makes it so, or the air is thinner than on that day."
        )
    if not move.sixteenths:
        return (
            f"{move.needle} stands a sixteenth outside the place where it was lean. Closer cannot be counted."
            " Leave it there."
        )
    size = _SIZES.get(move.sixteenths, turns(move.sixteenths))
    verb = f"open {move.needle} by" if move.way == OUT else f"bring {move.needle} in by"
    after = (
        "Past right is the side to be on: it is approached from there."
        if move.way == OUT
        else "Stop at the first sign of lean."
    )
    return f"Next move: {verb} {size}, and try it the same way. {after} Write it down: needle {move.needle} {move.typed}"
