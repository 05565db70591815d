"""What the rules know of setting an engine up: the steps, the kinds of carburettor, and which way a needle goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .source import Place, Text

if TYPE_CHECKING:
    from .model import Step


@dataclass(frozen=True, slots=True)
class SetupStep:
    """One step of the set-up list, from the bare carburettor to the first flight.

    after     the step behind which it comes; None: where it is written
    asks      findings asked with it that stay true: what the machine is
    finds     findings asked with it that are true of this set-up only: what it does now
    counts    needles that are counted with it
    settles   needles whose count is good from then on, and their baseline
    makes     finding -> answer that is so once it was done, for the rest of this set-up only: bolts do not stay tight
    done, not_done    finding -> answer that is kept for faults that come later
    """

    id: Text
    name: Text
    why: Text
    minutes: float
    tools: tuple[Text, ...]
    engine: Text
    needs: tuple[Text, ...]
    cautions: tuple[Text, ...]
    under: tuple[Text, ...]
    steps: tuple[Step, ...]
    after: Text | None
    asks: tuple[Text, ...]
    finds: tuple[Text, ...]
    counts: tuple[Text, ...]
    settles: tuple[Text, ...]
    makes: Mapping[Text, Text]
    done: Mapping[Text, Text]
    not_done: Mapping[Text, Text]
    basis: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Carburettor:
    """A kind of carburettor, and what moving one needle does to the work of the other.

    told_by       finding -> answer by which it is known
    h_moves_l, l_moves_h    one of EFFECTS, with what is to be done about it in `says`
    """

    id: Text
    name: Text
    told_by: Mapping[Text, Text]
    needles: tuple[Text, ...]
    h_moves_l: Text
    l_moves_h: Text
    says: Text
    basis: Text
    place: Place


EFFECTS = ("hardly", "a-little", "clearly")
"""How far moving one needle moves the mixture that the other one sets."""


@dataclass(frozen=True, slots=True)
class NeedleMove:
    """When one of the conditions `concluded` stands the needle goes `out` (richer) or `in`, because."""

    id: Text
    concluded: tuple[Text, ...]
    needle: Text
    way: Text
    because: Text
    basis: Text
    place: Place


OUT, IN = "out", "in"
WAYS = (OUT, IN)

NEEDLES = ("H", "L")
