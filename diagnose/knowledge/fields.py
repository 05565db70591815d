"""The named fields of one table of a file: texts, ids, lists, choices, numbers and steps. Everything wrong is noted."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches

from .frequency import FREQUENCY
from .model import Step
from .source import Items, Node, Place, Problem, Table, Text

ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
LONGEST_ID = 80
LONGEST_TEXT = 2_000


@dataclass
class Fields:
    """Reads the named fields of one table and notes every problem; fields nobody asked for are problems too."""

    table: Table
    problems: list[Problem]
    asked: set[str] = field(default_factory=set)

    def inside(self, table: Table) -> Fields:
        """Return a reader of a table inside this one; what is wrong there is noted with the rest."""
        return Fields(table, self.problems)

    def wrong(self, place: Place, says: str, meant: str = "") -> None:
        self.problems.append(Problem(place, says, meant))

    def node(self, key: str, required: bool = False) -> Node | None:
        self.asked.add(key)
        for name, value in self.table:
            if name == key:
                return value
        if required:
            self.wrong(self.table.place, f"'{key}:' is missing")
        return None

    def close(self) -> None:
        """Note the keys that no field asked for."""
        for key, _ in self.table:
            if key not in self.asked:
                self.wrong(key.place, f"'{key}' is not known here", likeliest(key, self.asked))

    def text(self, key: str) -> Text:
        return self.plain(self.node(key, required=True), key) or Text("", self.table.place)

    def text_or_none(self, key: str) -> Text | None:
        node = self.node(key)
        return None if node is None else self.plain(node, key)

    def plain(self, node: Node | None, key: str) -> Text | None:
        if node is None:
            return None
        if not isinstance(node, Text):
            self.wrong(node.place, f"'{key}' takes one text")
            return None
        if not node.strip():
            self.wrong(node.place, f"'{key}' is empty")
        elif len(node) > LONGEST_TEXT:
            self.wrong(node.place, f"'{key}' is longer than {LONGEST_TEXT} characters")
        one_line = " ".join(node[:LONGEST_TEXT].split())
        return node if node == one_line else Text(one_line, node.place)

    def id(self, key: str) -> Text:
        return self.an_id(self.text(key))

    def an_id(self, text: Text) -> Text:
        if text and not ID.fullmatch(text):
            meant = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
            self.wrong(text.place, f"'{text}' is not an id: lower-case words joined by hyphens", meant)
        elif len(text) > LONGEST_ID:
            self.wrong(text.place, f"this id is longer than {LONGEST_ID} letters")
        return text

    def ids(self, key: str, required: bool = False) -> tuple[Text, ...]:
        return tuple(self.an_id(text) for text in self.texts(key, required))

    def texts(self, key: str, required: bool = False) -> tuple[Text, ...]:
        """A list of texts; one text alone counts as a list of one."""
        node = self.node(key, required)
        if node is None:
            return ()
        if isinstance(node, Table):
            self.wrong(node.place, f"'{key}' takes a list of texts")
            return ()
        several = node.items if isinstance(node, Items) else (node,)
        if required and not several:
            self.wrong(node.place, f"'{key}' takes one or more")
        read = (self.plain(item, key) for item in several)
        return tuple(text for text in read if text is not None)

    def id_or_none(self, key: str) -> Text | None:
        text = self.text_or_none(key)
        return None if text is None else self.an_id(text)

    def choice(self, key: str, allowed: Iterable[str]) -> Text:
        text = self.text(key)
        if text:
            self.one_of(text, key, tuple(allowed))
        return text

    def choice_or_none(self, key: str, allowed: Iterable[str]) -> Text | None:
        return None if self.node(key) is None else self.choice(key, allowed)

    def one_of(self, text: Text, key: str, allowed: tuple[str, ...]) -> None:
        if text not in allowed:
            self.wrong(text.place, f"'{key}' takes {', '.join(allowed)}; not '{text}'", likeliest(text, allowed))

    def number(self, key: str, least: float, most: float) -> float:
        node = self.node(key, required=True)
        return self.a_number(node, key, least, most) if node is not None else least

    def number_or_none(self, key: str, least: float, most: float) -> float | None:
        return None if self.node(key) is None else self.number(key, least, most)

    def a_number(self, node: Node, key: str, least: float, most: float) -> float:
        try:
            value = float(node) if isinstance(node, Text) else math.nan
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            self.wrong(node.place, f"'{key}' takes a number from {least:g} to {most:g}")
            return least
        return value

    def word(self, node: Node, key: str) -> Text | None:
        text = self.plain(node, key)
        if text is not None:
            self.one_of(text, key, tuple(FREQUENCY))
        return text

    def table_of(self, key: str, required: bool = True) -> Table | None:
        node = self.node(key, required)
        if node is None or isinstance(node, Table):
            return node
        self.wrong(node.place, f"'{key}' takes a table of names and values")
        return None

    def steps(self, key: str) -> tuple[Step, ...]:
        node = self.node(key, required=True)
        if node is None:
            return ()
        if not isinstance(node, Items) or not node.items:
            self.wrong(node.place, f"'{key}' takes a list of steps")
            return ()
        return tuple(step for step in map(self._step, node) if step is not None)

    def _step(self, node: Node) -> Step | None:
        if isinstance(node, Table):
            inner = self.inside(node)
            step = Step(inner.text("do"), inner.ids("under", required=True))
            inner.close()
            return step
        text = self.plain(node, "step")
        return None if text is None else Step(text, ())


def likeliest(written: str, known: Iterable[str]) -> str:
    """Return the known word nearest to what was written, or '' when none is near."""
    near = get_close_matches(written, sorted(known), n=1, cutoff=0.6)
    return f"'{near[0]}'" if near else ""
