"""Ten thousand rules are read, checked and walked in time, and shortcuts taken for it conclude the same.

What fires, and what would lift a hold, is worked out here a second time in the plainest way.
"""

import math
import random
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import pytest
from benchmarks.large_pack import PACK, Stopwatch, chained, large_club

from diagnose.knowledge.chains import above, below, concluding
from diagnose.knowledge.checked import check
from diagnose.knowledge.model import KNOWN, All, Answered, Any, Is, IsNot, Knowledge, Means, Term, leaves
from diagnose.knowledge.packs import base_pack, load
from diagnose.planning.examine import ready
from diagnose.planning.lifting import way_to_lift
from diagnose.reasoning.reason import Conclusions, chainer_of, reason
from diagnose.testing import Owner, walk_with


def pack_of(folder: Path, entries: Iterator[str]) -> Path:
    (folder / "pack.yaml").write_text(PACK)
    (folder / "rules.yaml").write_text("".join(entries))
    return folder


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Knowledge:
    """The base rules with a made-up pack of 1,000 rules and 100 causes."""
    return load([base_pack(), pack_of(tmp_path_factory.mktemp("club"), large_club(1_000, random.Random(1)))])


def cases(knowledge: Knowledge, count: int) -> Iterator[dict[str, str]]:
    rng = random.Random(4)
    for _ in range(count):
        asked = rng.sample(list(knowledge.findings.values()), rng.randint(0, 40))
        yield {str(finding.id): str(rng.choice(list(finding.answers))) for finding in asked}


def holds(term: Term | None, answers: dict[str, str], concluded: set[str]) -> bool:
    match term:
        case Answered(finding, taken):
            return finding in answers and (taken == (KNOWN,) or answers[finding] in taken)
        case Is(condition):
            return condition in concluded
        case IsNot(condition):
            return condition not in concluded
        case All(terms):
            return all(holds(inner, answers, concluded) for inner in terms)
        case Any(terms):
            return any(holds(inner, answers, concluded) for inner in terms)
    return True


def fired(knowledge: Knowledge, answers: dict[str, str]) -> set[str]:
    """Conclude until nothing more follows; then every rule whose premise holds has fired."""
    concluded: set[str] = set()
    while True:
        more = {
            str(rule.outcome.condition)
            for rule in knowledge.rules.values()
            if isinstance(rule.outcome, Means) and holds(rule.when, answers, concluded)
        }
        if more <= concluded:
            return {name for name, rule in knowledge.rules.items() if holds(rule.when, answers, concluded)}
        concluded |= more


@pytest.mark.parametrize("rules", ["base", "club"])
def test_the_rules_that_fire_are_those_whose_premise_holds_in_150_random_cases(
    rules: str, request: pytest.FixtureRequest
) -> None:
    knowledge = request.getfixturevalue(rules)
    for answers in cases(knowledge, 150):
        assert {one.rule for one in chainer_of(knowledge).fire(answers) if one.rule} == fired(knowledge, answers)


def to_conclude(knowledge: Knowledge, it: Conclusions, condition: str, minutes: dict[str, float], above: set) -> float:
    """Minutes of the quickest way to a condition, by trying every way; none goes round in a circle."""
    if condition in it.conditions:
        return 0.0
    if condition in above:
        return math.inf

    def to_hold(term: Term | None) -> float:
        match term:
            case Answered(finding) if finding in it.answers:
                return 0.0 if holds(term, dict(it.answers), set()) else math.inf
            case Answered(finding):
                return minutes[finding]
            case Is(inner):
                return to_conclude(knowledge, it, str(inner), minutes, above | {condition})
            case All(terms):
                return sum(map(to_hold, terms))
            case Any(terms):
                return min(map(to_hold, terms))
        return 0.0

    rules = [r for r in knowledge.rules.values() if isinstance(r.outcome, Means) and r.outcome.condition == condition]
    return min((to_hold(rule.when) for rule in rules), default=math.inf)


def test_the_quickest_way_to_lift_a_hold_is_the_quickest_of_all_ways(base: Knowledge) -> None:
    minutes = {name: 1.0 + len(name) / 7 for name in base.findings}
    lifted = 0
    for answers in cases(base, 150):
        it = reason(base, answers)
        for hold, rules in it.holds.items():
            of_each = [
                min(
                    (to_conclude(base, it, str(leaf.condition), minutes, set())
                     for leaf in leaves(base.rules[rule].when) if isinstance(leaf, IsNot)),
                    default=math.inf,
                )
                for rule in rules
            ]  # fmt: skip
            unasked = {finding: cost for finding, cost in minutes.items() if finding not in answers}
            found = way_to_lift(base, it, (hold,), unasked)
            assert bool(found) == all(one < math.inf for one in of_each)
            if len(of_each) == 1 and found:
                lifted += 1
                assert sum(minutes[finding] for finding in found) <= of_each[0]
    assert lifted > 15


def test_ten_thousand_rules_are_checked_in_ten_seconds_and_an_answer_takes_a_fifth_of_one(tmp_path: Path) -> None:
    """Of the processor's time, so that what else the machine does plays no part."""
    pack = pack_of(tmp_path, large_club(10_000, random.Random(1)))
    start = time.process_time()
    assert check([base_pack(), pack]).errors == ()
    assert time.process_time() - start < 10
    knowledge = ready(load([base_pack(), pack]))
    rng = random.Random(1)
    answers = {name: str(rng.choice(list(finding.answers))) for name, finding in knowledge.findings.items()}
    owner = Stopwatch(Owner("it dies at idle", answers, frozenset(), knowledge), time.process_time, most=25)
    walk_with(knowledge, owner, tmp_path)
    assert len(owner.waits) >= 20
    assert median(owner.waits) < 0.2


def test_a_chain_of_two_thousand_conditions_each_reached_in_two_ways_is_no_trap(tmp_path: Path) -> None:
    """Trying every way would take 2 to the power of 2,000 steps."""
    knowledge = load([base_pack(), pack_of(tmp_path, chained(4_000, random.Random(1)))])
    start = time.process_time()
    minutes = dict.fromkeys(knowledge.findings, 1.0)
    silent = reason(knowledge, {})
    assert "made-0" in silent.holds["close-needle"]
    way_to_lift(knowledge, silent, ("close-needle",), minutes)
    seen = reason(knowledge, {"sign-1": "plain", "sign-2": "plain"})
    assert seen.conditions["state-0"].rests_on == {"sign-1", "sign-2"}
    assert time.process_time() - start < 5


def test_every_rule_of_a_chain_is_met_once_the_nearest_first_both_ways(tmp_path: Path) -> None:
    knowledge = load([base_pack(), pack_of(tmp_path, chained(400, random.Random(1)))])
    down = [rule.id for rule in below(concluding(knowledge), ["state-0"])]
    assert down == [f"made-{number}" for number in range(1, 401)]
    up = [rule.id for rule in above(knowledge, ["state-199"])]
    assert up == [f"made-{2 * state + way}" for state in reversed(range(199)) for way in (1, 2)] + ["made-0"]
