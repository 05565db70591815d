"""The JSON of a calculator's page: every number with its value and its unit."""

from __future__ import annotations

import math
from typing import Any

from ..drawing.chart import Axis, Chart
from .calculator import Calculator, Given, Page, Row

FORMAT = "diagnose-bench"
VERSION = 1


def listing(calculators: list[Calculator]) -> dict[str, Any]:
    """Return what calculators there are and what each takes."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "calculators": [
            {
                "calculator": calculator.name,
                "title": calculator.title,
                "inputs": [
                    {
                        "name": asked.name,
                        "ask": asked.ask,
                        "unit": asked.unit,
                        "least": _number(asked.least),
                        "most": _number(asked.most),
                        "choices": list(asked.choices),
                        "file": asked.file,
                        "text": asked.text,
                        "parts": [{"name": part.name, "unit": part.unit} for part in asked.parts],
                        "needed": asked.needed,
                        "many": asked.many,
                    }
                    for asked in calculator.inputs
                ],
            }
            for calculator in calculators
        ],
    }


def document(calculator: Calculator, given: Given, page: Page) -> dict[str, Any]:
    """Return the page as one JSON object. What is no number (a gap in a curve) is null."""
    units = {
        asked.name: [part.unit for part in asked.parts] or asked.unit
        for asked in calculator.inputs
        if not (asked.choices or asked.file or asked.text)
    }
    return {
        "format": FORMAT,
        "version": VERSION,
        "calculator": calculator.name,
        "title": page.title,
        "inputs": {
            name: {"value": value, "unit": units[name]} if name in units else {"value": value}
            for name, value in given.items()
        },
        "results": {row.name: _row(row) for row in page.rows},
        "says": list(page.says),
        "cautions": list(dict.fromkeys((*calculator.cautions, *page.cautions))),
        "findings": dict(page.findings),
        "sources": list(page.sources),
        "charts": [_chart(chart) for chart in page.charts],
    }


def _row(row: Row) -> dict[str, Any]:
    ends = {} if row.least is None or row.most is None else {"least": _number(row.least), "most": _number(row.most)}
    return {"label": row.label, "value": _number(row.value), **ends, "unit": row.unit, "written": row.written}


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _axis(axis: Axis) -> dict[str, str]:
    return {"label": axis.label, "unit": axis.unit}


def _chart(chart: Chart) -> dict[str, Any]:
    return {
        "title": chart.title,
        "x": _axis(chart.x),
        "y": _axis(chart.y),
        "traces": [
            {
                "name": trace.name,
                "x": [_number(float(x)) for x in trace.x],
                "y": [_number(float(y)) for y in trace.y],
                "points": trace.points,
            }
            for trace in chart.traces
        ],
        "bands": [{"name": band.name, "start": _number(band.start), "end": _number(band.end)} for band in chart.bands],
        "marks": [{"says": mark.says, "x": _number(mark.x)} for mark in chart.marks],
    }
