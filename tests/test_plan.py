"""What comes next: safe order first, then what pays, then the repair; never what cannot be answered."""

import itertools
import random
from dataclasses import replace

import numpy as np

from diagnose.case.state import CaseState, Given, RepairDone
from diagnose.knowledge.model import Knowledge
from diagnose.measuring.cases import OwnerKnows, draw
from diagnose.planning.examine import Examined, examine
from diagnose.planning.lifting import way_to_lift
from diagnose.planning.mending import seen_bad
from diagnose.planning.plan import (
    AT_A_LOSS,
    MOST_ANSWERS,
    SOON_MENDED,
    compelled,
    next_questions,
    one_more,
    patient,
    promises_enough,
    work_next,
)
from diagnose.planning.steps import Ask, AskAgain, DoCheck, Progress, Repair, Undecided, in_the_way
from diagnose.planning.waiting import MOST_IN_THE_WAY
from diagnose.planning.worth import (
    CALL_FOR_HELP,
    LIKELY_ENOUGH,
    Worth,
    expected_repair_minutes,
    information_of,
    repair_minutes,
    settling_of,
)
from diagnose.reasoning.rank import Repairs
from diagnose.report.document import standing_document


def after(knowledge: Knowledge, answers: dict[str, str], unknown: tuple[str, ...] = (), **more: object) -> object:
    findings = {name: Given(answer) for name, answer in answers.items()}
    state = CaseState(findings=findings, unknown=frozenset(unknown), **more)  # type: ignore[arg-type]
    return examine(knowledge, state).next


def test_what_rules_put_first_is_asked_first_in_their_order(bench: Knowledge) -> None:
    assert after(bench, {}) == Ask("machine", ("opening",))
    assert after(bench, {"machine": "helicopter"}) == Ask("starts", ("opening",))


def test_an_engine_that_will_not_start_is_not_asked_how_it_idles(bench: Knowledge) -> None:
    seen = examine(bench, CaseState(findings={"machine": Given("helicopter"), "starts": Given("never")}))
    asked = {name for name, _ in next_questions(bench, seen.conclusions, seen.standing, seen.progress, most=50)}
    assert asked.isdisjoint({"idle", "under-load", "head-temperature", "surge-governor-off", "richer-test", "bolts"})


def test_a_stand_is_not_asked_about_its_governor(bench: Knowledge) -> None:
    seen = examine(bench, CaseState(findings={"machine": Given("bench-stand"), "starts": Given("easily")}))
    asked = {name for name, _ in next_questions(bench, seen.conclusions, seen.standing, seen.progress, most=50)}
    assert "surge-governor-off" not in asked
    assert "idle" in asked


