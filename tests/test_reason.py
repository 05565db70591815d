"""Rules fire in strata, chain, and give the same conclusions for the same answers in whatever order."""

import json
import logging
import random
import subprocess
import sys

import pytest

from diagnose.knowledge.model import Knowledge
from diagnose.reasoning.reason import reason


def test_conditions_chain_and_know_the_answers_at_the_root(bench: Knowledge) -> None:
    """It sags, so it is lean under load, so lean is possible: the second link rests on the same answer."""
    conclusions = reason(bench, {"under-load": "sags"})
    assert set(conclusions.conditions) == {"lean-under-load", "lean-possible"}
    assert conclusions.conditions["lean-possible"].rests_on == {"under-load"}
    assert conclusions.conditions["lean-possible"].rules == ("lean-chain",)


def test_a_question_that_was_not_asked_is_not_a_no(bench: Knowledge) -> None:
    assert reason(bench, {}).conditions == {}
    assert reason(bench, {}).lacks == {}


def test_the_hold_on_closing_a_needle_stands_from_the_first_moment(bench: Knowledge) -> None:
    """Silence errs to the safe side: nothing is known, so no needle goes in."""
    assert "close-needle" in reason(bench, {}).holds


def test_the_hold_is_lifted_by_proof_and_comes_back_with_any_sign_of_lean(bench: Knowledge) -> None:
    rich = {"under-load": "burbles", "head-temperature": "cool"}
    assert "close-needle" not in reason(bench, rich).holds
    assert "close-needle" in reason(bench, {**rich, "idle": "hunts"}).holds


def test_every_answer_of_a_tell_counts_for_or_against(bench: Knowledge) -> None:
    """A steady idle speaks against loose bolts, which are known to make it hunt."""
    steady = [e for e in reason(bench, {"idle": "steady"}).evidence if e.cause == "bolts-loose"]
    hunts = [e for e in reason(bench, {"idle": "hunts"}).evidence if e.cause == "bolts-loose"]
    assert [(e.answer, e.word) for e in steady] == [("steady", None)]
    assert [(e.answer, e.word) for e in hunts] == [("hunts", "usually")]


def test_what_the_machine_has_not_is_known(bench: Knowledge) -> None:
    assert "governor" in reason(bench, {"machine": "bench-stand"}).lacks


def test_a_clash_is_certain(bench: Knowledge) -> None:
    assert reason(bench, {"starts": "never", "idle": "steady"}).clashes == ("dead-yet-idles",)


def test_the_order_of_the_answers_does_not_matter(base: Knowledge) -> None:
    rng = random.Random(7)
    answers = {str(f.id): str(rng.choice(list(f.answers))) for f in rng.sample(list(base.findings.values()), 30)}
    expected = reason(base, answers)
    for _ in range(5):
        items = list(answers.items())
        rng.shuffle(items)
        again = reason(base, dict(items))
        assert again.conditions == expected.conditions
        assert again.evidence == expected.evidence
        assert (again.holds, again.cautions, again.lacks) == (expected.holds, expected.cautions, expected.lacks)


def test_nothing_stays_behind_from_one_run_to_the_next(bench: Knowledge) -> None:
    before = reason(bench, {"idle": "hunts"})
    reason(bench, {"under-load": "sags", "starts": "never"})
    after = reason(bench, {"idle": "hunts"})
    assert (after.conditions, after.evidence, after.holds) == (before.conditions, before.evidence, before.holds)


def test_conclusions_do_not_depend_on_chance_in_the_engine() -> None:
    """experta fires equal rules in an order that differs from build to build (research: pitfall E3)."""
    program = (
        "import json, sys\n"
        "from diagnose.knowledge.packs import base_pack, load\n"
        "from diagnose.reasoning.reason import reason\n"
        "k = load([base_pack()])\n"
        "a = {n: list(f.answers)[-1] for n, f in list(k.findings.items())[::4]}\n"
        "c = reason(k, {str(n): str(v) for n, v in a.items()})\n"
        "print(json.dumps([list(c.conditions), list(c.holds), list(c.cautions), list(c.first), list(c.clashes)]))\n"
    )
    runs = {
        subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONHASHSEED": str(seed)},
        ).stdout
        for seed in (1, 2, 3)
    }
    assert len(runs) == 1
    assert len(json.loads(runs.pop())[0]) > 3


def test_importing_the_engine_leaves_nothing_behind() -> None:
    """experta needs collections.Mapping, gone since Python 3.10, and installs a log handler: both are put right."""
    import collections

    import diagnose.reasoning.chainer  # noqa: F401

    assert not hasattr(collections, "Mapping")
    assert not any("experta" in repr(handler) for handler in logging.root.handlers)


@pytest.mark.parametrize("silent", ["lean-possible", "rich-proved"])
def test_a_not_is_withdrawn_when_its_condition_is_concluded(bench: Knowledge, silent: str) -> None:
    """Many rules resting on the same silence once made the engine miss a withdrawal; names keep them apart."""
    assert silent not in reason(bench, {}).conditions
    everything = reason(bench, {"under-load": "burbles", "head-temperature": "cool"})
    assert "rich-proved" in everything.conditions
    assert everything.holds == {}
