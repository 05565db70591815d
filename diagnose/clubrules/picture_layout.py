"""Where the boxes and lines of a picture of rules stand: three columns, what is joined level with each other."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..knowledge.model import Knowledge, Pack
from .picture_joins import Join, place_of

SYMPTOMS, CONDITIONS, CAUSES = 0, 1, 2
TITLES = ("Symptoms", "Conditions", "Causes")

# Measures of the drawing, in units of about one printed pixel.
LEFT = (10, 480, 840)
WIDE = (330, 220, 290)
LETTERS = (50, 32, 43)
WHOLE = LEFT[CAUSES] + WIDE[CAUSES] + 10
LINE, PADDING, GAP, TOP = 15, 5, 10, 40

SWEEPS = 8
"""Rounds of putting each box level with what it is joined to; more changes nothing that can be seen."""

COLOURS = ("#1f5f99", "#a23b2a", "#2f7d4f", "#7a4b9c", "#96690a", "#0f7c80", "#8c2f62", "#4d5b66")
"""Dark enough on white paper; a line takes the colour of where it ends, so that it can be followed."""


@dataclass(frozen=True, slots=True)
class Box:
    """A box of the drawing: its lines of text, and where it stands. `heading` lines are the question of a symptom."""

    id: str
    lines: tuple[str, ...]
    heading: bool
    elsewhere: bool
    x: int
    y: float
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Curve:
    """A line of the drawing, as an SVG path."""

    path: str
    colour: str
    says: str
    by_absence: bool


def columns_of(knowledge: Knowledge, drawn: set[str]) -> list[list[str]]:
    """The boxes of each column in the order of the packs; the symptoms by finding."""
    symptoms = [f"{f.id}={answer}" for f in knowledge.findings.values() for answer in f.answers]
    shelves: tuple[Iterable[str], ...] = (symptoms, knowledge.conditions, knowledge.causes)
    return [[str(name) for name in shelf if str(name) in drawn] for shelf in shelves]


def levelled(columns: list[list[str]], joins: Sequence[Join]) -> list[list[str]]:
    """Put the boxes of each column in the order of what they are joined to, so that fewer lines cross."""
    joined: dict[str, list[str]] = {}
    for join in joins:
        joined.setdefault(join.start, []).append(join.end)
        joined.setdefault(join.end, []).append(join.start)
    levels = {name: place / max(len(column), 1) for column in columns for place, name in enumerate(column)}
    for _ in range(SWEEPS):
        for column in (columns[CAUSES], columns[CONDITIONS], columns[SYMPTOMS]):
            wanted = {n: _mean([levels[other] for other in joined.get(n, ())], levels[n]) for n in column}
            whole = {
                finding: _mean([wanted[n] for n in column if n.partition("=")[0] == finding], 0.0)
                for finding in dict.fromkeys(n.partition("=")[0] for n in column)
            }  # the answers of one finding stay together
            column.sort(key=lambda n: (whole[n.partition("=")[0]], n.partition("=")[0], wanted[n]))
            levels.update({name: place / max(len(column), 1) for place, name in enumerate(column)})
    return columns


def _mean(numbers: Sequence[float], otherwise: float) -> float:
    return sum(numbers) / len(numbers) if numbers else otherwise


def _height(text: Sequence[str]) -> int:
    return LINE * len(text) + 2 * PADDING


def _space(heading: bool) -> int:
    """A question stands close to its answers."""
    return 0 if heading else GAP


def _texts(knowledge: Knowledge, column: Sequence[str]) -> Iterator[tuple[str, tuple[str, ...], bool]]:
    """(id, lines, heading) of every box of a column, from the top."""
    before = ""
    for name in column:
        finding, _, answer = name.partition("=")
        if not answer:
            place = CONDITIONS if name in knowledge.conditions else CAUSES
            yield name, tuple(textwrap.wrap(name_of(knowledge, name), LETTERS[place])), False
            continue
        if finding != before:
            yield finding, tuple(textwrap.wrap(str(knowledge.findings[finding].ask), LETTERS[SYMPTOMS])), True
        before = finding
        yield name, tuple(textwrap.wrap(str(knowledge.findings[finding].answers[answer].say), LETTERS[SYMPTOMS])), False


def name_of(knowledge: Knowledge, name: str) -> str:
    finding, _, answer = name.partition("=")
    if answer:
        return f"{knowledge.findings[finding].ask} {knowledge.findings[finding].answers[answer].say}"
    return str(knowledge.conditions[name].name if name in knowledge.conditions else knowledge.causes[name].name)


def placed(knowledge: Knowledge, pack: Pack, columns: Sequence[Sequence[str]], joins: Sequence[Join]) -> Mapping[str, Box]:
    """The boxes: symptoms below each other, then conditions and causes level with what leads to them."""
    texts = [list(_texts(knowledge, column)) for column in columns]
    leading: dict[str, list[str]] = {}
    for join in joins:
        leading.setdefault(join.end, []).append(join.start)
    deepest = max(sum(_height(lines) + _space(heading) for _, lines, heading in column) for column in texts)
    boxes: dict[str, Box] = {}
    for place, column in enumerate(texts):
        levels = [_level(leading.get(name, ()), boxes) - _height(lines) / 2 for name, lines, _ in column]
        heights = [_height(lines) + _space(heading) for _, lines, heading in column]
        for (name, lines, heading), y in zip(column, _apart(levels, heights, TOP, TOP + deepest), strict=True):
            elsewhere = not pack.wrote(place_of(knowledge, name))
            key = f"{name}?" if heading else name
            boxes[key] = Box(
                key, lines, heading, elsewhere, LEFT[place], round(y, 1), WIDE[place], _height(lines)
            )  # fmt: skip
    return boxes


def _level(leading: Iterable[str], boxes: Mapping[str, Box]) -> float:
    """The mean height of the boxes that lead here, as far as they are placed; the top where there is none."""
    placed_already = [boxes[name] for name in leading if name in boxes]
    return _mean([box.y + box.height / 2 for box in placed_already], TOP)


def _apart(levels: Sequence[float], heights: Sequence[float], top: float, bottom: float) -> list[float]:
    """Return the levels moved apart, first downwards and then up from the bottom, so that no boxes overlap."""
    placed: list[float] = []
    free = top
    for level, height in zip(levels, heights, strict=True):
        placed.append(max(level, free))
        free = placed[-1] + height
    free = bottom
    for place in reversed(range(len(placed))):
        placed[place] = min(placed[place], free - heights[place])
        free = placed[place]
    return placed


def curve(boxes: Mapping[str, Box], conditions: Sequence[Box], colour: str, join: Join) -> Curve:
    """A bow from the right of one box to the left of another; between conditions it leaves and comes in on the left.

    A line from a symptom straight to a cause goes between the conditions, never behind one: it would seem to start there.
    """
    start, end = boxes[join.start], boxes[join.end]
    x1, x2 = start.x + start.width, end.x
    y1, y2 = start.y + start.height / 2, end.y + end.height / 2
    if start.x == end.x:
        out = start.x - 30 - min(abs(y2 - y1) / 20, 60)
        path = f"M{start.x} {y1:.1f}C{out:.1f} {y1:.1f} {out:.1f} {y2:.1f} {end.x} {y2:.1f}"
    elif start.x == LEFT[SYMPTOMS] and end.x == LEFT[CAUSES]:
        near, far = LEFT[CONDITIONS] - 5, LEFT[CONDITIONS] + WIDE[CONDITIONS] + 5
        y = _between((y1 + y2) / 2, conditions)
        path = f"M{x1} {y1:.1f}{_bow(x1, y1, near, y)}L{far} {y:.1f}{_bow(far, y, x2, y2)}"
    else:
        path = f"M{x1} {y1:.1f}{_bow(x1, y1, x2, y2)}"
    return Curve(path, colour, join.says, join.by_absence)


def _bow(x1: float, y1: float, x2: float, y2: float) -> str:
    bend = (x1 + x2) / 2
    return f"C{bend:.1f} {y1:.1f} {bend:.1f} {y2:.1f} {x2} {y2:.1f}"


def _between(y: float, boxes: Sequence[Box]) -> float:
    """Return the height nearest to `y` that lies in no box."""
    for box in boxes:
        above, below = box.y - GAP / 2, box.y + box.height + GAP / 2
        if above < y < below:
            return above if y - above < below - y else below
    return y
