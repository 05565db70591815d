"""One pack as a picture: symptoms, conditions and causes in three columns, and the lines that join them.

A line is a rule that concludes a condition, or a tell strong enough to matter alone. Pure: knowledge in, a drawing out;
how it looks as SVG is in the template.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from ..knowledge.fields import likeliest
from ..knowledge.model import (
    CONCLUDED,
    KNOWN,
    Answered,
    Cause,
    Condition,
    Finding,
    Is,
    IsNot,
    Knowledge,
    Means,
    Pack,
    leaves,
)
from ..knowledge.packs import base_pack, load
from ..knowledge.source import FaultyFiles, Place
from ..report.files import filled
from .showing import NotFound, ratios

STRONG = 5.0
"""A tell met at least so many times as often is drawn; weaker ones would cover the page."""

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
class Join:
    """A line from a symptom (`finding=answer`) or condition to a condition or cause: what it says, and its rule if any."""

    start: str
    end: str
    says: str
    rule: str = ""
    by_absence: bool = False


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


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything on the page."""

    title: str
    about: str
    width: int
    height: int
    titles: tuple[tuple[int, str], ...]
    boxes: tuple[Box, ...]
    curves: tuple[Curve, ...]
    joins: tuple[tuple[str, str, str], ...]


def knowledge_for(folder: Path) -> tuple[Knowledge, Pack]:
    """Return what is needed to draw the pack in `folder`: the pack alone if it stands alone, else upon the base rules.

    Raises FaultyFiles.
    """
    try:
        knowledge = load([folder])
    except FaultyFiles:
        knowledge = load([base_pack(), folder])
    return knowledge, knowledge.packs[-1]


def as_html(picture: Picture) -> str:
    """Return the picture as one page that needs nothing else; all text is escaped."""
    return filled("rules-picture.html.j2", asdict(picture))


def picture(knowledge: Knowledge, pack: Pack, about: str | None = None) -> Picture:
    """Return the drawing of one pack, or of what is joined to one id or cause family in it. Raises NotFound."""
    joins = tuple(_joins(knowledge, pack))
    drawn = {name for join in joins for name in (join.start, join.end)}
    if about is None:
        own = (*knowledge.conditions, *knowledge.causes)
        drawn |= {str(name) for name in own if pack.wrote(_place(knowledge, name))}
    else:
        joins, drawn = _about(knowledge, joins, about)
    columns = _levelled(_columns(knowledge, drawn), joins)
    boxes = _placed(knowledge, pack, columns, joins)
    height = max((box.y + box.height for box in boxes.values()), default=TOP) + GAP
    colours = {name: COLOURS[place % len(COLOURS)] for column in columns[1:] for place, name in enumerate(column)}
    return Picture(
        title=f"{pack.name} ({pack.id} {pack.version})",
        about=about or "",
        width=WHOLE,
        height=round(height),
        titles=tuple(zip(LEFT, TITLES, strict=True)),
        boxes=tuple(boxes.values()),
        curves=tuple(_curve(boxes, [boxes[name] for name in columns[CONDITIONS]], colours[j.end], j) for j in joins),
        joins=tuple((_name(knowledge, j.start), _name(knowledge, j.end), j.says) for j in joins),
    )


def _joins(knowledge: Knowledge, pack: Pack) -> Iterator[Join]:
    """The lines that this pack draws, rules first; the same two things are joined once by each rule."""
    for rule in knowledge.rules.values():
        if not isinstance(rule.outcome, Means) or not pack.wrote(rule.id.place):
            continue
        for leaf in dict.fromkeys(leaves(rule.when)):
            for start in _starts(knowledge, leaf):
                says = f"rule {rule.id}: {rule.because}"
                yield Join(start, str(rule.outcome.condition), says, str(rule.id), isinstance(leaf, IsNot))
    for cause in knowledge.causes.values():
        for tell in cause.shows.values():
            if not pack.wrote(tell.of.place):
                continue
            for answer, ratio in ratios(knowledge, str(cause.id), str(tell.of)).items():
                if ratio >= STRONG:
                    start = str(tell.of) if answer == CONCLUDED else f"{tell.of}={answer}"
                    yield Join(start, str(cause.id), f"met {ratio:.0f} times as often as with other faults")


def _starts(knowledge: Knowledge, leaf: Answered | Is | IsNot) -> tuple[str, ...]:
    if not isinstance(leaf, Answered):
        return (str(leaf.condition),)
    answers = tuple(knowledge.findings[leaf.finding].answers) if leaf.answers == (KNOWN,) else leaf.answers
    return tuple(f"{leaf.finding}={answer}" for answer in answers)


