"""The needles: where they stand, how they got there, what a small move does there, and the next move."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from types import MappingProxyType

from ..case.ledger import NeedleEntry, NotAMove, check_entry, stands
from ..case.log import LogTrouble, read_log
from ..case.readings import SIXTEENTHS, turns
from ..case.state import CaseState, replay
from ..drawing.chart import Axis, Chart, Mark, Trace
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.model import Knowledge
from ..knowledge.setup_model import NEEDLES, OUT
from ..planning.examine import as_known_today
from ..planning.needles import (
    EIGHTH,
    NextMove,
    carburettor_of,
    in_words,
    next_move,
    size_out,
    told_by_ledger,
    tried,
    trusted,
)
from ..reasoning.reason import reason
from .calculator import Calculator, Given, Input, NotPossible, Page, Row

ON_HOLD = (
    "No needle is brought in on this page: nothing here shows that the engine is rich, and lean costs the engine."
    " Walk it with 'diagnose', and let two signs that do not hang together prove it."
)

INPUTS = (
    Input("case", "A case log to read the needles from, with what was found of the engine", file=True),
    Input("h", "H: its count from lightly seated, then every move, plus is out", "turn", -6, 6, many=True),
    Input("l", "L: its count from lightly seated, then every move, plus is out", "turn", -6, 6, many=True),
    Input("runs", "How does it run?", choices=MappingProxyType({
        "lean-at-power": "lean when it works: it sags, surges, or rises before it sags",
        "lean-at-idle": "lean at idle: it hangs high, or stumbles as the throttle opens",
        "rich-at-power": "rich when it works: it burbles under load",
        "rich-at-idle": "rich at idle: it loads up and coughs itself clear",
    })),
)  # fmt: skip


def most_changed(turns_out: float, move: float) -> float:
    """Return by how much a move changes what a needle passes, at most, as a share. Both in turns.

    The way past a cone in its seat is A = pi x sin(a) (D - x sin(a) cos(a)) with x = turns times pitch, the side of a
    frustum. It grows less than in proportion to x, whatever the angle a and the bore D are; so no move out of `turns_out`
    changes it by more than move / turns_out. inf for a needle that is seated.
    """
    return math.inf if turns_out <= 0 else abs(move) / turns_out


def history(entries: Sequence[NeedleEntry]) -> Chart:
    """Return where each needle stood after every entry of the ledger, in turns out from lightly seated."""
    numbers = list(range(1, len(entries) + 1))
    traces = []
    for needle in NEEDLES:
        places = [stands(entries[:number], needle) for number in numbers]
        if any(places):
            heights = [math.nan if place is None else place.now / SIXTEENTHS for place in places]
            traces.append(Trace(needle, numbers, heights))
    marks = tuple(Mark(f"{entry.needle} good", number) for number, entry in enumerate(entries, 1) if entry.good)
    turned = Axis("turns out from lightly seated")
    return Chart("The needles over every count and move", Axis("entry"), turned, tuple(traces), (), marks)


def work(given: Given) -> Page:
    """Return the page of counts and moves that were given. Raises NotPossible for a case: only rules can judge one."""
    if "case" in given:
        raise NotPossible("a case is read with the rules; there are none here")
    return _page(given, CaseState(), None)


def by_rules(given: Given, rules: Callable[[], Knowledge]) -> Page:
    """Return the page of a case's needles as the rules judge it, or of counts and moves that were given."""
    return _page(given, _case(str(given["case"])), rules()) if "case" in given else work(given)


