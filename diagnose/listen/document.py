"""The page of a recording as a document for programs. Its shape is described in DEVELOPERS.md and changes with VERSION."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ..bench.calculator import Page
from .answers import Answered
from .hearing import Heard
from .measures import Measured
from .page import kept

FORMAT = "diagnose-listen"
VERSION = 1


def document(heard: Heard, found: Measured, page: Page, answers: Sequence[Answered]) -> dict[str, Any]:
    """Return what was heard: every number with its unit and its ends, null where nobody can tell, and what is answered."""
    small = kept(heard, found)
    return {
        "format": FORMAT,
        "version": VERSION,
        "file": str(heard.recording.path),
        "seconds": round(heard.seconds, 3),
        "whole": heard.whole,
        "speed_certain": heard.octave.certain,
        "speed_because": heard.octave.because,
        "results": {
            row.name: {
                "label": row.label,
                "value": _number(row.value),
                "least": _number(row.least),
                "most": _number(row.most),
                "unit": row.unit,
                "written": row.written,
            }
            for row in page.rows
        },
        "cannot_tell": {name: measure.why for name, measure in found.of.items() if measure.value is None},
        "says": list(page.says),
        "answers": [
            {"finding": one.finding, "answer": one.answer, "reading": one.reading, "because": one.because}
            for one in answers
        ],
        "cautions": list(page.cautions),
        "track": {name: small[name] for name in ("step", "speeds", "burbles", "marks", "marked")},
    }


def _number(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