def _about(knowledge: Knowledge, joins: Sequence[Join], about: str) -> tuple[tuple[Join, ...], set[str]]:
    """The boxes that are joined to one id, and every line between them; for a rule the lines it draws."""
    known = _known(knowledge, joins)
    if about not in known:
        meant = likeliest(about, known)
        raise NotFound(
            f"nothing called '{about}' is in this picture"
            + (f"; did you mean {meant}?" if meant else "; name a finding, condition, cause, rule or family of causes")
        )
    if about in knowledge.rules:
        chosen = tuple(join for join in joins if join.rule == about)
        return chosen, {name for join in chosen for name in (join.start, join.end)}
    centre = known[about]
    touching = [join for join in joins if join.start in centre or join.end in centre]
    drawn = centre | {name for join in touching for name in (join.start, join.end)}
    return tuple(join for join in joins if join.start in drawn and join.end in drawn), drawn


def _known(knowledge: Knowledge, joins: Sequence[Join]) -> Mapping[str, set[str]]:
    """Id -> the boxes meant by it."""
    known: dict[str, set[str]] = {}
    for cause in knowledge.causes.values():
        known.setdefault(str(cause.family), set()).add(str(cause.id))
    known.update({name: set() for name in map(str, knowledge.rules)})
    for join in joins:
        for name in (join.start, join.end):
            known.setdefault(name.partition("=")[0], set()).add(name)
    known.update({name: {name} for name in map(str, (*knowledge.conditions, *knowledge.causes))})
    return known


def _columns(knowledge: Knowledge, drawn: set[str]) -> list[list[str]]:
    """The boxes of each column in the order of the packs; the symptoms by finding."""
    symptoms = [f"{f.id}={answer}" for f in knowledge.findings.values() for answer in f.answers]
    shelves: tuple[Iterable[str], ...] = (symptoms, knowledge.conditions, knowledge.causes)
    return [[str(name) for name in shelf if str(name) in drawn] for shelf in shelves]


def _levelled(columns: list[list[str]], joins: Sequence[Join]) -> list[list[str]]:
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
            yield name, tuple(textwrap.wrap(_name(knowledge, name), LETTERS[place])), False
            continue
        if finding != before:
            yield finding, tuple(textwrap.wrap(str(knowledge.findings[finding].ask), LETTERS[SYMPTOMS])), True
        before = finding
        yield name, tuple(textwrap.wrap(str(knowledge.findings[finding].answers[answer].say), LETTERS[SYMPTOMS])), False


def _name(knowledge: Knowledge, name: str) -> str:
    finding, _, answer = name.partition("=")
    if answer:
        return f"{knowledge.findings[finding].ask} {knowledge.findings[finding].answers[answer].say}"
    return str(knowledge.conditions[name].name if name in knowledge.conditions else knowledge.causes[name].name)


def _placed(knowledge: Knowledge, pack: Pack, columns: Sequence[Sequence[str]], joins: Sequence[Join]) -> Mapping[str, Box]:
    """The boxes: symptoms below each other, then conditions and causes level with what leads to them."""
    texts = [list(_texts(knowledge, column)) for column in columns]
    deepest = max(sum(_height(lines) + _space(heading) for _, lines, heading in column) for column in texts)
    boxes: dict[str, Box] = {}
    for place, column in enumerate(texts):
        levels = [_level(name, joins, boxes) - _height(lines) / 2 for name, lines, _ in column]
        heights = [_height(lines) + _space(heading) for _, lines, heading in column]
        for (name, lines, heading), y in zip(column, _apart(levels, heights, TOP, TOP + deepest), strict=True):
            elsewhere = not pack.wrote(_place(knowledge, name))
            key = f"{name}?" if heading else name
            boxes[key] = Box(
                key, lines, heading, elsewhere, LEFT[place], round(y, 1), WIDE[place], _height(lines)
            )  # fmt: skip
    return boxes


def _level(name: str, joins: Sequence[Join], boxes: Mapping[str, Box]) -> float:
    """The mean height of the boxes already placed that lead here; the top where there is none."""
    leading = [boxes[join.start] for join in joins if join.end == name and join.start in boxes]
    return _mean([box.y + box.height / 2 for box in leading], TOP)


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


def _place(knowledge: Knowledge, name: str) -> Place:
    finding = name.partition("=")[0]
    shelves: tuple[Mapping[str, Condition | Cause | Finding], ...] = (
        knowledge.conditions,
        knowledge.causes,
        knowledge.findings,
    )
    for shelf in shelves:
        if finding in shelf:
            return shelf[finding].id.place
    raise KeyError(name)


def _curve(boxes: Mapping[str, Box], conditions: Sequence[Box], colour: str, join: Join) -> Curve:
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
