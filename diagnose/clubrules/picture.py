"""One pack as a picture: symptoms, conditions and causes in three columns, and the lines that join them.

A line is a rule that concludes a condition, or a tell strong enough to matter alone. Pure: knowledge in, a drawing out;
how it looks as SVG is in the template.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

from ..knowledge.model import (
    Knowledge,
    Pack,
)
from ..knowledge.packs import load, upon_base
from ..knowledge.source import FaultyFiles
from ..report.files import filled
from .picture_joins import joined_to, joins_of, place_of
from .picture_layout import (
    COLOURS,
    CONDITIONS,
    GAP,
    LEFT,
    TITLES,
    TOP,
    WHOLE,
    Box,
    Curve,
    columns_of,
    curve,
    levelled,
    name_of,
    placed,
)


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
        knowledge = load(upon_base([folder]))
    return knowledge, knowledge.packs[-1]


def as_html(picture: Picture) -> str:
    """Return the picture as one page that needs nothing else; all text is escaped."""
    return filled("rules-picture.html.j2", asdict(picture))


def picture(knowledge: Knowledge, pack: Pack, about: str | None = None) -> Picture:
    """Return the drawing of one pack, or of what is joined to one id or cause family in it. Raises NotFound."""
    joins = tuple(joins_of(knowledge, pack))
    drawn = {name for join in joins for name in (join.start, join.end)}
    if about is None:
        own = (*knowledge.conditions, *knowledge.causes)
        drawn |= {str(name) for name in own if pack.wrote(place_of(knowledge, name))}
    else:
        joins, drawn = joined_to(knowledge, joins, about)
    columns = levelled(columns_of(knowledge, drawn), joins)
    boxes = placed(knowledge, pack, columns, joins)
    height = max((box.y + box.height for box in boxes.values()), default=TOP) + GAP
    colours = {name: COLOURS[place % len(COLOURS)] for column in columns[1:] for place, name in enumerate(column)}
    return Picture(
        title=f"{pack.name} ({pack.id} {pack.version})",
        about=about or "",
        width=WHOLE,
        height=round(height),
        titles=tuple(zip(LEFT, TITLES, strict=True)),
        boxes=tuple(boxes.values()),
        curves=tuple(curve(boxes, [boxes[name] for name in columns[CONDITIONS]], colours[j.end], j) for j in joins),
        joins=tuple((name_of(knowledge, j.start), name_of(knowledge, j.end), j.says) for j in joins),
    )
