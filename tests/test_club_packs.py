"""The two packs of an invented club: sound, proved both ways, different from each other, and no less safe than the base."""

import math
import random
from pathlib import Path

import pytest

from diagnose.clubrules.comparing import compare
from diagnose.clubrules.trying import rules_of, try_packs
from diagnose.knowledge.checked import check
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load
from diagnose.reasoning.reason import reason

RULES = Path(__file__).parents[1] / "rules"
HANDBOOKS = sorted((Path(__file__).parent / "handbooks").glob("*.yaml"))
PACKS = ("twins", "mountain")


@pytest.fixture(scope="module", params=PACKS)
def with_pack(request: pytest.FixtureRequest) -> Knowledge:
    return load([base_pack(), RULES / request.param])


@pytest.mark.parametrize("name", PACKS)
def test_the_pack_is_marked_as_invented_and_says_nothing_wrong_nor_unwise(name: str) -> None:
    found = check([base_pack(), RULES / name])
    assert (found.errors, found.advice) == ((), ())
    assert "invented" in found.knowledge.packs[1].name
    assert "invented" in (RULES / name / "README.md").read_text()


def test_at_least_fifteen_rules_each_fire_in_one_case_and_are_silent_in_another(with_pack: Knowledge) -> None:
    packs = with_pack.packs[1:]
    assert len(rules_of(with_pack, packs)) >= 15
    trial = try_packs(with_pack, packs)
    assert len(trial.cases) >= 10
    assert trial.well


def test_the_two_share_nothing_and_load_together() -> None:
    together = load([base_pack(), *(RULES / name for name in PACKS)])
    for shelf in (together.findings, together.causes, together.rules, together.checks, together.conditions):
        assert any(name.startswith("twins-") for name in shelf)
        assert any(name.startswith("mountain-") for name in shelf)
    assert try_packs(together, together.packs[1:]).well


def test_no_caution_and_no_hold_of_the_base_goes_away(base: Knowledge, with_pack: Knowledge) -> None:
    assert not compare(base, with_pack, HANDBOOKS[:40]).less_safe
    rng = random.Random(8)
    for _ in range(60):
        asked = rng.sample(list(base.findings.values()), 12)
        answers = {str(finding.id): str(rng.choice(list(finding.answers))) for finding in asked}
        before, after = reason(base, answers), reason(with_pack, answers)
        assert before.cautions.keys() <= after.cautions.keys()
        assert before.holds.keys() <= after.holds.keys()


def test_a_tank_closed_in_the_valley_presses_with_a_tenth_of_a_bar_a_thousand_metres_up() -> None:
    """ISO 2533 (1975), Standard Atmosphere: 1013.25 hPa at sea level, 6.5 K less a kilometre, power 5.2559; from memory."""
    above = 1013.25 * (1 - 0.0065 * 1_000 / 288.15) ** 5.2559
    assert math.isclose((1013.25 - above) / 1_000, 0.1, abs_tol=0.02)
    assert "a tenth of a bar" in (RULES / "mountain" / "causes.yaml").read_text()


def test_what_was_set_up_here_does_not_go_down_as_it_is() -> None:
    """Dense air on a lean setting is the one mistake that costs the engine, so running at power waits."""
    knowledge = load([base_pack(), RULES / "mountain"])
    leaner = {"machine": "helicopter", "needle-moves-lately": "leaner"}
    assert "mountain-going-down-holds" in reason(knowledge, {**leaner, "mountain-flies-next": "valley"}).fired
    assert "mountain-going-down-holds" not in reason(knowledge, {**leaner, "mountain-flies-next": "here"}).fired
