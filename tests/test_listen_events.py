"""What happens in a recording, what the rules are told of it, and what a person must say first.

The truth of each sound is written in it. That about 5 % four-stroking as the load comes off is right while running in is
common practice (project's trade notes, from memory); the other limits are the base rules' own.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from engine_sounds import Sound, flight, hover, make

from diagnose.knowledge.model import Knowledge
from diagnose.listen.answers import answers
from diagnose.listen.hearing import hear
from diagnose.listen.known import Known
from diagnose.listen.measures import Measured, measured
from diagnose.listen.record import record

Speed = Callable[[Any], Any]


def heard_in(folder: Path, known: Known, **changes: Any) -> Measured:
    made = make(Sound(**{"seconds": 12, "rate": 16_000, "noise": 12, "speed": hover(), "seed": 21, **changes}))
    soundfile.write(folder / "it.wav", made.samples, made.rate)
    return measured(hear(folder / "it.wav", known))


def told(knowledge: Knowledge, found: Measured) -> dict[str, str]:
    return {one.finding: one.answer for one in answers(knowledge, found.of, "it.wav")}


def swinging(middle: float, share: float, period: float) -> Speed:
    return lambda t: middle * (1 + share * np.sin(2 * np.pi * t / period))


BY_ITSELF = Known(by_itself=True)


def test_a_spark_that_goes_cuts_dead(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, BY_ITSELF, dies=9.0)
    assert found.stop is not None
    assert found.stop.at == pytest.approx(9.0, abs=0.4)
    assert told(base, found)["how-it-stops"] == "cuts-dead"


def test_fuel_that_runs_out_fades(base: Knowledge, tmp_path: Path) -> None:
    fading = heard_in(tmp_path, BY_ITSELF, speed=lambda t: np.where(t < 5, 12e3, 12e3 * np.exp(-(t - 5) / 4)), dies=9.5)
    assert told(base, fading)["how-it-stops"] == "fades"
    assert fading.of["stop-fall"].value == pytest.approx(4.5, abs=1.0)


def test_lean_speeds_up_first(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, BY_ITSELF, speed=lambda t: np.interp(t, [0, 7, 9.4], [11e3, 11e3, 12.2e3]), dies=9.5)
    assert told(base, found)["how-it-stops"] == "speeds-up-first"


def test_how_it_stopped_is_answered_only_if_it_stopped_by_itself(base: Knowledge, tmp_path: Path) -> None:
    for known in (Known(), Known(by_itself=False)):
        found = heard_in(tmp_path, known, dies=9.0)
        assert found.stop is not None
        assert "how-it-stops" not in told(base, found)


def test_an_engine_that_goes_out_of_hearing_has_not_stopped(tmp_path: Path) -> None:
    made = make(Sound(seconds=14, rate=16_000, noise=None, speed=hover(), seed=21))
    away = made.samples * 10 ** np.interp(np.arange(made.samples.size) / made.rate, [0, 4, 10], [0, 0, -3])
    away += 0.003 * np.random.default_rng(1).standard_normal(away.size)
    soundfile.write(tmp_path / "away.wav", away, made.rate)
    heard = hear(tmp_path / "away.wav", BY_ITSELF)
    assert not heard.running[-40:].any()
    assert measured(heard).stop is None


def test_a_surge_has_its_period_depth_and_rhythm(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, Known(), speed=swinging(10_000, 0.05, 1.1), seconds=10)
    assert found.of["surge-period"].value == pytest.approx(1.1, abs=0.1)
    assert found.of["surge-depth"].value == pytest.approx(10, abs=1.5)
    said = told(base, found)
    assert said["surge-pattern"] == "regular"
    assert said["surge-period"] == "quick"
    assert found.dips == ()  # a surge is no row of sags


def test_a_ragged_surge_is_no_clock(base: Knowledge, tmp_path: Path) -> None:
    knots = np.arange(0, 21, 0.7)
    speeds = 9_500 * (1 + 0.05 * np.random.default_rng(3).standard_normal(len(knots)))
    found = heard_in(tmp_path, Known(), speed=lambda t: np.interp(t, knots, speeds), seconds=20)
    assert told(base, found).get("surge-pattern") in ("ragged", None)
    assert found.of["surge-alike"].low < 70


def test_a_throttle_that_is_moved_is_no_surge(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, Known(), speed=flight(seconds=20), seconds=20)
    assert found.of["surge-depth"].value is None
    assert "surge-pattern" not in told(base, found)


def test_a_sag_under_load_and_its_recovery_want_to_know_when_the_load_was_on(base: Knowledge, tmp_path: Path) -> None:
    def speed(t: Any) -> Any:
        return np.interp(t, [0, 4, 4.6, 7, 8.8, 12], [12e3, 12e3, 10.8e3, 10.8e3, 12e3, 12e3])

    without = heard_in(tmp_path, Known(), speed=speed)
    assert without.of["sag-depth"].value is None
    assert len(without.dips) == 1  # it is seen, and left to the person
    found = heard_in(tmp_path, Known(loads=((4.0, 7.0),)), speed=speed)
    assert found.of["sag-depth"].value == pytest.approx(10, abs=1)
    assert found.of["sag-recovery"].value == pytest.approx(1.6, abs=0.5)
    said = told(base, found)
    assert said["under-load"] == "sags"
    assert said["sag-recovery"] == "slowly"


def test_moments_without_a_spark_are_hiccups(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, Known(), cuts=((3.0, 3.06), (6.0, 6.2), (9.0, 9.5)))
    assert [round(at) for at in found.hiccups] == [3, 6, 9]
    assert told(base, found)["under-load"] == "cuts"


@pytest.mark.parametrize(("share", "answer"), [(0.01, "steady"), (0.08, "hunts")])
def test_an_idle_holds_or_hunts(base: Knowledge, tmp_path: Path, share: float, answer: str) -> None:
    found = heard_in(tmp_path, Known(speed=2_200), speed=swinging(2_200, share, 2.5), seconds=14)
    assert told(base, found)["idle"] == answer


def test_an_idle_that_climbs_is_told_from_one_that_stays(base: Knowledge, tmp_path: Path) -> None:
    climbs = heard_in(tmp_path, Known(speed=2_600), speed=lambda t: 2_000 + 30.0 * t, seconds=18)
    assert told(base, climbs)["idle-speed-trend"] == "creeps-up"
    stays = heard_in(tmp_path, Known(speed=2_200), speed=hover(2_200), seconds=18)
    assert told(base, stays)["idle-speed-trend"] == "stays"


# The running-in fact, clean under load, and burbling always.

WORK = Known(loads=((1.0, 5.0),), unloads=((6.0, 11.0),))


@pytest.mark.parametrize(
    ("burbles", "sound", "under"),
    [((), "clean", "none"), (((7.0, 7.3),), "light-burble", "clears"), (((6.5, 9.5),), "heavy-burble", "clears")],
)
def test_the_share_as_the_load_comes_off_is_what_running_in_is_judged_by(
    base: Knowledge, tmp_path: Path, burbles: tuple[tuple[float, float], ...], sound: str, under: str
) -> None:
    said = told(base, heard_in(tmp_path, WORK, stretches=burbles))
    assert said["load-off-sound"] == sound
    assert said["burble-under-load"] == under


def test_a_burble_that_stays_under_load_is_said_to_stay(base: Knowledge, tmp_path: Path) -> None:
    said = told(base, heard_in(tmp_path, WORK, stretches=((2.0, 4.5),)))
    assert said["burble-under-load"] == "stays"


def test_burbles_always_is_idle_and_power_alike(base: Knowledge, tmp_path: Path) -> None:
    most = ((0.5, 4.0), (4.5, 13.0), (13.4, 19.5))
    found = heard_in(tmp_path, Known(), speed=flight(seconds=20), seconds=20, stretches=most)
    assert told(base, found)["four-strokes"] == "always"


def test_a_measure_that_may_lie_on_either_side_of_a_limit_answers_nothing(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, WORK, stretches=((6.5, 7.2),))  # 14 %, between light and heavy
    assert "load-off-sound" not in told(base, found)


def test_every_answer_names_its_recording_and_its_number(base: Knowledge, tmp_path: Path) -> None:
    found = heard_in(tmp_path, WORK, stretches=((7.0, 7.3),))
    given = answers(base, found.of, "it.wav")
    assert given
    for one in given:
        assert one.reading.endswith("in it.wav")
        assert "%" in one.reading


def test_what_is_kept_of_an_hour_is_no_larger_than_of_a_minute(tmp_path: Path) -> None:
    made = make(Sound(seconds=30, rate=8_000, share=0.3, seed=2))
    soundfile.write(tmp_path / "it.wav", made.samples, made.rate)
    heard = hear(tmp_path / "it.wav")
    kept = record(heard, measured(heard), ())
    assert len(kept.speeds) <= 400
    assert len(kept.speeds) * kept.step == pytest.approx(30_000, rel=0.05)
    assert 0 < len(kept.burbles) <= 80
