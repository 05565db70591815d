"""Judged from outside: published symptom rows, whose published causes must be in the first three.

Each file names its source with section and year, and whether the words were seen, seen in a reprint, or remembered.
Rows in `argued` are those where the published cause is further down and a mechanic would side with the tool, or the
row is too thin to tell; each has its argument. They are read and ranked, but nothing is tuned to make them pass.
"""

from pathlib import Path

import pytest

from diagnose.case.casefile import read_case
from diagnose.knowledge.model import Knowledge
from diagnose.planning.examine import examine

ROWS = Path(__file__).parent / "handbooks"
PASSING = sorted(ROWS.glob("*.yaml"))
ARGUED = sorted((ROWS / "argued").glob("*.yaml"))


@pytest.mark.parametrize("row", PASSING, ids=lambda path: path.stem)
def test_a_published_cause_is_among_the_first_three(base: Knowledge, row: Path) -> None:
    case = read_case(row, base)
    first_three = [ranked.cause for ranked in examine(base, case.state).standing.causes[:3]]
    assert set(first_three) & set(case.first_three), f"{case.title} ({case.source}): {first_three}"


def test_most_rows_agree_and_the_others_are_listed() -> None:
    """152 of 168 at the last count, 90 %. The share may rise; rows may move to `argued` only with their argument.

    128 rows were looked at while the rules were mended: 119 pass, 93 %. The 40 named `blind` were written last, without
    sight of the rules, by someone else; 28 passed untouched, which is what to expect of a new row. 33 pass now: one after
    general mends, and four that were open to doubt, whose arguments say what was wrong in the rules.
    """
    blind = [row for row in PASSING if row.stem.startswith("blind")]
    assert len(blind) >= 33
    assert len(PASSING) - len(blind) >= 119
    assert len(PASSING) / (len(PASSING) + len(ARGUED)) >= 0.90


@pytest.mark.parametrize("row", [*PASSING, *ARGUED], ids=lambda path: path.stem)
def test_every_row_names_its_source_and_its_causes(base: Knowledge, row: Path) -> None:
    case = read_case(row, base)
    assert case.source
    assert case.first_three
    text = row.read_text(encoding="utf-8")
    assert any(f"mark: {mark}" in text for mark in ("seen", "from memory"))
    assert "argument:" in text
