"""Text with its place: YAML files as trees in which every value knows its file, line and column.

Plain YAML loading turns `no` into False and `010` into 8, and lets the last of two equal keys win.
Here nodes are composed, never constructed, so the reader sees the text as it was written.

A file may come from a stranger, so nothing in it may run, steer a terminal, or grow: what is too large, too deep or too
many is refused while it is read, not after.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import yaml

LONGEST_FILE = 4_000_000
"""Bytes in one file; a longer one is refused before it is parsed."""

MOST_VALUES = 600_000
"""Texts, lists and tables in one file, or one pack. Ten thousand rules hold about 220,000; each takes half a kilobyte."""

MOST_INSIDE = 1_000
"""Members of a list or table, but for the list of entries that a file is."""

LONGEST_KEY = 100

DEEPEST = 16
"""Levels of nesting in a file; a page of rules needs about eight."""

LONGEST_TO_REPARSE = 100_000

OUTSIDE = "leads out of the pack; put the file itself here"
"""Said of a link that `leads_outside`."""

_STEERING = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]")


class _TooMany(yaml.MarkedYAMLError):
    """More values than a file may hold."""


class _Composer(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Composes trees of text: what a plain word might mean (a number, a truth, nothing) is never looked into."""

    _composed = 0

    def resolve(self, kind: type, value: object, implicit: object) -> str:
        """Called once for every value, so it counts them too."""
        self._composed += 1
        if self._composed > MOST_VALUES:
            raise _TooMany(problem=f"more than {MOST_VALUES:,} values")
        return ""


class Place(NamedTuple):
    """Where a value is written; lines and columns count from 1. A tuple, because a pack has fifty thousand of them."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{printable(self.file)}:{self.line}:{self.column}"


@dataclass(frozen=True, order=True, slots=True)
class Problem:
    """One thing wrong in a file: where, what, and what was probably meant."""

    place: Place
    says: str
    meant: str = ""

    def __str__(self) -> str:
        return f"{self.place}: {self.says}" + (f"; did you mean {self.meant}?" if self.meant else "")

    def document(self) -> dict[str, object]:
        """Return the same for programs: file, line, column, says, meant."""
        file, line, column = self.place
        return {"file": file, "line": line, "column": column, "says": self.says, "meant": self.meant.strip("'")}


class FaultyFiles(Exception):
    """The files hold problems; all of them are in `problems`, sorted by place."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = sorted(set(problems))
        super().__init__("\n".join(map(str, self.problems)))


class Text(str):
    """A piece of text that knows its place. It equals and hashes like the plain text."""

    __slots__ = ("place",)

    place: Place

    def __new__(cls, text: str, place: Place) -> Text:
        made = super().__new__(cls, text)
        made.place = place
        return made

    def __getnewargs__(self) -> tuple[str, Place]:  # type: ignore[override]
        return str(self), self.place


@dataclass(frozen=True, slots=True)
class Items:
    """A YAML list."""

    items: tuple[Node, ...]
    place: Place

    def __iter__(self) -> Iterator[Node]:
        return iter(self.items)


@dataclass(frozen=True, slots=True)
class Table:
    """A YAML mapping, in the order it was written, with no key twice."""

    pairs: tuple[tuple[Text, Node], ...]
    place: Place

    def __iter__(self) -> Iterator[tuple[Text, Node]]:
        return iter(self.pairs)


Node = Text | Items | Table


def printable(text: str, instead: str = "?") -> str:
    """Return text with another character instead of each that no terminal shows, or that steers one or turns its lines
    round."""
    return text if text.isprintable() else "".join(c if c.isprintable() else instead for c in text)


def leads_outside(path: Path, folder: Path) -> bool:
    """True if a path lies, once links are followed, not below this folder. A pack is read from its own folder only."""
    return not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder))


