"""What the bench's curve, heat and leak pages tell the rules, and how they read."""

import math
from pathlib import Path

import pytest

from diagnose.bench.calculator import Page
from diagnose.bench.curve import work as curve
from diagnose.bench.heat import work as heat
from diagnose.bench.leak import work as leak
from diagnose.case.casefile import understood
from diagnose.case.state import CaseState
from diagnose.case.state import Given as Answered
from diagnose.knowledge.model import Knowledge
from diagnose.planning.examine import examine
from diagnose.shell.bench import page_lines
from diagnose.testing import walk_with


def fallen(share_a_minute: float, **more: object) -> Page:
    """A crankcase that loses that share of its pressure in a minute, watched for three."""
    readings = tuple((t, 0.4 * (1 - share_a_minute) ** (t / 60)) for t in (0.0, 30.0, 60.0, 120.0, 180.0))
    return leak({"reading": readings, "division": 0.001, "limit": 5.0, "at-once": 50.0, **more})  # type: ignore[dict-item]


def set_high() -> Page:
    """The curve in the radio gives far more at the bottom than held the speed, and the head races there. Invented."""
    points = ((0.0, 8.0, 1500.0), (25.0, 20.0, 1500.0), (50.0, 34.0, 1500.0), (75.0, 55.0, 1500.0), (100.0, 100.0, 1380.0))
    fast = ((10.0, 40.0, 1800.0), (20.0, 45.0, 1750.0), (15.0, 44.0, 1780.0))
    return curve({"point": points + fast, "target": 1500.0, "now": (20.0, 50.0, 50.0, 62.0, 85.0)})


def lean(path: Path) -> Page:
    """From 4:00 on the speed sags and the warm head climbs. Invented."""
    rows = []
    for t in range(360):
        after = max(t - 240, 0)
        head = 130 - 100 * math.exp(-t / 40) + after * 0.4
        rows.append(f"{t},{head:.1f},{12_000 - after * 12 + t % 7 * 5}")
    path.write_text("\n".join(["time,CHT [C],rpm", *rows]), encoding="utf-8")
    return heat({"file": str(path), "limit": 170.0})


@pytest.fixture
def pages(tmp_path: Path) -> list[Page]:
    opened = leak({"opened": (0.6, 0.61), "maker": (0.9, 1.1)})
    held = fallen(0.2, **{"of": "needle", "needle-limit": 5.0})
    start = curve({"quarter": 12.0, "half": 22.0})
    return [set_high(), lean(tmp_path / "log.csv"), fallen(0.01), fallen(0.2), fallen(0.7), opened, held, start]


def test_everything_told_is_an_answer_of_the_rules(base: Knowledge, pages: list[Page]) -> None:
    told = [(name, text) for page in pages for name, text in page.findings.items()]
    assert len(told) >= 10
    for name, text in told:
        assert understood(base.findings[name], text).answer in base.findings[name].answers


def test_every_caution_is_one_of_the_rules_and_stands_on_every_page(base: Knowledge, pages: list[Page]) -> None:
    for page in pages:
        assert page.cautions and set(page.cautions) <= set(base.cautions)


@pytest.mark.parametrize("width", [80, 40])
def test_no_line_is_wider_than_the_screen(pages: list[Page], width: int) -> None:
    for page in pages:
        lines = [line for line, _ in page_lines(page, width)]
        assert max(map(len, lines)) <= width


def test_no_page_tells_anyone_to_close_a_needle(pages: list[Page]) -> None:
    """The reader of lines is that of the random walks."""
    from test_random_walks import tells_to_weaken

    said = [sentence for page in pages for says in page.says for sentence in says.split(". ")]
    assert [sentence for sentence in said if tells_to_weaken(sentence)] == []


@pytest.mark.parametrize(
    ("cause", "page"),
    [
        ("seal-leaks-drive-side", fallen(0.2)),
        ("curve-steep-at-bottom", set_high()),
        ("inlet-needle-leaks", fallen(0.2, **{"of": "needle", "needle-limit": 5.0})),
    ],
)
def test_what_was_measured_moves_its_cause(base: Knowledge, cause: str, page: Page) -> None:
    def chance(**told: str) -> float:
        answers = {"machine": "helicopter", "under-load": "sags", **told}
        findings = {name: understood(base.findings[name], text) for name, text in answers.items()}
        ranked = examine(base, CaseState(findings=findings)).standing.of(cause)
        assert ranked is not None
        return ranked.probability

    assert chance(**page.findings) > 3 * chance()


def test_the_curve_told_twice_does_not_count_twice(base: Knowledge) -> None:
    """The figures at quarter and half stick, and the shape, are one curve: kin, damped."""
    family = next(kin for kin in base.kin.values() if "throttle-curve" in kin.of)
    assert {"throttle-curve-half", "curve-shape"} <= set(family.of)


class Typed:
    def __init__(self, *replies: str) -> None:
        self.waiting = list(replies)

    def __call__(self, lines: list[str]) -> str | None:
        return self.waiting.pop(0) if self.waiting else None


def test_a_leak_measured_in_the_walk_is_told_to_the_rules_with_its_number_kept(base: Knowledge, tmp_path: Path) -> None:
    readings = ("0, 0.40", "60 s 0.33 bar", "2 min, 4 psi", "")
    typed = Typed("hot and sags", "1", "none", "bench leak", "1", *readings, "?", "?", "?", "?", "?", "?", "?", "1")
    console, log = walk_with(base, typed, tmp_path)
    said = "\n".join(console.lines)
    assert said.index("Half a bar is the most for a crankcase") < said.index("Time since pumping stopped")
    assert "Limit                  5 % a minute" in said
    assert log.state.findings["leak-down"] == Answered("slow")
    assert log.state.bench[0].results[0].startswith("Lost in a minute: 17")
    assert dict(log.state.bench[0].inputs)["reading"].startswith("0 seconds, 0.4 bar; 60 seconds, 0.33 bar; 120 seconds")
