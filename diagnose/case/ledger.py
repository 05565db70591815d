"""The needle ledger: every count and move in sixteenths of a turn, and how to put it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .readings import turns

MOST_OPEN = 6 * 16
"""A needle further out than six turns is about to fall out; nobody sets one there."""

NEEDLES = ("H", "L")


@dataclass(frozen=True, slots=True)
class NeedleEntry:
    """A count from lightly seated (`moved` False), or a move from where it stood; plus is out, richer."""

    needle: str
    sixteenths: int
    moved: bool
    at: str = ""


@dataclass(frozen=True, slots=True)
class NeedleStands:
    """Where a needle stands and what it was first counted at, in sixteenths from lightly seated."""

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
        else:
            baseline = entry.sixteenths if baseline is None else baseline
            now = entry.sixteenths
    return None if baseline is None or now is None else NeedleStands(needle, baseline, now)


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


def weakens(entries: Sequence[NeedleEntry], entry: NeedleEntry) -> bool:
    """True if this entry leaves the needle further in than it stood: a weaker mixture."""
    before = stands(entries, entry.needle)
    if entry.moved:
        return entry.sixteenths < 0
    return before is not None and entry.sixteenths < before.now
