"""Throttle curves: what the points say, what they do not, and a curve that never falls.

Outside: isotonic regression of scikit-learn; rms errors of the other methods, measured in the project's research notes,
section 6 (simulated, so that the truth is known).
"""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from sklearn.isotonic import IsotonicRegression

from diagnose.bench.calculator import NotPossible, Page
from diagnose.bench.curve import CALCULATOR, work
from diagnose.bench.fit import rising, valley
from diagnose.bench.inputs import from_rules
from diagnose.knowledge.model import Knowledge

CORNERS = (0.0, 25.0, 50.0, 75.0, 100.0)
TRUTH = (8.0, 22.0, 38.0, 58.0, 85.0)
START = {"quarter": 12.0, "half": 22.0}
FINE = np.linspace(0, 100, 101)


def values(page: Page) -> list[float]:
    return [row.value for row in page.rows]


def text(page: Page) -> str:
    return " ".join(page.says)


def test_one_point_a_corner_gives_isotonic_regression() -> None:
    assert rising(range(6), [1, 3, 2, 4, 3.5, 5], range(6), 100).values == pytest.approx(
        [1, 2.5, 2.5, 3.75, 3.75, 5], abs=0.01
    )
    chance = np.random.default_rng(5)
    for _ in range(20):
        at = np.linspace(0, 100, 9)
        x = np.repeat(at, 4)
        y = np.interp(x, CORNERS, (8, 22, 22, 22, 85)) + chance.uniform(-1, 1, 36)  # level, so that chance makes it fall
        expected = IsotonicRegression().fit(x, y).predict(at)
        assert rising(x, y, at, 100).values == pytest.approx(expected, abs=0.02)


MEASURED_ELSEWHERE = [
    (400, 0.03, False, 0.58),  # monotone least squares on five corners, the best of six ways
    (40, 0.03, False, 1.91),
    (400, 0.08, True, 0.48),  # the same, re-weighted after Huber; without it 2.14
    (40, 0.08, True, 1.50),
]


@pytest.mark.parametrize("count, share, one_sided, others", MEASURED_ELSEWHERE)
def test_the_curve_is_no_worse_than_the_best_of_six_ways_measured(
    count: int, share: float, one_sided: bool, others: float
) -> None:
    chance = np.random.default_rng(3)
    errors = []
    for _ in range(15):
        x = chance.uniform(0, 100, count)
        far = 25.0 if one_sided else chance.choice([-20.0, 20.0], count)
        y = np.interp(x, CORNERS, TRUTH) + chance.normal(0, 3, count) + far * (chance.random(count) < share)
        drawn = np.interp(FINE, CORNERS, rising(x, y, CORNERS, 100).values)
        errors.append(np.sqrt(np.mean((drawn - np.interp(FINE, CORNERS, TRUTH)) ** 2)))
    assert np.mean(errors) <= others


@settings(max_examples=100, deadline=None)
@given(
    points=some.lists(some.tuples(some.floats(-100, 100), some.floats(0, 100)), max_size=12),
    corners=some.integers(2, 33),
)
def test_no_points_make_the_curve_fall(points: list[tuple[float, float]], corners: int) -> None:
    page = work({"point": tuple(points), "curve-points": float(corners), **START})
    assert len(page.rows) == corners
    assert all(0 <= value <= 100 for value in values(page))
    assert all(after >= before - 1e-9 for before, after in zip(values(page), values(page)[1:], strict=False))


def test_an_idle_up_curve_is_split_at_its_lowest_point() -> None:
    at = np.linspace(0, 100, 9)
    x = np.random.default_rng(1).uniform(0, 100, 400)
    truth = 30 + 0.9 * np.abs(x - 50)
    fitted = valley(x, truth + np.random.default_rng(2).normal(0, 3, 400), at, 100)
    assert at[fitted.lowest] == 50
    assert fitted.values == pytest.approx(30 + 0.9 * np.abs(at - 50), abs=2)
    rises_only = rising(x, truth, at, 100).values  # what a curve that never falls makes of it
    assert max(abs(np.asarray(rises_only) - 30 - 0.9 * np.abs(at - 50))) > 10
    page = work({"point": ((-100.0, 80.0), (-50.0, 40.0), (0.0, 30.0), (50.0, 40.0), (100.0, 80.0)), "shape": "v"})
    assert values(page) == pytest.approx([80, 40, 30, 40, 80], abs=0.5)
    assert "lowest point is taken at 0 % stick" in text(page)


