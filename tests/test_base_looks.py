"""Facts about what is looked at: what a look closes, what it settles, and what mere belief must leave open."""

import pytest

from diagnose.case.state import CaseState, Given
from diagnose.knowledge.model import Knowledge
from diagnose.planning.examine import Examined, examine
from diagnose.reasoning.tables import general_rates, shown_rates


def seen(knowledge: Knowledge, **answers: str) -> Examined:
    named = {name.replace("_", "-"): Given(answer) for name, answer in answers.items()}
    return examine(knowledge, CaseState(findings=named))


def chance(examined: Examined, cause: str) -> float:
    ranked = examined.standing.of(cause)
    return 0.0 if ranked is None else ranked.probability


STARVED_AT_WORK = {
    "starts": "easily", "idle": "steady", "under_load": "sags", "fades_after": "seconds", "after_fade": "less-throttle",
    "top_end": "sharp-then-sags", "h_needle_response": "a-little",
}  # fmt: skip


@pytest.mark.parametrize(
    ("finding", "answer"),
    [
        ("filter-age", "no-filter"),
        ("line-fittings", "plain"),
        ("air-cleaner-fitted", "none"),
        ("induction-kind", "piston-port"),
        ("governor-fitted", "none"),
    ],
)
def test_what_closes_a_part_says_that_it_was_looked_at(base: Knowledge, finding: str, answer: str) -> None:
    """A filter in the tank or a reed behind its block is easily believed away (common practice)."""
    words = str(base.findings[finding].answers[answer].say)
    assert any(word in words for word in ("look", "seen", "followed", "none in the radio")), words


def test_a_tank_that_nobody_has_opened_may_hold_an_old_filter(base: Knowledge) -> None:
    never_looked = seen(base, **STARVED_AT_WORK, filter_age="long-ago")
    assert chance(never_looked, "fuel-filter-clogged") > chance(seen(base, **STARVED_AT_WORK), "fuel-filter-clogged")


def test_a_bare_weight_in_the_tank_leaves_the_filter_in_the_line(base: Knowledge) -> None:
    assert chance(seen(base, filter_flow="none-there"), "fuel-filter-clogged") > 0
    assert chance(seen(base, filter_flow="none-there", line_fittings="plain"), "fuel-filter-clogged") == 0


@pytest.mark.parametrize(
    ("missing", "found"),
    [
        ({"filter_age": "no-filter"}, {"filter_flow": "slow"}),
        ({"line_fittings": "plain"}, {"line_holds": "bubbles-fitting"}),
        ({"air_cleaner_fitted": "none"}, {"air_cleaner_off": "cleaner"}),
        ({"choke_kind": "none"}, {"choke_plate": "part"}),
        ({"induction_kind": "piston-port"}, {"reed_petals": "gap"}),
    ],
)
def test_a_part_that_is_found_after_all_is_asked_about_again(
    base: Knowledge, missing: dict[str, str], found: dict[str, str]
) -> None:
    assert seen(base, **missing).conclusions.clashes == ()
    assert seen(base, **missing, **found).conclusions.clashes


WRONG_WHEN_LOW = {
    "bubbles": "stream", "when_in_flight": "end-of-tank", "after_fade": "refuelling", "line_feel": "supple",
}  # fmt: skip


def test_a_pickup_that_swings_does_not_clear_the_line_in_the_tank(base: Knowledge) -> None:
    """A line can be split high up at the stopper while the weight swings as well as ever (common practice)."""
    swings = seen(base, **WRONG_WHEN_LOW, tank_level="low", pickup="free")
    assert chance(swings, "pickup-line-off") > chance(swings, "tank-near-empty")
    assert chance(seen(base, **WRONG_WHEN_LOW, tank_level="low", tank_line="whole"), "pickup-line-off") < chance(
        seen(base, **WRONG_WHEN_LOW, tank_level="low"), "pickup-line-off"
    )


def test_trouble_on_the_last_of_the_fuel_is_an_empty_tank_first(base: Knowledge) -> None:
    last = seen(base, **WRONG_WHEN_LOW, tank_level="last")
    assert chance(last, "tank-near-empty") > chance(last, "pickup-line-off")


def test_a_bottle_parts_the_tank_from_the_carburettor(base: Knowledge) -> None:
    cured, same = (seen(base, **STARVED_AT_WORK, bottle_fed=answer) for answer in ("cured", "same"))
    assert chance(cured, "fuel-filter-clogged") > chance(cured, "inlet-screen-blocked")
    assert chance(same, "inlet-screen-blocked") > chance(same, "fuel-filter-clogged")


# When and how often it shows.


