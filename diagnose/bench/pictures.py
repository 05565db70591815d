"""The pictures of a page, written to files."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from .calculator import NotPossible, Page


def pictures(page: Page, outputs: Iterable[Path]) -> list[Path]:
    """Write the page's pictures under each of these names; return where they are. Raises NotPossible."""
    outputs = list(outputs)
    if not outputs:
        return []
    from ..drawing.picture import save_all  # matplotlib takes a second to load

    try:
        return [written for path in outputs for written in save_all(page.charts, path)]
    except ValueError as wrong:
        raise NotPossible(str(wrong)) from None