def test_a_point_far_off_is_named_and_has_no_say() -> None:
    good = tuple((float(x), float(np.interp(x, CORNERS, TRUTH))) for x in range(0, 101, 10))
    page = work({"point": (*good, (60.0, 90.0)), **START})
    assert "point 12 (60 % stick, 90 % throttle, 44 % throttle over the curve)" in text(page)
    assert values(page) == pytest.approx(TRUTH, abs=0.5)


def test_where_nothing_was_measured_a_start_is_offered_and_said_to_be_one() -> None:
    page = work({"point": ((45.0, 30.0), (50.0, 33.0), (55.0, 35.0), (74.0, 50.0), (76.0, 52.0)), **START})
    assert [row.written.endswith("NOT measured") for row in page.rows] == [True, True, False, False, True]
    assert values(page)[0] <= values(page)[1] == 12
    assert values(page)[4] == pytest.approx(values(page)[3])
    assert "Nothing is known for stick 0 to 50 % and 75 to 100 %" in text(page)
    assert {(band.start, band.end) for band in page.charts[0].bands} == {(0, 50), (75, 100)}
    assert {"low-speed-way-out", "failsafe-first", "turning-blades"} <= set(page.cautions)


def test_a_start_never_gives_more_throttle_than_was_measured_above_it() -> None:
    page = work({"point": ((48.0, 8.0), (52.0, 9.0)), **START})
    assert max(values(page)[:2]) <= values(page)[2] < 10


def test_without_any_start_the_unknown_stays_unknown() -> None:
    page = work({"point": ((50.0, 30.0),)})
    assert [math.isnan(value) for value in values(page)] == [True, True, False, True, True]
    assert "Measure there before the curve is set" in text(page)


def test_the_start_is_the_rules_lower_edge_of_what_is_typical(base: Knowledge) -> None:
    filled = from_rules(CALCULATOR, {"half": 24.0}, base)
    assert filled["quarter"] == base.findings["throttle-curve"].answers["low"].below
    assert filled["half"] == 24
    page = work(from_rules(CALCULATOR, {}, base))
    assert values(page) == pytest.approx([2, 12, 22, 32, 42])


def test_only_speeds_near_the_target_tell_a_throttle() -> None:
    points = ((0.0, 8.0, 1500.0), (25.0, 22.0, 1490.0), (50.0, 38.0, 1510.0), (50.0, 20.0, 1300.0), (75.0, 58.0, 1500.0))
    page = work({"point": points, "target": 1500.0, **START})
    assert "4 of 5 points held 1500 rpm" in text(page)
    assert values(page)[2] == pytest.approx(38, abs=0.5)


def test_full_throttle_below_the_target_is_a_sag_and_no_matter_of_the_curve() -> None:
    points = ((50.0, 38.0, 1500.0), (75.0, 60.0, 1500.0), (95.0, 100.0, 1400.0))
    page = work({"point": points, "target": 1500.0, **START})
    assert page.findings["full-collective"] == "stays-down"
    assert "Never chase the speed with the H needle" in text(page)


def test_far_too_fast_at_low_stick_is_told() -> None:
    points = ((0.0, 25.0, 1800.0), (10.0, 25.0, 1750.0), (50.0, 38.0, 1500.0))
    page = work({"point": points, "target": 1500.0, **START})
    assert page.findings["low-collective-speed"] == "fast"


HELD = tuple((float(x), float(np.interp(x, CORNERS, TRUTH))) for x in range(0, 101, 5))


