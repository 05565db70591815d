"""Reports as PDF, for printing and for people who want one file.

By fpdf2: pure Python and pip alone (weasyprint wants system libraries that a laptop at the pits has not; reportlab would
do as well, but wants every page laid out in code, where fpdf2 takes a page of plain HTML, so the same kind of template
serves all three forms). The letters are DejaVu's, which come with matplotlib: names and notes in most alphabets print.
"""

from __future__ import annotations

import importlib.util
import logging
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime, timezone
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..drawing.chart import Chart

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN, WIDE, TALL = 15, 180, 297
"""Millimetres of A4: the margin, what is left across, and the page from top to bottom."""

_STYLES = (("", "DejaVuSans"), ("B", "DejaVuSans-Bold"), ("I", "DejaVuSans-Oblique"))


def as_pdf(page: str, title: str, at: str, charts: Sequence[Chart] = ()) -> bytes:
    """Return a page of plain HTML as PDF, charts after it. `at` is the time it bears: the same page, the same bytes."""
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    logging.getLogger("fpdf").setLevel(logging.ERROR)  # a sign that no font has is printed as a box, not spoken of
    from fpdf import FPDF

    pdf = FPDF(format="A4")
    pdf.set_margins(MARGIN, MARGIN)
    pdf.set_auto_page_break(True, MARGIN)
    pdf.set_title(title)
    pdf.set_creation_date(_moment(at))
    for style, name in _STYLES:
        pdf.add_font("body", style, _fonts() / f"{name}.ttf")
    pdf.set_font("body", size=9)
    pdf.add_page()
    pdf.write_html(page, tag_styles=_tag_styles(), li_prefix_color=(60, 60, 60))
    for chart in charts:
        _draw(pdf, chart)
    return bytes(pdf.output())


def _draw(pdf: FPDF, chart: Chart) -> None:
    from ..drawing.picture import png

    tall = WIDE * 0.6
    if pdf.get_y() + tall > TALL - 2 * MARGIN:
        pdf.add_page()
    pdf.image(BytesIO(png(chart)), x=MARGIN, w=WIDE, alt_text=chart.title)
    pdf.ln(4)


def _tag_styles() -> Mapping[str, Any]:
    from fpdf import FontFace, TextStyle

    def head(size: float, above: float) -> TextStyle:
        return TextStyle(
            font_family="body", font_style="B", font_size_pt=size, color=(28, 28, 28), t_margin=above, b_margin=1
        )

    return {"h1": head(15, 0), "h2": head(11, 4), "b": FontFace(emphasis="BOLD")}


def _fonts() -> Path:
    """The folder of the letters, found without loading matplotlib."""
    found = importlib.util.find_spec("matplotlib")
    assert found is not None and found.submodule_search_locations
    return Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"


def _moment(at: str) -> datetime:
    moment = datetime.fromtimestamp(0, timezone.utc)
    with suppress(ValueError):
        moment = datetime.fromisoformat(at)
    return moment if moment.tzinfo else moment.replace(tzinfo=timezone.utc)
