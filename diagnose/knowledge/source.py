"""Text with its place: YAML files as trees in which every value knows its file, line and column.

Plain YAML loading turns `no` into False and `010` into 8, and lets the last of two equal keys win.
Here nodes are composed, never constructed, so the reader sees the text as it was written.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import yaml


class _Composer(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Composes trees of text: what a plain word might mean (a number, a truth, nothing) is never looked into."""

    def resolve(self, kind: type, value: object, implicit: object) -> str:
        return ""


_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")

LONGEST_FILE = 4_000_000
"""Characters in one file; a longer one is refused before it is parsed."""

LONGEST_TO_REPARSE = 100_000

DEEPEST = 16
"""Levels of nesting in a file; a page of rules needs about eight."""


class Place(NamedTuple):
    """Where a value is written; lines and columns count from 1. A tuple, because a pack has fifty thousand of them."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, order=True, slots=True)
class Problem:
    """One thing wrong in a file: where, what, and what was probably meant."""

    place: Place
    says: str
    meant: str = ""

    def __str__(self) -> str:
        return f"{self.place}: {self.says}" + (f"; did you mean {self.meant}?" if self.meant else "")


class FaultyFiles(Exception):
    """The files hold problems; all of them are in `problems`, sorted by place."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = sorted(set(problems))
        super().__init__("\n".join(map(str, self.problems)))


class Text(str):
    """A piece of text that knows its place. It equals and hashes like the plain text."""

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


def read_text(path: Path, shown: str | None = None) -> str:
    """Return the text of a file, or raise FaultyFiles with one plain problem."""
    place = Place(shown or str(path))
    try:
        if path.stat().st_size > LONGEST_FILE:
            raise FaultyFiles([Problem(place, f"the file is larger than {LONGEST_FILE:,} bytes")])
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise FaultyFiles([Problem(place, f"the file is not UTF-8 text (byte {error.start + 1})")]) from None
    except OSError as error:
        raise FaultyFiles([Problem(place, f"cannot be read: {error.strerror or error}")]) from None


def compose(text: str, file: str) -> tuple[Node | None, list[Problem]]:
    """Return the tree of a YAML text and everything wrong with its form. An empty text gives None."""
    problems: list[Problem] = []
    steering = _CONTROL.search(text)
    if steering:
        line = text.count("\n", 0, steering.start())
        column = steering.start() - text.rfind("\n", 0, steering.start())
        return None, [Problem(Place(file, line + 1, column), "a control character; take it out")]
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
    return Place(file, mark.line + 1, mark.column + 1)


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
        return Text(_printable(node, place, problems), place)
    if isinstance(node, yaml.SequenceNode):
        return Items(tuple(_tree(child, file, problems, depth + 1) for child in node.value), place)
    pairs: dict[Text, Node] = {}
    for key, value in node.value:
        key_place = _place(key.start_mark, file)
        if not isinstance(key, yaml.ScalarNode):
            problems.append(Problem(key_place, "a key must be one plain word"))
            continue
        word = _printable(key, key_place, problems)
        if word in pairs:
            problems.append(Problem(key_place, f"'{word}' is written twice here; keep one"))
            continue
        pairs[Text(word, key_place)] = _tree(value, file, problems, depth + 1)
    return Table(tuple(pairs.items()), place)


def _printable(node: yaml.ScalarNode, place: Place, problems: list[Problem]) -> str:
    """The text of a node. In double quotes YAML makes control characters out of plain letters, such as a \\e."""
    if node.style == '"' and _CONTROL.search(node.value):
        problems.append(Problem(place, "a control character is written into this text; take it out"))
        return _CONTROL.sub("?", node.value)
    return node.value