def read_text(path: Path, shown: str | None = None) -> str:
    """Return the text of a file, or raise FaultyFiles with one plain problem."""
    place = Place(shown or str(path))
    try:
        with path.open("rb") as file:
            content = file.read(LONGEST_FILE + 1)  # a device says nothing of its size
    except OSError as error:
        raise FaultyFiles([Problem(place, f"cannot be read: {error.strerror or error}")]) from None
    if len(content) > LONGEST_FILE:
        raise FaultyFiles([Problem(place, f"the file is larger than {LONGEST_FILE:,} bytes")])
    try:
        text = content.decode("utf-8-sig")  # some editors put a mark before the first letter
    except UnicodeDecodeError as error:
        raise FaultyFiles([Problem(place, f"the file is not UTF-8 text (byte {error.start + 1})")]) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def compose(text: str, file: str) -> tuple[Node | None, list[Problem]]:
    """Return the tree of a YAML text and everything wrong with its form. An empty text gives None."""
    problems: list[Problem] = []
    at = _unseen(text)
    if at is not None:
        place = Place(file, text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
        return None, [Problem(place, f"{_named(text[at])}; take it out")]
    try:
        if "&" in text or "*" in text:
            problems += _shared_nodes(text, file)
        if problems:
            return None, problems
        root = yaml.compose(text, Loader=_Composer)
    except yaml.MarkedYAMLError as error:
        return None, [_syntax_problem(error, text, file)]
    except (yaml.YAMLError, RecursionError) as error:
        return None, [Problem(Place(file), f"not readable as YAML: {str(error).splitlines()[0]}")]
    if root is None:
        return None, []
    return _tree(root, file, problems, 1), problems


def values_in(node: Node | None) -> int:
    """Return how many texts, lists and tables a tree holds."""
    if isinstance(node, Items):
        return 1 + sum(map(values_in, node.items))
    if isinstance(node, Table):
        return 1 + sum(1 + values_in(value) for _, value in node.pairs)
    return 1


def _unseen(text: str) -> int | None:
    """Where the first character stands that would steer a terminal, hide, or turn a line round, if there is one."""
    steering = _STEERING.search(text)
    if steering is None and "".join(text.split()).isprintable():
        return None
    hidden = (at for at, c in enumerate(text) if _STEERING.match(c) or not (c.isprintable() or c.isspace()))
    return next(hidden)


def _named(character: str) -> str:
    kind = "a control character" if unicodedata.category(character) == "Cc" else "a character that cannot be seen"
    return f"{kind} (U+{ord(character):04X})"


def _shared_nodes(text: str, file: str) -> list[Problem]:
    """Anchors and aliases let a small file grow without bound, and hide where a value is written."""
    return [
        Problem(_place(event.start_mark, file), "anchors (&) and aliases (*) are not used in packs; write it out")
        for event in yaml.parse(text, Loader=_Composer)
        if getattr(event, "anchor", None)
    ]


def _place(mark: Any, file: str) -> Place:
    if mark is None:
        return Place(file)
    # Made as the tuple it is: by name it takes half as long again, fifty thousand times.
    return tuple.__new__(Place, (file, mark.line + 1, mark.column + 1))


_PLAINER = {
    "mapping values are not allowed": "a colon followed by a space inside a text; put the text in quotes",
    "could not find expected ':'": "a key without its colon, or a line that is indented wrongly",
    "cannot start any token": "a tab or a special character starts this text; use spaces, or put it in quotes",
    "expected <block end>": "this line is indented differently from its neighbours",
    "unexpected end of stream": "a quote or bracket is opened and never closed",
    "maximum nesting depth": f"nested more than {DEEPEST} deep",
    "found '<stream end>'": "a quote or bracket is opened and never closed",
    "expected ',' or ']'": "a comma or a closing bracket ] is missing",
    "expected ',' or '}'": "a comma or a closing bracket } is missing",
    "expected a single document": "more than one YAML document; keep one in a file",
}


def _syntax_problem(error: yaml.MarkedYAMLError, text: str, file: str) -> Problem:
    """The pure-Python parser words its complaints better than the C one, so ask it again."""
    if isinstance(error, _TooMany):
        return Problem(Place(file), f"{error.problem} in one file; make two packs of it")
    if "nesting" not in str(error) and len(text) < LONGEST_TO_REPARSE:  # deep nesting takes the slow parser minutes
        try:
            list(yaml.parse(text, Loader=yaml.SafeLoader))
        except yaml.MarkedYAMLError as plainer:
            error = plainer
        except (yaml.YAMLError, RecursionError):
            pass
    mark = error.problem_mark or error.context_mark
    said = f"{error.context or ''} {error.problem or ''}".strip()
    for words, plain in _PLAINER.items():
        if words in said:
            said = plain
            break
    return Problem(_place(mark, file) if mark else Place(file), f"not readable as YAML: {said}")


def _tree(node: yaml.Node, file: str, problems: list[Problem], depth: int) -> Node:
    place = _place(node.start_mark, file)
    if depth > DEEPEST:
        problems.append(Problem(place, f"nested more than {DEEPEST} deep"))
        return Text("", place)
    if isinstance(node, yaml.ScalarNode):
        return Text(_shown(node, place, problems), place)
    if len(node.value) > MOST_INSIDE and (depth > 1 or isinstance(node, yaml.MappingNode)):
        problems.append(Problem(place, f"more than {MOST_INSIDE:,} members in one list or table"))
        return Text("", place)
    if isinstance(node, yaml.SequenceNode):
        return Items(tuple(_tree(child, file, problems, depth + 1) for child in node.value), place)
    pairs: dict[Text, Node] = {}
    for key, value in node.value:
        key_place = _place(key.start_mark, file)
        if not isinstance(key, yaml.ScalarNode):
            problems.append(Problem(key_place, "a key must be one plain word"))
            continue
        if len(key.value) > LONGEST_KEY:
            problems.append(Problem(key_place, f"a key is longer than {LONGEST_KEY} letters"))
            continue
        word = " ".join(_shown(key, key_place, problems).split())
        if word in pairs:
            problems.append(Problem(key_place, f"'{word}' is written twice here; keep one"))
            continue
        pairs[Text(word, key_place)] = _tree(value, file, problems, depth + 1)
    return Table(tuple(pairs.items()), place)


def _shown(node: yaml.ScalarNode, place: Place, problems: list[Problem]) -> str:
    """The text of a node. In double quotes YAML makes hidden characters out of plain letters, such as a \\e."""
    at = _unseen(node.value) if node.style == '"' else None
    if at is None:
        return node.value
    problems.append(Problem(place, f"{_named(node.value[at])} is written into this text; take it out"))
    return printable(node.value)