def test_a_start_and_the_throttle_are_asked_of_one_temperature(base: Knowledge) -> None:
    assert "cold" in base.findings["starts"].ask
    assert all("Warm" in base.findings[name].ask for name in ("pick-up", "after-long-idle"))


def test_trouble_only_after_standing_at_idle_is_surplus_fuel_before_lean(base: Knowledge) -> None:
    idled, any_time = (seen(base, when_in_flight=answer) for answer in ("after-idling", "any-time"))
    for cause in ("idled-too-long", "l-too-rich", "inlet-needle-leaks"):
        assert chance(idled, cause) > chance(any_time, cause)
    assert chance(idled, "l-too-rich") > chance(idled, "l-too-lean")
    assert "long-idle" in idled.conclusions.proofs


def test_good_one_flight_and_wrong_the_next_is_something_that_does_not_come_back_to_one_place(base: Knowledge) -> None:
    comes_and_goes, stays = (seen(base, idle="races", holds_setting=answer) for answer in ("flight-to-flight", "holds"))
    for cause in ("throttle-return-friction", "servo-slow-or-slop", "needles-walk"):
        assert chance(comes_and_goes, cause) > 2 * chance(stays, cause)
    assert "several-times" in comes_and_goes.conclusions.proofs


# What a look settles.

PLAIN_TO_SEE = [
    ("carb-bolts-loose", "bolts", "tight"),
    ("exhaust-loose", "exhaust-nuts", "tight"),
    ("pump-cover-loose", "cover-screws", "tight"),
    ("mount-loose", "mount", "tight"),
    ("metering-diaphragm-stiff", "metering-diaphragm", "soft"),
    ("metering-lever-low", "metering-lever", "right"),
    ("pump-parts-in-wrong-order", "pump-diaphragm", "sound"),
    ("pulse-hole-covered", "pulse-hole", "open"),
    ("throttle-not-full-open", "end-points", "both-right"),
    ("pickup-line-off", "tank-line", "whole"),
    ("inlet-screen-blocked", "inlet-screen", "clear"),
    ("piston-crown-holed", "crown", "whole"),
]
COMES_AND_GOES = [
    ("seal-leaks-fan-side", "leak-place", "nowhere"),
    ("kill-wire-chafed", "kill-off", "same"),
    ("ignition-sensor-drops", "ignition-sensor", "firm"),
    ("damp-on-the-spark", "spark-astray", "nowhere"),
    ("fuel-foaming", "fuel-foams", "calm"),
    ("ignition-module-failing", "spark", "strong"),
]


def factor(knowledge: Knowledge, cause: str, finding: str, answer: str) -> float:
    """How many times oftener the answer is given with this fault than with another."""
    asked = knowledge.findings[finding]
    shares = shown_rates(asked, knowledge.causes[cause].shows[finding]) / general_rates(asked)
    return float(shares[list(asked.answers).index(answer)])


@pytest.mark.parametrize(("cause", "finding", "clear"), PLAIN_TO_SEE)
def test_a_plain_look_that_comes_out_clear_all_but_ends_its_cause(
    base: Knowledge, cause: str, finding: str, clear: str
) -> None:
    assert factor(base, cause, finding, clear) < 1 / 25


@pytest.mark.parametrize(("cause", "finding", "clear"), COMES_AND_GOES)
def test_what_comes_with_heat_damp_or_shaking_can_pass_its_look(
    base: Knowledge, cause: str, finding: str, clear: str
) -> None:
    """A seal leaks hot, froth is gone in a minute, a wire breaks when it shakes (common practice)."""
    assert 1 / 20 < factor(base, cause, finding, clear) < 1 / 2


def test_bolts_that_take_a_touch_are_no_loose_bolts(base: Knowledge) -> None:
    """A bolt that has been hot takes a touch on most engines; it is tight then, and the look is done (common practice)."""
    tight, touch, loose = (
        chance(seen(base, idle="hunts", bolts=found), "carb-bolts-loose") for found in ("tight", "a-touch", "loose")
    )
    assert tight < touch < loose / 4
    looked_at = {"carb_wiggle": "firm", "line_feel": "supple", "vent_line": "open"}
    assert "air-and-fuel-looked-at" in seen(base, **looked_at, bolts="a-touch").conclusions.conditions
    assert "air-and-fuel-looked-at" not in seen(base, **looked_at, bolts="loose").conclusions.conditions


# Two things true at once, and what is changed over or told to part them.


def test_bolts_shaken_loose_ask_for_what_shook_them(base: Knowledge) -> None:
    shaken = seen(base, bolts="loose", vibration="more").conclusions
    assert {"blades-or-propeller", "balance"} <= set(shaken.sooner)
    assert "shaken-loose" in shaken.cautions
    assert "shaken-loose" not in seen(base, bolts="loose", vibration="same").conclusions.cautions