def test_a_check_at_power_is_not_asked_for_while_it_may_be_lean(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily", "under-load": "sags"}
    seen = examine(bench, CaseState(findings={n: Given(a) for n, a in answers.items()}))
    asked = {name for name, _ in next_questions(bench, seen.conclusions, seen.standing, seen.progress, most=50)}
    assert "richer-test" not in asked


def test_a_question_that_was_not_known_is_not_asked_again(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily"}
    found = after(bench, answers, unknown=("idle",))
    assert isinstance(found, Ask)
    assert found.finding != "idle"


def test_clashing_answers_are_asked_again_before_anything_else(bench: Knowledge) -> None:
    found = after(bench, {"machine": "helicopter", "starts": "never", "idle": "steady"})
    assert isinstance(found, AskAgain)
    assert found.rules == ("dead-yet-idles",)


def test_a_repair_is_put_forward_once_no_question_pays(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily", "idle": "hunts", "under-load": "sags", "bolts": "loose"}
    unknown = ("head-temperature", "surge-governor-off")
    found = after(bench, answers, unknown, asked_again=frozenset({"idle"}))
    assert isinstance(found, Repair)
    assert found.cause == "bolts-loose"


def with_repairs_of(bench: Knowledge, minutes: float) -> Knowledge:
    causes = {name: replace(cause, fix=replace(cause.fix, minutes=minutes)) for name, cause in bench.causes.items()}
    return replace(bench, causes=causes)


def test_an_unlikely_repair_is_begun_only_when_it_pays_and_can_be_tried_even_so(base: Knowledge) -> None:
    """One chance in ten of sparing two hours of help is no reason to work for one; a few minutes are well spent on it."""
    rng = random.Random(3)
    begun = left_alone = 0
    machines = [draw(base, number, 3, OwnerKnows()).owner.told for number in range(8)]
    for told in 6 * machines:
        findings = {name: Given(told[name]) for name in rng.sample(sorted(told), 12)}
        unknown = frozenset(map(str, base.findings)) - findings.keys()
        seen = examine(base, CaseState(findings=findings, unknown=unknown, asked_again=frozenset(findings)))
        minutes = repair_minutes(base)
        match seen.next:
            case Repair(cause, probability, rules) if probability < LIKELY_ENOUGH and not rules:
                begun += 1
                assert cures(base, seen, cause) * CALL_FOR_HELP >= minutes[cause]
            case Undecided(_, Repair(cause, probability)):
                left_alone += 1
                assert probability < LIKELY_ENOUGH
                assert cures(base, seen, cause) * CALL_FOR_HELP < minutes[cause]
                assert standing_document("", seen)["next"]["even_so"] == cause
    assert begun
    assert left_alone


def cures(knowledge: Knowledge, seen: Examined, cause: str) -> float:
    return float(seen.standing.cures[list(knowledge.causes).index(cause)])


def test_a_likely_cause_is_named_however_long_its_repair_takes(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily", "idle": "hunts", "under-load": "sags", "bolts": "loose"}
    unknown = ("head-temperature", "surge-governor-off")
    found = after(with_repairs_of(bench, 180), answers, unknown, asked_again=frozenset({"idle"}))
    assert isinstance(found, Repair)
    assert found.cause == "bolts-loose"


def test_after_a_failed_repair_the_next_cause_comes_up(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily", "idle": "hunts", "under-load": "sags", "bolts": "loose"}
    repairs = (RepairDone("bolts-loose", "same", ""),)
    found = after(bench, answers, ("head-temperature", "surge-governor-off"), repairs=repairs)
    assert not (isinstance(found, Repair) and found.cause == "bolts-loose")


def test_what_was_not_known_is_asked_once_more_when_it_keeps_a_likely_repair_on_hold(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily", "idle": "steady", "under-load": "burbles"}
    unknown = ("bolts", "surge-governor-off", "richer-test", "head-temperature")
    found = after(bench, answers, unknown)
    assert found == AskAgain("head-temperature", ("no-closing-until-rich",), waits="h-too-rich")
    again = frozenset({"head-temperature"})
    assert after(bench, answers, unknown, asked_again=again) == Undecided(("h-too-rich",))


def test_an_answer_that_speaks_for_lean_is_asked_once_more_before_a_rich_engine_is_given_up(bench: Knowledge) -> None:
    """It hunts at idle, which lean does; all else says rich. One of them is wrong, and closing waits until it is known."""
    answers = {
        "machine": "helicopter", "starts": "easily", "idle": "hunts", "under-load": "burbles", "head-temperature": "cool",
    }  # fmt: skip
    unknown = ("bolts", "surge-governor-off", "richer-test")
    assert after(bench, answers, unknown) == AskAgain("idle", ("no-closing-until-rich",), waits="h-too-rich")
    assert after(bench, answers, unknown, asked_again=frozenset({"idle"})) == Undecided(("h-too-rich",))
    mistaken = after(bench, {**answers, "idle": "steady"}, unknown, asked_again=frozenset({"idle"}))
    assert isinstance(mistaken, Repair)
    assert mistaken.cause == "h-too-rich"


def test_no_hold_is_argued_away_by_asking_everything_again(base: Knowledge) -> None:
    """Four answers that lean gives are hardly all mistaken."""
    lean = {"idle": "hunts", "pick-up": "flat", "smoke": "none", "plug-colour": "pale", "half-throttle": "hole"}
    rich = {"machine": "aeroplane", "baseline-known": "moved", "needle-moves-lately": "richer", "four-strokes": "always"}
    findings = {name: Given(answer) for name, answer in {**lean, **rich}.items()}
    seen = examine(base, CaseState(findings=findings))
    anything = {str(name): 1.0 for name in base.findings if name != "machine"}
    anew = [name for name in way_to_lift(base, seen.conclusions, ("close-needle",), anything) if name in findings]
    assert len(anew) > MOST_IN_THE_WAY


def test_a_look_that_opens_the_run_that_would_prove_rich_is_taken_before_a_rich_engine_is_given_up(base: Knowledge) -> None:
    """H is most likely rich. The short run that would prove it waits for the looks at line, bolts and vent, which nobody
    has taken yet; those come next."""
    answers = {
        "machine": "helicopter", "fit-to-run": "fit", "air-cleaner-fitted": "fitted", "throttle-feel": "follows",
        "what-changed": "someone-elses-tuning", "needle-moves-lately": "none", "linkage-reaches": "binds",
        "load-off-sound": "heavy-burble", "four-strokes": "always", "smoke": "light", "top-end": "lazy",
        "idle": "steady", "how-it-stops": "does-not", "when-in-flight": "after-some-minutes",
    }  # fmt: skip
    rich = {"h-needle-response": "worse", "h-opened-now": "worse", "l-needle-response": "worse", "half-throttle": "burbles"}
    unknown, again = ("intake-dirt",), frozenset({"four-strokes"})
    seen = examine(base, CaseState(findings={name: Given(answer) for name, answer in answers.items()}))
    assert {"run-at-power", "close-needle"} <= seen.conclusions.holds.keys()
    found = after(base, answers, unknown, asked_again=again)
    looked_at: set[str] = set()
    while isinstance(found, Ask | DoCheck | AskAgain):
        asked = found.finds if isinstance(found, DoCheck) else (found.finding,)
        looked_at |= set(asked)
        if isinstance(found, AskAgain):
            # It was seen to bind, and now it is free.
            again |= {found.finding}
        answers |= {name: rich.get(name, str(next(iter(base.findings[name].answers)))) for name in asked}
        found = after(base, answers, unknown, asked_again=again)
    assert {"bolts", "line-feel", "carb-wiggle", "vent-line"} <= looked_at
    seen = examine(base, CaseState(findings={name: Given(answer) for name, answer in answers.items()}))
    assert "run-at-power" not in seen.conclusions.holds


def test_a_step_held_alone_only_waits(base: Knowledge) -> None:
    """A bent metering lever can be put right while no needle may turn; only its last step, back to the baseline, waits."""
    opening = examine(base, CaseState()).conclusions
    lever = base.causes["metering-lever-low"].fix
    assert opening.held(tuple(hold for step in lever.steps for hold in step.under))
    assert in_the_way(opening, lever) == ()
    assert in_the_way(opening, base.causes["h-too-rich"].fix)


def test_what_was_seen_bad_and_takes_minutes_is_put_right_and_not_doubted(base: Knowledge) -> None:
    """Loose bolts are tightened, not talked about: it takes less than another look at all that was said."""
    rng = random.Random(5)
    at_once = 0
    machines = [draw(base, number, 5, OwnerKnows()).owner.told for number in range(8)]
    for told in 12 * machines:
        findings = {name: Given(told[name]) for name in rng.sample(sorted(told), 30)}
        unknown = frozenset(map(str, base.findings)) - findings.keys()
        seen = examine(base, CaseState(findings=findings, unknown=unknown))
        work = work_next(base, seen.conclusions, seen.standing, seen.progress)
        if compelled(base, seen.conclusions, seen.progress) or not isinstance(work, Repair) or work.waits:
            continue
        short = base.causes[work.cause].fix.minutes <= SOON_MENDED
        if short and work.probability >= LIKELY_ENOUGH and seen_bad(base, work.cause, seen.conclusions.answers):
            at_once += 1
            assert seen.next == work
    assert at_once


def test_a_question_must_promise_more_the_longer_it_has_gone_on() -> None:
    weak = Worth(minutes=2.0, saves=0.5, tells=0.1, settles=0.01)
    strong = replace(weak, saves=1.9)
    assert promises_enough(12, [weak])
    assert not promises_enough(40, [weak])
    assert promises_enough(40, [weak, strong])
    assert not promises_enough(3, [])


def test_what_helped_gives_new_patience() -> None:
    assert not patient(MOST_ANSWERS, Progress())
    assert not patient(MOST_ANSWERS, Progress(repairs=Repairs(same=frozenset({"bolts-loose"}))))
    assert patient(MOST_ANSWERS, Progress(repairs=Repairs(better=frozenset({"bolts-loose"}))))


def test_a_fix_that_closes_a_needle_waits_for_its_hold_and_what_may_lift_it_is_asked(bench: Knowledge) -> None:
    """It burbles, so rich leads; but one sign is no proof, so the head is asked about before any needle goes in."""
    answers = {"machine": "helicopter", "starts": "easily", "idle": "steady", "under-load": "burbles"}
    found = after(bench, answers, ("bolts", "surge-governor-off", "richer-test"))
    assert isinstance(found, Ask)
    assert found.finding == "head-temperature"


def test_silence_claims_nothing(bench: Knowledge) -> None:
    """With every answer unknown no cause is put forward on how common it is alone."""
    unknown = tuple(map(str, bench.findings))
    assert after(bench, {}, unknown) == Undecided(())


def test_a_check_lists_the_findings_it_answers(bench: Knowledge) -> None:
    answers = {"machine": "helicopter", "starts": "easily", "idle": "hunts"}
    others = frozenset({"under-load", "head-temperature", "surge-governor-off", "richer-test"})
    state = CaseState(findings={name: Given(answer) for name, answer in answers.items()}, unknown=others)
    seen = examine(bench, state)
    found = one_more(bench, seen.conclusions, seen.standing, seen.progress)
    assert isinstance(found, DoCheck)
    assert found.finds == bench.checks[found.check].finds


def test_repair_minutes_agree_with_every_order_and_every_moment_to_call_for_help() -> None:
    """No order of repairs, and no moment to give up, is cheaper than the one the formula takes (brute force)."""
    rng = random.Random(5)
    for _ in range(30):
        chances = np.array([rng.random() for _ in range(5)])
        chances *= 0.9 / chances.sum()
        minutes = np.array([rng.uniform(1, 90) for _ in range(5)])
        cheapest = min(
            expected(chances[list(order)], 0.1, minutes[list(order)])
            for count in range(6)
            for order in itertools.permutations(range(5), count)
        )
        assert np.isclose(float(expected_repair_minutes(chances, 0.1, minutes)), cheapest, rtol=1e-12)


def expected(chances: np.ndarray, other: float, minutes: np.ndarray) -> float:
    """Minutes of trying these repairs in this order and then calling for help."""
    spent = np.cumsum(minutes)
    unsolved = 0.9 + other - chances.sum()
    return float((chances * spent).sum() + unsolved * ((spent[-1] if len(spent) else 0.0) + CALL_FOR_HELP))


def test_information_is_nothing_for_an_answer_that_does_not_depend_on_the_cause() -> None:
    chances = np.array([0.5, 0.3, 0.2])
    useless = np.array([[0.7], [0.2], [0.1]]) * chances
    telling = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 1.0]]) * chances
    nothing, half = information_of(np.concatenate([useless, telling]), np.array([0, 3]))
    assert np.isclose(nothing, 0.0, atol=1e-15)
    assert np.isclose(half, -(0.5 * np.log(0.5) * 2), rtol=1e-12)


def test_what_parts_two_leaders_settles_more_than_what_thins_out_the_tail() -> None:
    """Two causes at 40 % and twenty at 1 %: both questions below halve the odds, one of them between the leaders."""
    chances = np.array([0.4, 0.4, *[0.01] * 20])
    leaders = np.array([[1.0, 0.0, *[0.5] * 20], [0.0, 1.0, *[0.5] * 20]]) * chances
    tail = np.array([[0.5, 0.5, *[1.0] * 10, *[0.0] * 10], [0.5, 0.5, *[0.0] * 10, *[1.0] * 10]]) * chances
    parting, thinning = settling_of(np.concatenate([leaders, tail]), np.array([0, 2]))
    before = 2 * 0.4**2 + 20 * 0.01**2
    after_parting = 2 * (0.4**2 + 20 * 0.005**2) / 0.5
    assert np.isclose(parting, after_parting - before, rtol=1e-12)
    assert parting > 50 * thinning > 0


def test_before_it_is_given_up_the_answer_that_fits_worst_is_looked_at_once_more(base: Knowledge) -> None:
    """Common practice: what goes sharp and sags at power is short of fuel there, and does not burble all the time."""
    answers = {
        "machine": "helicopter",
        "fit-to-run": "fit",
        "starts": "easily",
        "top-end": "sharp-then-sags",
        "after-fade": "less-throttle",
        "four-strokes": "always",
    }
    at_a_loss = CaseState(
        findings={name: Given(answer) for name, answer in answers.items()},
        unknown=frozenset(map(str, base.findings)) - answers.keys(),
        put_aside=frozenset(map(str, base.causes)),
    )
    again = examine(base, at_a_loss).next
    assert isinstance(again, AskAgain) and again.finding == "four-strokes" and again.chance >= AT_A_LOSS
    given_again = replace(at_a_loss, asked_again=frozenset(answers))
    assert isinstance(examine(base, given_again).next, Undecided)
