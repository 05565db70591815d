"""A chart as SVG or PNG, by matplotlib. The same chart gives the same bytes.

Colours are four of Okabe and Ito's set for all kinds of colour vision ("Color Universal Design", 2008; values from
memory). Dashes, shapes and hatching tell the same apart again, for a page printed in grey.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .chart import Chart
from .scale import by_name, called, letters, measured, one, stretches, x_limits, y_limits

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLOURS = ("#0072B2", "#D55E00", "#009E73", "#000000")
DASHES = ("-", "--", ":", "-.")
SHAPES = ("o", "x", "^", "s")
HATCHES = ("", "///", "...")
KINDS = (".svg", ".png")

_SETTINGS: Any = {
    "svg.hashsalt": "diagnose",
    "svg.fonttype": "none",
    "text.parse_math": False,
    "font.family": "sans-serif",
    "font.size": 10,
    "hatch.linewidth": 0.4,
}


def svg(chart: Chart) -> str:
    """An <svg> element, which is also a whole file; its text is text."""
    drawn = _printed(chart, "svg", {"Date": None, "Title": chart.title}).decode()
    return drawn[drawn.index("<svg") :]


def png(chart: Chart) -> bytes:
    """A picture of 1120 pixels across."""
    return _printed(chart, "png", {"Software": None, "Title": chart.title})


def save(chart: Chart, path: Path) -> None:
    """Write the chart; the name's end says how: .svg or .png. ValueError for another, OSError if it cannot be written."""
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise ValueError(f"{path}: a picture is written as {' or '.join(KINDS)}; give it a name that ends so")
    path.write_bytes(svg(chart).encode() if kind == ".svg" else png(chart))


def save_all(charts: Sequence[Chart], path: Path) -> list[Path]:
    """Write the charts, several of them beside each other and numbered; return where. Errors as those of save, and
    ValueError where there is nothing to draw."""
    if not charts:
        raise ValueError("there is nothing to draw; leave -o out")
    alone = len(charts) == 1
    paths = [path if alone else path.with_stem(f"{path.stem}-{number}") for number in range(1, len(charts) + 1)]
    for chart, place in zip(charts, paths, strict=True):
        save(chart, place)
    return paths


def _printed(chart: Chart, kind: str, metadata: dict[str, Any]) -> bytes:
    # The first run on a machine builds a list of fonts and says so in the middle of the screen.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    from matplotlib import rc_context

    paper = BytesIO()
    with rc_context(_SETTINGS):
        _figure(chart).savefig(paper, format=kind, metadata=metadata, dpi=140)
    return paper.getvalue()


def _figure(chart: Chart) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 4.8), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.set_title(chart.title, loc="left")
    axes.set_xlabel(called(chart.x))
    axes.set_ylabel(called(chart.y))
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    across, up = x_limits(chart), y_limits(chart)
    if across is None or up is None:
        axes.text(0.5, 0.5, "no numbers to draw", ha="center", transform=axes.transAxes)
        return figure
    axes.set_xlim(*across)
    axes.set_ylim(*up)
    for number, (name, bands) in enumerate(by_name(chart.bands).items()):
        for band in bands:
            axes.axvspan(
                band.start, band.end, facecolor="#e4e4e4", edgecolor="#a0a0a0", linewidth=0,
                hatch=HATCHES[number % len(HATCHES)], zorder=0.5,
                label=f"{name}: {stretches(bands, chart.x.unit, across)}" if band is bands[0] else None,
            )  # fmt: skip
    lines = points = 0
    for number, trace in enumerate(chart.traces):
        look: dict[str, Any] = {"color": COLOURS[number % len(COLOURS)], "label": trace.name}
        if trace.points:
            look |= {"linestyle": "none", "marker": SHAPES[points % len(SHAPES)], "markersize": 5}
            points += 1
        else:
            look |= {"linestyle": DASHES[lines % len(DASHES)], "linewidth": 1.8}
            lines += 1
        axes.plot(trace.x, trace.y, **look)
    for letter, mark in zip(letters(len(chart.marks)), chart.marks, strict=True):
        said = f"{letter}  {mark.says}, {measured(one(mark.x, across), chart.x.unit)}"
        axes.axvline(mark.x, color="#444444", linewidth=0.9, dashes=(4, 3), label=said)
        axes.annotate(letter, (mark.x, 1), xycoords=axes.get_xaxis_transform(), textcoords="offset points",
                      xytext=(3, -12 - 12 * (ord(letter) % 3)))  # fmt: skip
    if chart.traces:
        figure.legend(loc="outside lower left", ncols=2, frameon=False, fontsize=9)
    return figure
