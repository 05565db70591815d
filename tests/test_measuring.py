"""The measurement itself: cases come by the rules' own odds, the owner errs as told, and the scores are counted right."""

import json
from pathlib import Path
from random import Random

import numpy as np
import pytest
from sklearn.calibration import calibration_curve

from diagnose.cli import main
from diagnose.knowledge.model import Knowledge
from diagnose.measuring import cases
from diagnose.measuring.cases import CLEAN, DrawnCase, Owner, OwnerKnows, draw, machine_findings
from diagnose.measuring.scores import scores
from diagnose.measuring.series import measure
from diagnose.measuring.table import document, lines
from diagnose.measuring.walks import Verdict, Walked, place_after_a_slip, walk
from diagnose.measuring.ways import PLANNED, ways
from diagnose.reasoning.rank import OTHER, TWO_FAULTS
from diagnose.reasoning.reason import reason
from diagnose.reasoning.tables import shown_rates, tables_of


def test_faults_are_drawn_as_often_as_the_rules_take_them(bench: Knowledge) -> None:
    drawn = [draw(bench, number, 1, CLEAN).faults for number in range(3000)]
    share = {many: sum(len(faults) == many for faults in drawn) / 3000 for many in (0, 1, 2)}
    for many, expected in ((0, OTHER), (2, TWO_FAULTS), (1, 1 - OTHER - TWO_FAULTS)):
        assert share[many] == pytest.approx(expected, abs=4 * (expected * (1 - expected) / 3000) ** 0.5)
    common = tables_of(bench).how_common
    for cause, expected in zip(tables_of(bench).causes, common / common.sum(), strict=True):
        if bench.causes[cause].needs:
            continue  # Redrawn when the machine drawn with it lacks the part, so it comes a little more rarely.
        singles = [faults[0] for faults in drawn if len(faults) == 1]
        assert singles.count(cause) / len(singles) == pytest.approx(expected, abs=0.05)


def test_answers_are_drawn_as_often_as_the_cause_shows_them(bench: Knowledge) -> None:
    drawn = [draw(bench, number, 2, CLEAN) for number in range(3000)]
    loose = [case.shows["bolts"] for case in drawn if case.faults == ("bolts-loose",)]
    finding = bench.findings["bolts"]
    expected = shown_rates(finding, bench.causes["bolts-loose"].shows["bolts"])
    for answer, share in zip(finding.answers, expected, strict=True):
        assert loose.count(str(answer)) / len(loose) == pytest.approx(share, abs=0.06)


def test_a_drawn_machine_can_have_its_fault_and_its_answers_agree(base: Knowledge) -> None:
    for number in range(12):
        case = draw(base, number, 3, CLEAN)
        seen = reason(base, case.shows)
        parts = {name: case.shows[name] for name in machine_findings(base) if name in case.shows}
        assert reason(base, parts).applies(tuple(n for fault in case.faults for n in base.causes[fault].needs))
        assert seen.clashes == ()


def test_the_same_number_is_the_same_case(base: Knowledge) -> None:
    assert draw(base, 5, 1, OwnerKnows()) == draw(base, 5, 1, OwnerKnows())
    assert draw(base, 5, 1, OwnerKnows()) != draw(base, 5, 2, OwnerKnows())


def test_the_owner_tells_first_what_is_so_and_needs_no_check(base: Knowledge) -> None:
    """Picked from his answers instead, his rarest words would mostly be his mistakes: 5 in 100 answers are wrong."""
    told = [
        (case, name)
        for number in range(24)
        for case in [draw(base, number, 6, OwnerKnows(0.0, 0.05))]
        for name in case.complaint
    ]
    assert all(base.findings[name].check is None for _, name in told)
    mistaken = [name for case, name in told if case.owner.told[name] != case.shows[name]]
    assert 0 < len(mistaken) < 0.15 * len(told)


def test_the_owner_errs_as_often_as_told(base: Knowledge) -> None:
    drawn = [draw(base, number, 4, OwnerKnows(0.15, 0.05)) for number in range(12)]
    certain = machine_findings(base)
    asked = [(case, name) for case in drawn for name in case.shows if name not in certain]
    known = [(case, name) for case, name in asked if name in case.owner.told]
    wrong = [1 for case, name in known if case.owner.told[name] != case.shows[name]]
    assert len(known) / len(asked) == pytest.approx(0.85, abs=0.03)
    assert len(wrong) / len(known) == pytest.approx(0.05, abs=0.02)
    clean = draw(base, 0, 4, CLEAN)
    assert clean.owner.told == clean.shows


