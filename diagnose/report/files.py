"""Fault reports as files: Markdown, and HTML that opens from disk without a network."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from .. import __version__
from ..case.readings import percent
from ..case.state import CaseState
from ..knowledge.model import Knowledge
from ..planning.examine import Examined
from .fault_report import FaultReport, fault_report

_MARKED = re.compile(r"([\\`*_{}\[\]()#+!|<>~-])")


class CannotWrite(Exception):
    """A report cannot be written; the message says where and why."""


def markdown_safe(text: str) -> str:
    """Return text that Markdown shows as it is: no markup, no HTML, no line breaks."""
    return _MARKED.sub(r"\\\1", " ".join(str(text).split())).replace("&", "&amp;")


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
    return environment


def as_markdown(report: FaultReport) -> str:
    """Return the report as Markdown."""
    return _templates().get_template("fault-report.md.j2").render(asdict(report)) + "\n"


def as_html(report: FaultReport) -> str:
    """Return the report as one HTML page that needs nothing else."""
    return _templates().get_template("fault-report.html.j2").render(asdict(report)) + "\n"


def write_reports(folder: Path, knowledge: Knowledge, state: CaseState, examined: Examined) -> tuple[Path, Path]:
    """Write both forms of the report, each whole or not at all. Return their paths. Raises CannotWrite."""
    report = fault_report(knowledge, state, examined, f"diagnose {__version__}")
    paths = folder / f"{state.case}.md", folder / f"{state.case}.html"
    for path, text in zip(paths, (as_markdown(report), as_html(report)), strict=True):
        _write(path, text)
    return paths


def _write(path: Path, text: str) -> None:
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        unfinished.write_text(text, encoding="utf-8")
        unfinished.replace(path)
    except OSError as error:
        with suppress(OSError):
            unfinished.unlink()
        raise CannotWrite(
            f"{path}: the report cannot be written: {error.strerror or error}; the case itself is kept"
        ) from None
