"""The needle ledger: every count and move in sixteenths of a turn, and how to put it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .readings import turns

MOST_OPEN = 6 * 16
"""A needle further out than six turns is about to fall out; nobody sets one there."""


SELDOM_OPEN = 4 * 16
"""A needle further out than four turns is more often miscounted than set there."""

SELDOM_TURNED = 16
"""Nobody turns a needle by more than a turn at once; a count so far from the one before is more often a slip."""


@dataclass(frozen=True, slots=True)
class NeedleEntry:
    """A count from lightly seated (`moved` False), or a move from where it stood; plus is out, richer.

    number    of its event in the log; 0: it came from another case, and is not taken back here
    good      a count at which the engine runs well: the baseline from then on
    said      where it belongs, as somebody says: the baseline from then on, and no count of where it stands
    """

    needle: str
    sixteenths: int
    moved: bool
    at: str = ""
    number: int = 0
    good: bool = False
    said: bool = False


@dataclass(frozen=True, slots=True)
class NeedleStands:
    """Where a needle stands, and its baseline: the last count that was good, or where it is said to belong, else the first
    count. Sixteenths from lightly seated."""

    needle: str
    baseline: int
    now: int

    @property
    def moved_by(self) -> int:
        return self.now - self.baseline

    def way_back(self) -> str:
        """Say how to return to the baseline. Closing back is the only direction that weakens the mixture."""
        if not self.moved_by:
            return "at its baseline"
        direction = "in" if self.moved_by > 0 else "out"
        return f"{turns(abs(self.moved_by))} {direction} to its baseline of {turns(self.baseline)}"

    @property
    def off(self) -> str:
        """How far it stands from its baseline, for one that does not stand there."""
        side = "out" if self.moved_by > 0 else "in"
        return f"{turns(abs(self.moved_by))} further {side} than its baseline of {turns(self.baseline)}"

    def told(self, may_close: bool) -> str:
        """Say how it stands against its baseline; the way back only where it opens, or closing is allowed now."""
        if self.moved_by > 0 and not may_close:
            return f"{self.off}; going back is on hold"
        return self.way_back()


class NotAMove(ValueError):
    """The needle cannot be moved so; the message says why."""


def stands(entries: Sequence[NeedleEntry], needle: str) -> NeedleStands | None:
    """Return where the needle stands after these entries, or None while it has never been counted."""
    baseline = now = None
    for entry in entries:
        if entry.needle != needle:
            continue
        if entry.moved:
            now = (now or 0) + entry.sixteenths
        elif entry.said:
            baseline = entry.sixteenths
        else:
            baseline = entry.sixteenths if baseline is None or entry.good else baseline
            now = entry.sixteenths
    return None if baseline is None or now is None else NeedleStands(needle, baseline, now)


def good_at(entries: Sequence[NeedleEntry], needle: str) -> int | None:
    """Return the count at which the needle last ran well, by a good run or by somebody's word; None while nobody knows."""
    known = [entry.sixteenths for entry in entries if entry.needle == needle and (entry.good or entry.said)]
    return known[-1] if known else None


def first_count(entries: Sequence[NeedleEntry], needle: str) -> int | None:
    """Return what was first counted of a needle in this case, as found where nobody had turned it before; None for none."""
    counts = (e.sixteenths for e in entries if e.needle == needle and e.number and not e.moved and not e.said)
    return next(counts, None)


def inside_its_good_count(entries: Sequence[NeedleEntry], needle: str) -> int:
    """Return by how many sixteenths a needle stands further in than where it ran well: lean by that much; 0 where it does
    not, or nobody knows."""
    place, good = stands(entries, needle), good_at(entries, needle)
    return 0 if place is None or good is None else max(0, good - place.now)


def turned(entries: Sequence[NeedleEntry]) -> bool:
    """True if a needle stood at more than one place: then there is a way of it to be drawn."""
    counted = {(entry.needle, entry.sixteenths) for entry in entries if not entry.moved and not entry.said}
    return any(entry.moved for entry in entries) or len(counted) > len({needle for needle, _ in counted})


def check_entry(entries: Sequence[NeedleEntry], entry: NeedleEntry) -> None:
    """Raise NotAMove when the entry is impossible: a move before a count, past seated, or out of its thread."""
    before = stands(entries, entry.needle)
    if entry.moved and before is None:
        raise NotAMove(
            f"the {entry.needle} needle has not been counted yet; with the engine stopped, count it from lightly"
            f" seated, set it back where it was, and write for instance: needle {entry.needle} 1 1/4"
        )
    now = entry.sixteenths + (before.now if entry.moved and before else 0)
    if now < 0:
        raise NotAMove(
            f"that would be past lightly seated; the {entry.needle} needle stands at {turns(before.now if before else 0)}"
        )
    if now > MOST_OPEN:
        raise NotAMove(f"{turns(now)} is further out than {turns(MOST_OPEN)}; count again from lightly seated")


def doubtful(entries: Sequence[NeedleEntry], entry: NeedleEntry) -> str:
    """Say why a possible entry is hard to believe; '' when it is not."""
    before = stands(entries, entry.needle)
    now = entry.sixteenths + (before.now if entry.moved and before else 0)
    if now > SELDOM_OPEN:
        return f"{turns(now)} out is further than a needle is set"
    good = good_at(entries, entry.needle)
    opens = before is not None and now > before.now
    if good is not None and now < good - 1 and not (entry.said or opens):
        return f"{turns(now)} is {turns(good - now)} further in than where {entry.needle} ran well ({turns(good)})"
    if before and abs(now - before.now) > SELDOM_TURNED:
        return f"{turns(now)} is {turns(abs(now - before.now))} away from where {entry.needle} stood ({turns(before.now)})"
    return ""


def last_entry(entries: Sequence[NeedleEntry], needle: str = "") -> NeedleEntry | None:
    """Return the entry that can be taken back: the last one made in this case, of this needle or ('') of any."""
    return next((entry for entry in reversed(entries) if entry.number and needle in ("", entry.needle)), None)


def told(entry: NeedleEntry) -> str:
    """An entry in words: `counted at 1 1/4 turns`, `said to belong at 1 1/4 turns`, `moved 1/8 turn out`."""
    if entry.moved:
        return f"moved {turns(abs(entry.sixteenths))} {'out' if entry.sixteenths > 0 else 'in'}"
    if entry.said:
        return f"said to belong at {turns(entry.sixteenths)}"
    return f"{'good at' if entry.good else 'counted at'} {turns(entry.sixteenths)}"


def weakens(entries: Sequence[NeedleEntry], entry: NeedleEntry) -> bool:
    """True if this entry leaves the needle further in than it stood: a weaker mixture."""
    before = stands(entries, entry.needle)
    if entry.moved:
        return entry.sixteenths < 0
    return before is not None and entry.sixteenths < before.now