def test_of_two_faults_one_put_right_leaves_what_the_other_shows_alone(
    base: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What neither has a say in stays as it was. Over many cases each answer is met as often as with that fault alone."""
    monkeypatch.setattr(cases, "TWO_FAULTS", 1 - OTHER)  # every machine drawn is worth the drawing
    pairs = [case for case in (draw(base, number, 9, CLEAN) for number in range(24)) if len(case.faults) == 2]
    assert len(pairs) > 15
    parts = machine_findings(base)
    expected: list[float] = []
    met: list[bool] = []
    for case in pairs:
        for mended, other in (case.faults, reversed(case.faults)):
            left = case.left[mended].told
            spoken_of = base.causes[mended].shows.keys() | base.causes[other].shows.keys()
            stays = [name for name in case.shows if name in left and name not in spoken_of]
            changed = [name for name in stays if left[name] != case.shows[name]]
            # A few are drawn anew where answers cannot all be true.
            assert len(changed) < 0.05 * len(stays)
            for name, tell in base.causes[other].shows.items():
                if name in left and name not in parts and name in base.findings:
                    finding = base.findings[name]
                    rates = shown_rates(finding, tell)
                    expected.append(float(rates[0]))
                    met.append(left[name] == next(iter(finding.answers)))
    assert sum(met) / len(met) == pytest.approx(sum(expected) / len(expected), abs=0.03)


@pytest.mark.parametrize("number", range(4))
def test_every_way_ends_and_its_minutes_add_up(bench: Knowledge, number: int) -> None:
    case = draw(bench, number, 5, OwnerKnows())
    for way in ways(bench, number).values():
        walked = walk(bench, case, way)
        retest = min(retest.minutes for retest in bench.retests.values())
        cures = sum(bench.causes[fault].fix.minutes + retest for fault in case.faults)
        assert walked.minutes_to_cause == walked.asking_minutes + walked.vain_minutes
        assert walked.minutes == walked.minutes_to_cause + walked.right_minutes
        assert walked.asked >= walked.asked_before_verdict
        assert walked.right_minutes == cures if walked.cured else walked.vain_minutes >= 120


def test_a_fault_that_no_rule_knows_is_given_up_and_never_called_cured(bench: Knowledge) -> None:
    unknown = next(case for case in (draw(bench, number, 6, CLEAN) for number in range(200)) if not case.faults)
    assert not walk(bench, unknown, ways(bench, 0)[PLANNED]).cured


def walked_with(probability: float, leader: str, first_three: tuple[str, ...], minutes: float) -> Walked:
    case = DrawnCase(0, ("loose",), {}, Owner({}, {}), {}, ())
    return Walked(case, Verdict(leader, probability, first_three), leader == "loose", 4, 4, 1, minutes, 2.0, 5.0)


def test_scores_are_counted_as_by_hand() -> None:
    good = walked_with(0.62, "loose", ("loose", "seal"), 10.0)
    near = walked_with(0.68, "seal", ("seal", "loose"), 20.0)
    lost = walked_with(0.15, "seal", ("seal", "vent"), 60.0)
    got = scores([good, good, near, lost])
    assert (got.first, got.first_three, got.asked) == (0.5, 0.75, 4)
    assert (got.minutes_to_cause, got.minutes) == (27.0, 32.0)
    # 0.6 to 0.7 holds three, said 0.64, true 2/3; 0.1 to 0.2 holds one, said 0.15, true 0.
    assert got.calibration_error == pytest.approx((3 * abs(0.64 - 2 / 3) + 0.15) / 4)
    assert got.confused == (("loose", "seal", 2),)


def test_the_reliability_is_that_of_scikit_learn() -> None:
    rng = np.random.default_rng(1)
    said = rng.random(400)
    true = rng.random(400) < said**1.5
    some = [walked_with(float(p), "loose" if is_true else "seal", (), 1.0) for p, is_true in zip(said, true, strict=True)]
    ours = [share for share in scores(some).reliability if share.walks]
    theirs_true, theirs_said = calibration_curve(true, said, n_bins=10)
    assert np.allclose([share.true for share in ours], theirs_true)
    assert np.allclose([share.said for share in ours], theirs_said)


def test_one_wrong_answer_among_eight_right_ones_does_not_lose_the_cause(base: Knowledge) -> None:
    places = []
    for number in range(40):
        case = draw(base, number, 8, CLEAN)
        if len(case.faults) == 1:
            places.append(place_after_a_slip(base, case, Random(f"8/{number}/slip")))
    assert len(places) > 28
    assert sum(place <= 5 for place in places) / len(places) >= 0.9


def test_a_measurement_is_readable_and_the_same_on_any_number_of_processors(bench: Knowledge) -> None:
    packs = [Path(__file__).parent / "packs" / "bench"]
    one, two = (measure(packs, 8, 6, 1, OwnerKnows(), processes) for processes in (1, 2))
    assert one == two
    text = list(lines(one, bench))
    assert max(map(len, text)) <= 80
    for word in ("as planned", "random order", "Best fixed order", "calibration error", "Most often taken"):
        assert any(word in line for line in text), word
    written = json.loads(json.dumps(document(one)))
    assert written["by_way"]["as planned"]["walks"] == 6
    assert written["noisy"]["walks"] == 8
    assert set(written["minutes_saved"]) == set(written["by_way"]) - {"as planned"}


def test_the_command_says_what_is_wrong_with_a_number(capsys: pytest.CaptureFixture[str]) -> None:
    for argument in ("--cases=1", "--unknown=100", "--wrong=x"):
        with pytest.raises(SystemExit) as ended:
            main(["measure", argument])
        assert ended.value.code == 2
        assert argument.split("=")[1] in capsys.readouterr().err
