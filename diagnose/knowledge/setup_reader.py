"""Entries about setting up, from text with its place to typed objects."""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType
from typing import TYPE_CHECKING

from .model import ENGINE_STATES
from .setup_model import EFFECTS, NEEDLES, WAYS, Carburettor, NeedleMove, SetupStep
from .source import Items, Text

if TYPE_CHECKING:
    from .fields import Fields


ANSWER_TABLES = frozenset({"makes", "done", "not_done", "told_by"})
"""Fields that hold findings with one answer each."""

NEEDLE_LISTS = frozenset({"counts", "settles", "needles"})
"""Fields that name one needle or both."""


def _setup_step(it: Fields) -> SetupStep:
    return SetupStep(
        id=it.id("setup_step"),
        name=it.text("name"),
        why=it.text("why"),
        minutes=it.number("minutes", 0.05, 1_000),
        tools=it.texts("tools"),
        engine=it.choice("engine", ENGINE_STATES),
        needs=it.ids("needs"),
        cautions=it.ids("cautions"),
        under=it.ids("under"),
        steps=it.steps("steps"),
        after=it.id_or_none("after"),
        asks=it.ids("asks"),
        finds=it.ids("finds"),
        counts=_needles(it, "counts"),
        settles=_needles(it, "settles"),
        makes=_answers(it, "makes"),
        done=_answers(it, "done"),
        not_done=_answers(it, "not_done"),
        basis=it.text("basis"),
        place=it.table.place,
    )


def _carburettor(it: Fields) -> Carburettor:
    return Carburettor(
        id=it.id("carburettor"),
        name=it.text("name"),
        told_by=_answers(it, "told_by", required=True),
        needles=_needles(it, "needles"),
        h_moves_l=it.choice("h_moves_l", EFFECTS),
        l_moves_h=it.choice("l_moves_h", EFFECTS),
        says=it.text("says"),
        basis=it.text("basis"),
        place=it.table.place,
    )


def _needle_move(it: Fields) -> NeedleMove:
    return NeedleMove(
        id=it.id("needle_move"),
        concluded=it.ids("concluded", required=True),
        needle=it.choice("needle", NEEDLES),
        way=it.choice("way", WAYS),
        because=it.text("because"),
        basis=it.text("basis"),
        place=it.table.place,
    )


def _answers(it: Fields, key: str, required: bool = False) -> MappingProxyType[Text, Text]:
    """A table of findings with one answer each."""
    read: dict[Text, Text] = {}
    for finding, node in it.table_of(key, required) or ():
        answer = it.plain(node, finding)
        if answer is not None:
            read[it.an_id(finding)] = it.an_id(answer)
    if required and it.node(key) is not None and not read:
        it.wrong(it.table.place, f"'{key}' names no finding")
    return MappingProxyType(read)


def _needles(it: Fields, key: str) -> tuple[Text, ...]:
    node = it.node(key)
    named = node.items if isinstance(node, Items) else () if node is None else (node,)
    read = tuple(text for one in named if (text := it.plain(one, key)) is not None)
    for text in read:
        it.one_of(text, key, NEEDLES)
    return read


SETUP_READERS: dict[str, Callable[[Fields], object]] = {
    "setup_step": _setup_step,
    "carburettor": _carburettor,
    "needle_move": _needle_move,
}
"""First key of an entry about setting up -> how it is read."""