@pytest.mark.parametrize(
    "now, curve, half, shape",
    [
        ((8.0, 22.0, 38.0, 58.0, 85.0), "typical", "typical", "even"),
        ((20.0, 45.0, 60.0, 70.0, 85.0), "steep", "steep", "even"),
        ((0.0, 5.0, 20.0, 58.0, 100.0), "low", "low", "even"),
        ((8.0, 30.0, 22.0, 58.0, 85.0), "steep", "low", "dip"),
        ((8.0, 22.0, 38.0, 38.0, 85.0), "typical", "typical", "flat"),
        ((8.0, 18.0, 28.0, 90.0, 100.0), "typical", "low", "step"),
    ],
)
def test_the_curve_in_the_radio_is_judged_by_what_held_the_speed(
    now: tuple[float, ...], curve: str, half: str, shape: str
) -> None:
    found = work({"point": HELD, "now": now, **START}).findings
    assert (found["throttle-curve"], found["throttle-curve-half"], found["curve-shape"]) == (curve, half, shape)


def test_a_curve_that_cannot_be_compared_goes_to_the_rules_as_a_number(base: Knowledge) -> None:
    found = work({"now": (10.0, 40.0, 60.0, 80.0, 100.0)}).findings
    assert (found["throttle-curve"], found["throttle-curve-half"]) == ("40 %", "60 %")
    assert base.findings["throttle-curve"].band(40).id == "steep"


def test_points_that_dip_are_said_to_and_the_curve_does_not_follow() -> None:
    dipping = tuple((x, y - 22 * (x == 50)) for x, y in HELD for _ in range(3) if x % 25 == 0)
    page = work({"point": dipping, **START})
    assert page.findings["curve-shape"] == "dip"
    assert "dip by 6 % between 25 and 50 % stick" in text(page)
    assert values(page)[2] >= values(page)[1]


def _flight(path: Path, wiggles: bool) -> Path:
    """A log in which the throttle trails the stick with the half second of a governor. Invented."""
    chance = np.random.default_rng(4)
    time = np.arange(0, 300, 0.2)
    steps = chance.uniform(0, 100, 60)
    stick = 50 + 45 * np.sin(time) if wiggles else steps[(time // 5).astype(int)]
    throttle = np.zeros(len(time))
    throttle[0] = np.interp(stick[0], CORNERS, TRUTH)
    for row in range(1, len(time)):
        throttle[row] = throttle[row - 1] + (np.interp(stick[row], CORNERS, TRUTH) - throttle[row - 1]) * 0.2 / 0.5
    lines = ["collective %;throttle [%];head (rpm);time [s]"]
    lines += [f"{s:.1f};{g:.1f};1500;{t:.1f}".replace(".", ",") for s, g, t in zip(stick, throttle, time, strict=True)]
    path.write_text("\n".join([*lines[:500], "LINK LOST", *lines[500:]]), encoding="utf-8")
    return path


def test_rows_soon_after_a_move_of_the_stick_are_left_out(tmp_path: Path) -> None:
    """All rows: 3.2 % rms; steady rows only: 0.44 % (research notes, section 6, half a second of lag)."""
    page = work({"file": str(_flight(tmp_path / "flight.csv", wiggles=False)), **START})
    assert values(page) == pytest.approx(TRUTH, abs=1)
    assert "of 1500 rows of the log are taken" in text(page)
    assert f"{tmp_path / 'flight.csv'}:501:1: 'LINK LOST' is no stick" in text(page)


def test_a_log_with_no_steady_row_measures_nothing(tmp_path: Path) -> None:
    page = work({"file": str(_flight(tmp_path / "flight.csv", wiggles=True)), **START})
    assert "0 of 1500 rows" in text(page)
    assert page.title == "Throttle curve: a start only, no corner point is measured"


@pytest.mark.parametrize(
    "wrong, says",
    [
        ({"now": (10.0,)}, "one corner point is no curve"),
        ({"quarter": 30.0, "half": 20.0}, "a starting curve does not fall"),
        ({"curve-points": 2.5}, "no whole number"),
        ({"curve-points": 2.0, "shape": "v"}, "three corner points or more"),
        ({"stick": "collective"}, "give --file too"),
        ({"file": "no-such.csv"}, "no-such.csv: No such file"),
    ],
)
def test_what_cannot_be_meant_is_one_line(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(NotPossible, match=says) as caught:
        work(wrong)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)
