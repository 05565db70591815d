"""Fault reports as files: Markdown, HTML that opens from disk without a network, and PDF."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from .. import __version__
from ..case.readings import percent
from ..case.state import CaseState
from ..drawing.chart import Chart
from ..drawing.terminal import draw
from ..knowledge.model import Knowledge
from ..planning.examine import Examined
from ..whole import whole
from .fault_report import FaultReport, fault_report
from .setup_record import SetupRecord, setup_record

_MARKED = re.compile(r"([\\`*_\[\]|<>~]|^[#+-])")
_NUMBERED = re.compile(r"^(\d+)([.)])")
"""What Markdown takes for markup: anywhere, or at the beginning, where it makes a heading or a list."""


DRAWN_WIDTH = 76
"""Columns of a picture that is drawn in letters."""


class CannotWrite(Exception):
    """A report cannot be written; the message says where and why."""


def markdown_safe(text: str) -> str:
    """Return text that Markdown shows as it is: no markup, no HTML, no line breaks."""
    marked = _MARKED.sub(r"\\\1", " ".join(str(text).split()))
    return _NUMBERED.sub(r"\1\\\2", marked).replace("&", "&amp;")


@lru_cache(maxsize=1)
def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("diagnose.report"),
        autoescape=select_autoescape(enabled_extensions=("html.j2",), default=False),
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters["md"] = markdown_safe
    environment.filters["percent"] = percent
    environment.filters["svg"] = _svg
    environment.filters["drawn"] = _drawn
    return environment


def _svg(chart: Chart) -> Markup:
    from ..drawing.picture import svg  # a second to load, for the reports that have a picture

    return Markup(svg(chart))  # the drawing escapes what the chart says


def _drawn(chart: Chart) -> list[str]:
    return draw(chart, DRAWN_WIDTH)


def filled(template: str, content: Mapping[str, Any]) -> str:
    """Return a template of this folder with its content; in HTML every text of the content is escaped."""
    return _templates().get_template(template).render(content) + "\n"


def as_markdown(report: FaultReport) -> str:
    """Return the report as Markdown."""
    return filled("fault-report.md.j2", _content(report))


def as_html(report: FaultReport) -> str:
    """Return the report as one HTML page that needs nothing else."""
    return filled("fault-report.html.j2", _content(report))


def _content(report: FaultReport) -> dict[str, Any]:
    return {field.name: getattr(report, field.name) for field in fields(report)}


def report_of(knowledge: Knowledge, state: CaseState, examined: Examined) -> FaultReport:
    """Return the report of a case as it stands."""
    return fault_report(knowledge, state, examined, f"diagnose {__version__}")


def write_pdf(folder: Path, name: str, report: FaultReport) -> Path:
    """Write the report as PDF, whole or not at all. Return its path. Raises CannotWrite."""
    from .pdf import as_pdf  # a third of a second to load

    page = filled("fault-report.pdf.html.j2", _content(report))
    path = folder / f"{name}.pdf"
    charts = [heard.chart for heard in report.recordings]
    write_whole(path, as_pdf(page, f"Fault report {report.case}", report.closed or report.opened, charts), *_TROUBLE)
    return path


_TROUBLE = ("the report cannot be written", "the case itself is kept")


def write_reports(folder: Path, knowledge: Knowledge, state: CaseState, examined: Examined) -> tuple[Path, Path]:
    """Write the report as Markdown and HTML, each whole or not at all. Return their paths. Raises CannotWrite."""
    return write_texts(folder, state.case, report_of(knowledge, state, examined))


def write_texts(folder: Path, name: str, report: FaultReport) -> tuple[Path, Path]:
    """Write a report as Markdown and HTML under a name. Return their paths. Raises CannotWrite."""
    paths = folder / f"{name}.md", folder / f"{name}.html"
    for path, text in zip(paths, (as_markdown(report), as_html(report)), strict=True):
        write_whole(path, text, *_TROUBLE)
    return paths


def record_of(knowledge: Knowledge, state: CaseState, examined: Examined) -> SetupRecord:
    """Return the record of a set-up as it stands."""
    return setup_record(knowledge, state, examined, f"diagnose {__version__}")


def write_record(folder: Path, name: str, record: SetupRecord) -> tuple[Path, Path]:
    """Write the record of a set-up in both forms under a name, each whole or not at all. Return their paths. Raises
    CannotWrite."""
    paths = folder / f"{name}.md", folder / f"{name}.html"
    for path in paths:
        text = filled(f"setup-record{path.suffix}.j2", asdict(record))
        write_whole(path, text, "the record cannot be written", "the set-up itself is kept")
    return paths


def write_whole(path: Path, content: str | bytes, trouble: str, advice: str) -> None:
    """Write a file whole or not at all. Raises CannotWrite with `trouble`, the reason and `advice`."""
    try:
        with whole(path) as unfinished:
            unfinished.write_bytes(content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise CannotWrite(f"{path}: {trouble}: {error.strerror or error}; {advice}") from None