def test_on_a_twin_the_trouble_goes_across_with_what_is_wrong(base: Knowledge) -> None:
    sick = {"cylinders": "two-or-more", "one_side": "differs", "under_load": "cuts", "starts": "easily"}
    cap, plug = (seen(base, **sick, side_swap=answer) for answer in ("cap", "plug"))
    assert chance(cap, "plug-cap-or-lead") > 3 * chance(plug, "plug-cap-or-lead")
    plugs = ("plug-fouled", "plug-worn-or-gap-wrong", "plug-insulator-cracked")
    assert sum(chance(plug, name) for name in plugs) > 3 * sum(chance(cap, name) for name in plugs)
    shaking = seen(base, **sick, vibration="more", power_against_before="far-less", side_swap="cap")
    assert chance(shaking, "plug-cap-or-lead") > chance(shaking, "twin-one-cylinder-dead")
    assert "side-swap" in seen(base, **sick).conclusions.sooner


def test_a_pop_that_nobody_heard_is_a_flooded_engine(base: Knowledge) -> None:
    cold = {"starts": "hard", "when_in_flight": "cold-start", "hot_restart": "easily"}
    assert "choking" in seen(base, **cold).conclusions.sooner
    past, to_the_pop = (seen(base, **cold, choking=answer) for answer in ("past-the-pop", "to-the-pop"))
    assert chance(past, "flooded-at-start") > 3 * chance(to_the_pop, "flooded-at-start")


def test_a_carburettor_that_was_opened_is_not_one_that_was_only_off(base: Knowledge) -> None:
    """Taken off touches gasket and pulse hole; opened touches pump, lever and covers (common practice)."""
    tale = {"came_on": "after-refit", "under_load": "sags"}
    off, opened = (seen(base, **tale, what_changed=answer) for answer in ("refit", "opened"))
    for cause in ("pump-parts-in-wrong-order", "metering-lever-low", "pump-cover-loose"):
        assert chance(opened, cause) > 2 * chance(off, cause)
    assert chance(off, "pulse-hole-covered") > chance(opened, "pulse-hole-covered")
    assert "pump-look" in opened.conclusions.sooner
    assert "came-on-after-refit" in off.conclusions.conditions.keys() & opened.conclusions.conditions.keys()


# What speaks against lean quiets a weak sign of it, and nothing more.

WET_AND_BURBLING = {
    "pick_up": "coughs-then-clears", "idle": "loads-up", "smoke": "heavy", "top_end": "strong",
    "what_changed": "needle-touched",
}  # fmt: skip


@pytest.mark.parametrize(
    ("weak_sign", "against"),
    [
        ({"what_changed": "needle-touched"}, WET_AND_BURBLING),
        ({"under_load": "cuts"}, {"new_plug": "cured"}),
        ({"under_load": "cuts", "cylinders": "two-or-more"}, {"side_swap": "cap"}),
        (
            {"machine": "helicopter", "under_load": "sags"},
            {"engine_against_head": "engine-races", "smell": "burnt-lining"},
        ),
    ],
)
def test_a_weak_sign_of_lean_is_quieted_by_what_speaks_against_it(
    base: Knowledge, weak_sign: dict[str, str], against: dict[str, str]
) -> None:
    assert "lean-run" in seen(base, **weak_sign).conclusions.cautions
    eased = seen(base, **(weak_sign | against)).conclusions
    assert "lean-run" not in eased.cautions
    assert {"close-needle", "fly"} <= set(eased.holds)


@pytest.mark.parametrize(
    "lean",
    [
        {"under_load": "surges"}, {"under_load": "sags"}, {"surge_pattern": "ragged"}, {"overheats": "warm"},
        {"overheats": "too-hot"}, {"needle_moves_lately": "leaner"}, {"smoke": "none"}, {"bangs": "intake"},
        {"how_it_stops": "speeds-up-first"}, {"fades_after": "minutes"},
    ],
)  # fmt: skip
def test_a_surge_a_sag_heat_no_smoke_or_a_closed_needle_is_warned_of_whatever_speaks_against_lean(
    base: Knowledge, lean: dict[str, str]
) -> None:
    spark_shown = {"what_changed": "needle-touched", "new_plug": "cured"}
    assert "lean-run" not in seen(base, **spark_shown).conclusions.cautions
    assert "lean-run" in seen(base, **(spark_shown | lean)).conclusions.cautions
    assert "lean-run" in seen(base, **(WET_AND_BURBLING | lean)).conclusions.cautions