def _page(given: Given, state: CaseState, knowledge: Knowledge | None) -> Page:
    entries = list(trusted(knowledge, state)) if knowledge else []
    for needle in NEEDLES:
        entries += _entries(entries, needle, given.get(needle.lower(), ()))
    if not entries:
        raise NotPossible("no needle was counted; give a case, or --h and --l with the count first and then every move")
    if knowledge is None:
        move, may_close, says = _by_word(entries, str(given.get("runs", "")))
    else:
        move, may_close, says = _by_case(knowledge, state, entries)
    rows: list[Row] = []
    for needle in NEEDLES:
        place = stands(entries, needle)
        if place is None:
            continue
        out = place.now / SIXTEENTHS
        rows.append(Row(f"{needle.lower()}-turns", needle, out, "turn", f"{turns(place.now)} out; {place.told(may_close)}"))
        if place.now:
            changed = 100 * most_changed(out, EIGHTH / SIXTEENTHS)
            written = f"at most {changed:.0f} % of what it passes here"
            rows.append(Row(f"{needle.lower()}-eighth", f"An eighth of {needle}", changed, "percent", written))
    return Page(
        title="The needles",
        rows=tuple(rows),
        says=(*([_said(move)] if move else []), *says),
        sources=(
            "A move counts at most in proportion to the turns: the side of a cone's frustum, A = pi x sin(a) (D - x sin(a)"
            " cos(a)), grows less than x. A rounded tip or fuel that goes round the needle makes it less still.",
            "Steps of a quarter, an eighth and a sixteenth, from the rich side: common practice.",
        ),
        cautions=("lean-run", "needle-while-running", "seat-lightly"),
        findings=MappingProxyType(told_by_ledger(entries)),
        charts=(history(entries),),
    )


def _case(path: str) -> CaseState:
    try:
        return replay(read_log(Path(path)).events)
    except LogTrouble as trouble:
        raise NotPossible(str(trouble)) from None


def _entries(before: Sequence[NeedleEntry], needle: str, given: object) -> list[NeedleEntry]:
    """Counts and moves as they were given: the first is a count where the needle was not counted before."""
    entries: list[NeedleEntry] = []
    for value in given if isinstance(given, tuple) else ():
        count = value * SIXTEENTHS
        if abs(count - round(count)) > 1e-6:
            raise NotPossible(
                f"{needle.lower()}: {value:g} turns is not in sixteenths; the nearest is {turns(round(count))}"
            )
        moved = stands([*before, *entries], needle) is not None
        entry = NeedleEntry(needle, round(count), moved)
        try:
            check_entry([*before, *entries], entry)
        except NotAMove as error:
            raise NotPossible(f"{needle.lower()}: {error}") from None
        entries.append(entry)
    return entries


Advice = tuple[NextMove | None, bool, list[str]]
"""The next move where it may be said, whether a needle may be brought in, and what else is to be said."""


def _by_case(knowledge: Knowledge, state: CaseState, entries: Sequence[NeedleEntry]) -> Advice:
    conclusions = reason(knowledge, as_known_today(knowledge, state).answers)
    holds = conclusions.held(NEEDLE_HOLDS)
    says = [f"On hold: {knowledge.holds[hold].name}. {knowledge.holds[hold].says}" for hold in holds]
    kind = carburettor_of(knowledge, state.answers)
    move = next_move(knowledge, conclusions, entries)
    return move if move and not move.held else None, not holds, [*says, *([str(kind.says)] if kind else [])]


def _by_word(entries: Sequence[NeedleEntry], runs: str) -> Advice:
    """Somebody's word that it is lean is enough to open a needle. That it is rich is proved in a walk, or not at all."""
    if not runs:
        return None, False, []
    side, _, where = runs.partition("-at-")
    needle = "H" if where == "power" else "L"
    if side == "rich":
        return None, False, [ON_HOLD]
    place = stands(entries, needle)
    size = EIGHTH if place is None else size_out(place, tried(entries, needle))
    return NextMove(needle, OUT, size, "It is lean.", counted=place is not None), False, []


def _said(move: NextMove) -> str:
    return f"{move.because} {in_words(move)}"


CALCULATOR = Calculator(
    "needles", "The needles: where they stand, how they got there, and the next move", INPUTS, work, by_rules=by_rules
)
