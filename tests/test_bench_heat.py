"""Temperature logs: rise rate, hot spots, and heat while the speed sags. All logs here are invented.

Outside: scipy.stats.linregress for slope and standard error; Newton's law of cooling worked by hand for the head.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import linregress

from diagnose.bench.calculator import NotPossible, Page
from diagnose.bench.heat import CALCULATOR, work
from diagnose.bench.inputs import from_rules
from diagnose.bench.slopes import slopes
from diagnose.knowledge.model import Knowledge

TAU = 35.0
"""Seconds that the invented head takes for two thirds of a change."""


def _log(path: Path, story: str, seed: int = 1, step: float = 0.5, noise: float = 15, kelvin: float = 0.3) -> Path:
    """Idle, then seven minutes of work; the head follows its target by Newton's law of cooling. `lean`: from 4:10 on the
    speed sags by 8 % while the head climbs. `landing`: at 5:00 the throttle is closed and the head soaks hotter."""
    chance = np.random.default_rng(seed)
    time = np.arange(0, 420, step)
    speed, target = np.where(time < 40, 4000.0, 12_000.0), np.where(time < 40, 80.0, 135.0)
    if story == "lean":
        sags = time > 250
        speed[sags] -= np.interp(time[sags], [250, 310], [0, 900])
        target[sags] = 185
    if story == "landing":
        speed[time > 300] = 3000
        target[time > 300], target[time > 330] = 150, 70
    head = np.full(len(time), 20.0)
    for row in range(1, len(time)):
        head[row] = head[row - 1] + (target[row] - head[row - 1]) * (1 - math.exp(-step / TAU))
    head += chance.normal(0, kelvin, len(time))
    speed += chance.normal(0, noise, len(time))
    rows = [f"{t:.2f},{h:.2f},{s:.0f}" for t, h, s in zip(time, head, speed, strict=True)]
    path.write_text("\n".join(["time [s],CHT (C),rpm", *rows]), encoding="utf-8")
    return path


def page(path: Path, **more: object) -> Page:
    return work({"file": str(path), "limit": 180.0, **more})  # type: ignore[dict-item]


def text(told: Page) -> str:
    return " ".join(told.says)


def test_a_slope_and_its_error_are_those_of_ordinary_least_squares() -> None:
    chance = np.random.default_rng(2)
    time = np.sort(chance.uniform(0, 100, 200))
    values = 3 * time + chance.normal(0, 5, 200)
    slope, error = slopes(time, values, np.zeros(200, int), 30.0)
    for row in (60, 100, 140):
        near = abs(time - time[row]) <= 15
        expected = linregress(time[near], values[near])
        assert (slope[row], error[row]) == pytest.approx((expected.slope, expected.stderr), rel=1e-6)


def test_a_head_that_gains_thirty_kelvin_a_minute_is_said_to(tmp_path: Path) -> None:
    rows = [f"{t},{20 + t / 2:.1f}" for t in range(120)]
    (tmp_path / "ramp.csv").write_text("\n".join(["time,CHT C", *rows]), encoding="utf-8")
    told = page(tmp_path / "ramp.csv")
    fastest = next(row for row in told.rows if row.name == "fastest-rise")
    assert fastest.value == pytest.approx(30, abs=0.5)
    assert "still heating when the log ended" in text(told)


def test_the_rise_after_load_comes_on_is_newtons_law(tmp_path: Path) -> None:
    """dT/dt = (T_end - T) / tau; 20 s about a moment average it by tau/20 * (exp(10/tau) - exp(-10/tau))."""
    told = page(_log(tmp_path / "fine.csv", "fine", kelvin=0.01))
    fastest = next(row for row in told.rows if row.name == "fastest-rise")
    at_load = 80 - 60 * math.exp(-40 / TAU)
    by_hand = (135 - at_load) / TAU * 60 * math.exp(-10 / TAU)
    assert fastest.value == pytest.approx(by_hand, rel=0.1)


@pytest.mark.parametrize("story, answer", [("lean", "heats"), ("fine", "no"), ("landing", "no")])
@pytest.mark.parametrize("step, noise", [(0.5, 15), (0.5, 100), (3.0, 30)])
def test_heat_with_a_sag_is_found_where_it_is_and_nowhere_else(
    tmp_path: Path, story: str, answer: str, step: float, noise: float
) -> None:
    for seed in range(4):
        told = page(_log(tmp_path / "log.csv", story, seed, step, noise))
        assert told.findings["heat-with-sag"] == answer
        assert ("STOP:" in text(told)) == (answer == "heats")


def test_the_sag_is_shown_where_it_was(tmp_path: Path) -> None:
    told = page(_log(tmp_path / "lean.csv", "lean"))
    sag = next(band for band in told.charts[0].bands if band.name == "heats while it sags")
    assert 235 < sag.start < 262
    assert 300 < sag.end < 325
    assert {"lean-run", "detonation"} <= set(told.cautions)


def test_throttle_that_was_closed_explains_the_sag(tmp_path: Path) -> None:
    path = _log(tmp_path / "lean.csv", "lean")
    lines = path.read_text(encoding="utf-8").splitlines()
    closing = [f"{row},{np.interp(number * 0.5, [250, 310], [90, 60]):.0f}" for number, row in enumerate(lines[1:])]
    path.write_text("\n".join([lines[0] + ",throttle %", *closing]), encoding="utf-8")
    assert page(path).findings["heat-with-sag"] == "no"


@pytest.mark.parametrize("story", ["lean", "fine"])
def test_a_log_that_cannot_tell_says_why(tmp_path: Path, story: str) -> None:
    path = _log(tmp_path / "log.csv", story, noise=1500)
    assert "cannot tell, the speed scatters" in text(page(path))
    assert "heat-with-sag" not in page(path).findings
    no_speed = "\n".join(line.rsplit(",", 1)[0] for line in path.read_text(encoding="utf-8").splitlines())
    path.write_text(no_speed, encoding="utf-8")
    assert "cannot tell, the log has no speed" in text(page(path))


def test_the_unit_changes_nothing(tmp_path: Path) -> None:
    path = _log(tmp_path / "c.csv", "lean")
    other = ["stamp;Head F;motor"]
    for line in path.read_text(encoding="utf-8").splitlines()[1:]:
        time, head, speed = map(float, line.split(","))
        other.append(f"{time * 1000:.0f};{head * 1.8 + 32:.4f};{speed / 1000:.3f}".replace(".", ","))
    (tmp_path / "f.csv").write_text("\n".join(other), encoding="cp1252")
    same = page(tmp_path / "f.csv", time="stamp in ms", temperature="Head F", speed="motor in krpm")
    assert same.findings == page(path).findings
    assert [row.value for row in same.rows] == pytest.approx([row.value for row in page(path).rows], rel=0.01)


def test_gaps_spikes_and_junk_are_named_and_do_no_harm(tmp_path: Path) -> None:
    path = _log(tmp_path / "log.csv", "fine")
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[200] = lines[200].replace(lines[200].split(",")[1], "400.0")
    lines[300] = "1.5e2,--,12000"
    del lines[400:440]
    path.write_text("\n".join(lines), encoding="utf-8")
    told = page(path)
    assert f"1 reading out of line, the first at {path}:201" in text(told)
    assert f"{path}:301:7: '--' is no temperature" in text(told)
    assert "1 gap, 20 seconds" in text(told)
    assert told.findings["head-temperature"] in ("135 C", "136 C")
    drawn = told.charts[0].traces[0]
    assert sum(math.isnan(y) for y in drawn.y) == 1


def test_of_two_runs_in_one_file_the_longer_is_looked_at(tmp_path: Path) -> None:
    path = _log(tmp_path / "log.csv", "fine")
    heading, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([heading, *rows[:200], *rows]), encoding="utf-8")
    told = page(path)
    assert f"{path}:202:1" not in text(told)
    assert f"{path}:202: the time goes back here" in text(told)
    assert told.title == "Temperature log of 7.0 minutes"


def test_a_clock_that_passes_midnight_goes_on(tmp_path: Path) -> None:
    rows = [f"{t // 3600 % 24:02d}:{t // 60 % 60:02d}:{t % 60:02d};{60 + t % 7}" for t in range(86_300, 86_500)]
    (tmp_path / "night.csv").write_text("\n".join(["time;CHT in C", *rows]), encoding="utf-8")
    told = page(tmp_path / "night.csv", temperature="CHT in C")
    assert told.title == "Temperature log of 3.3 minutes"


def test_over_the_makers_limit_is_hot_and_the_rules_have_one_where_he_gave_none(tmp_path: Path, base: Knowledge) -> None:
    path = _log(tmp_path / "log.csv", "fine")
    assert page(path, limit=120.0).findings["head-temperature"] == "hot"
    filled = from_rules(CALCULATOR, {"file": str(path)}, base)
    assert filled["limit"] == base.findings["head-temperature"].answers["normal"].below


def test_a_log_that_shows_a_sag_holds_the_needle_and_the_power(base: Knowledge) -> None:
    from diagnose.reasoning.reason import reason

    concluded = reason(base, {"heat-with-sag": "heats"})
    assert {"close-needle", "run-at-power", "fly"} <= set(concluded.holds)
    assert "lean-run" in concluded.cautions


@pytest.mark.parametrize(
    "content, says",
    [
        ("", "log.csv:1:1: no columns are found"),
        ("time,CHT,rpm\n1,2,3\n", r"log.csv:1:1: 'CHT' does not say its unit; write --temperature 'CHT in C'"),
        ("time,CHT [C],rpm\n" + "\n".join(f"{t},90,9" for t in range(20)), "is 19 seconds long"),
        ("time,CHT [C]\n" + "\n".join(f"{t * 1000},90" for t in range(40)), "if the time is not in seconds"),
        ("time,CHT [C]\nx,y\n", r"no row can be read; first, .*log.csv:2:1: 'x' is no time"),
        ("time,CHT [bar]\n1,2\n", "CHT"),
    ],
)
def test_a_file_that_cannot_be_meant_is_one_line(tmp_path: Path, content: str, says: str) -> None:
    (tmp_path / "log.csv").write_text(content, encoding="utf-8")
    with pytest.raises(NotPossible, match=says) as caught:
        work({"file": str(tmp_path / "log.csv")})
    assert "\n" not in str(caught.value)
