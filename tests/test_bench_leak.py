"""Leak-down and pop-off: from gauge readings to a rate with its uncertainty, judged by the maker's or the rules' limits.

Outside: exponential decay worked by hand; a leaking vessel integrated by scipy.integrate.solve_ivp from the gas law, with
the compressible Hagen-Poiseuille flow of a capillary and Bernoulli's flow of a hole; Student's t from a printed table.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from diagnose.bench.calculator import NotPossible, Page
from diagnose.bench.decay import decay
from diagnose.bench.inputs import from_rules
from diagnose.bench.leak import CALCULATOR, work
from diagnose.knowledge.model import Knowledge

AIR = 1.01325
LIMITS = {"limit": 5.0, "at-once": 50.0, "needle-limit": 5.0, "least": 85.0, "most": 115.0}


def page(*readings: tuple[float, float], **more: object) -> Page:
    return work({**LIMITS, "reading": readings, **more})  # type: ignore[dict-item]


def row(told: Page, name: str) -> float:
    return next(one.value for one in told.rows if one.name == name)


def test_a_pressure_that_halves_each_minute_loses_half_in_a_minute() -> None:
    told = page((0, 0.4), (60, 0.2), (120, 0.1), (180, 0.05), **{"at-once": 30.0})
    assert row(told, "lost") == pytest.approx(50, abs=0.01)
    assert row(told, "rate") == pytest.approx(0.4 * math.log(2), rel=1e-3)
    assert told.findings == {"leak-down": "falls"}


def test_a_decay_worked_by_hand() -> None:
    """p = 0.4 exp(-t / 300 s): in a minute 1 - exp(-0.2) = 18.13 % go; of the 30 ml 30 * 0.4 * 0.2 / 1.01325 ml go a minute
    at first, by Boyle."""
    told = page(*((t, 0.4 * math.exp(-t / 300)) for t in (0.0, 30.0, 60.0, 120.0)), volume=30.0)
    assert row(told, "lost") == pytest.approx(18.127, abs=0.01)
    assert row(told, "flow") == pytest.approx(2.3686, abs=0.002)
    assert told.findings == {"leak-down": "slow"}


def _vessel(leak: str, pressure: float, lost: float) -> tuple[np.ndarray, float]:
    """Gauge pressure, bar, each 10 s of two minutes, and the share truly lost in the first; isothermal, ideal gas."""

    def flow(_: float, above: np.ndarray) -> np.ndarray:
        over = np.maximum(above, 0)
        return -lost * (over * (over + 2 * AIR) if leak == "seep" else np.sqrt(over))

    solved = solve_ivp(flow, (0, 120), [pressure], t_eval=np.arange(0, 121, 10), rtol=1e-9, atol=1e-12)
    return solved.y[0], 1 - solved.y[0][6] / pressure


@pytest.mark.parametrize("leak, rate", [("seep", 0.0005), ("seep", 0.003), ("hole", 0.0004), ("hole", 0.002)])
@pytest.mark.parametrize("readings", [13, 7, 4])
def test_the_loss_of_a_real_vessel_lies_within_the_uncertainty(leak: str, rate: float, readings: int) -> None:
    pressures, truth = _vessel(leak, 0.45, rate)
    found = decay(np.arange(readings) * 10.0, pressures[:readings], 0.005)
    assert abs(found.lost - truth) <= found.uncertain
    assert found.uncertain < 0.2


def test_nineteen_of_twenty_intervals_hold_the_truth() -> None:
    """With a gauge read to 0.01 bar; 95 % are meant."""
    chance = np.random.default_rng(7)
    times = np.arange(0, 91, 15.0)
    held = []
    for _ in range(120):
        start, rate = chance.uniform(0.3, 0.5), chance.uniform(1e-4, 4e-3)
        found = decay(times, np.round(start * np.exp(-rate * times), 2), 0.01)
        held.append(abs(found.lost - (1 - math.exp(-60 * rate))) <= found.uncertain)
    assert np.mean(held) >= 0.93


def test_two_readings_close_together_cannot_tell_and_say_how_long_to_watch() -> None:
    told = page((0, 0.40), (10, 0.40))
    assert told.findings == {}
    assert "Cannot tell" in told.says[0] and "Watch it for about 1 minute" in told.says[0]


def test_a_minute_with_a_small_fall_holds() -> None:
    assert page((0, 0.40), (60, 0.395), (120, 0.39), (180, 0.385), division=0.005).findings == {"leak-down": "holds"}


def test_a_pressure_that_rises_is_warming_air_and_no_finding() -> None:
    told = page((0, 0.40), (60, 0.44), (120, 0.48))
    assert told.findings == {}
    assert "one temperature" in told.says[0]


def test_the_limits_are_the_users_or_else_the_rules_own(base: Knowledge) -> None:
    readings = tuple((t, 0.4 * math.exp(-t / 1000)) for t in (0.0, 60.0, 120.0, 180.0))  # 5.8 % a minute
    filled = from_rules(CALCULATOR, {"reading": readings, "division": 0.001}, base)
    assert filled["limit"] == base.findings["leak-down"].answers["holds"].below
    assert work(filled).findings == {"leak-down": "slow"}
    assert work({**filled, "limit": 10.0}).findings == {"leak-down": "holds"}
    assert work({**filled, "limit": 2.0, "at-once": 4.0}).findings == {"leak-down": "falls"}


@pytest.mark.parametrize("answer", ["holds", "slow", "falls"])
def test_the_rules_take_the_answer_and_a_percentage_alike(base: Knowledge, answer: str) -> None:
    assert base.findings["leak-down"].band({"holds": 2.0, "slow": 20.0, "falls": 70.0}[answer]).id == answer


def test_under_the_needle_the_same_fall_is_the_needles() -> None:
    readings = tuple((t, 0.8 * math.exp(-t / 100)) for t in (0.0, 10.0, 20.0, 30.0))
    assert page(*readings, of="needle").findings == {"inlet-seat": "sinks"}


def test_the_opening_pressure_has_students_interval() -> None:
    """0.92, 0.95, 0.90: mean 0.9233, s 0.02517, t(0.975, 2) = 4.303: +/- 0.0625 bar."""
    told = page(opened=(0.92, 0.95, 0.90), maker=(0.92,))
    assert row(told, "opened") == pytest.approx(0.9233, abs=1e-4)
    assert told.rows[0].written == "0.92 bar (+/- 0.06)"
    assert told.findings == {"pop-off": "right"}


@pytest.mark.parametrize(
    "opened, maker, answer",
    [
        ((0.60, 0.61, 0.60), (0.9,), "low"),
        ((1.20, 1.21, 1.20), (0.9,), "high"),
        ((1.00, 1.01, 1.00), (0.9, 1.1), "right"),
        ((1.20, 1.21, 1.20), (1.1, 0.9), "high"),
    ],
)
def test_the_opening_pressure_is_judged_by_the_makers_figure_or_range(
    opened: tuple[float, ...], maker: tuple[float, ...], answer: str
) -> None:
    assert page(opened=opened, maker=maker).findings == {"pop-off": answer}


def test_an_opening_pressure_on_the_edge_or_without_a_figure_tells_nothing() -> None:
    assert page(opened=(0.76, 0.77), maker=(0.9,)).findings == {}
    assert page(opened=(0.76, 0.77)).findings == {}


def test_a_logged_fall_is_read_in_its_own_unit(tmp_path: Path) -> None:
    rows = [f"{t / 60:.2f},{0.4 * math.exp(-t / 300) * 14.5038:.4f}" for t in range(0, 121, 10)]
    (tmp_path / "leak.csv").write_text("\n".join(["time (min),pressure (psi)", *rows]), encoding="utf-8")
    told = page(file=str(tmp_path / "leak.csv"), division=0.001)
    assert row(told, "lost") == pytest.approx(18.13, abs=0.05)


@pytest.mark.parametrize(
    "wrong, says",
    [
        ({}, "nothing to work on"),
        ({"reading": ((0.0, 0.4),)}, "two times or more"),
        ({"reading": ((0.0, 0.0), (60.0, 0.0))}, "every reading is 0 bar"),
        ({"opened": (1.0,), "maker": (1.0, 2.0, 3.0)}, "3 figures"),
        ({"time": "t"}, "give --file too"),
    ],
)
def test_what_cannot_be_meant_is_one_line(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(NotPossible, match=says):
        work({**LIMITS, **wrong})  # type: ignore[dict-item]
