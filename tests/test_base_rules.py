"""Facts about engines that the base rules must hold to, whoever edits them."""

from collections import Counter

import pytest

from diagnose.case.state import CaseState, Given
from diagnose.knowledge.model import (
    CONCLUDED,
    NORMAL,
    Cause,
    First,
    Holds,
    Is,
    Knowledge,
    Means,
    Rule,
    Skips,
    Sooner,
    Warns,
    leaves,
)
from diagnose.knowledge.reader import FAMILIES
from diagnose.planning.examine import Examined, examine
from diagnose.planning.steps import DoCheck
from diagnose.reasoning.reason import reason
from diagnose.reasoning.tables import general_rates, shown_rates
from diagnose.shell.phrases import match

LEAN = {"h-too-lean", "l-too-lean"}
RICH = {"h-too-rich", "l-too-rich"}
NEEDLES = LEAN | RICH


def seen(knowledge: Knowledge, **answers: str) -> Examined:
    named = {name.replace("_", "-"): Given(answer) for name, answer in answers.items()}
    return examine(knowledge, CaseState(findings=named))


def share(examined: Examined, causes: set[str]) -> float:
    return sum(ranked.alone for ranked in examined.standing.causes if ranked.cause in causes)


def test_the_base_covers_every_family_in_depth(base: Knowledge) -> None:
    families = Counter(str(cause.family) for cause in base.causes.values())
    assert set(families) == set(FAMILIES)
    assert len(base.causes) >= 80
    assert len(base.findings) >= 100
    assert len(base.checks) >= 45
    assert len(base.conditions) >= 40
    assert len(base.rules) >= 150


def test_every_cause_has_eight_tells_or_more_and_its_check_settles_it(base: Knowledge) -> None:
    thin = [cause.id for cause in base.causes.values() if len(cause.shows) < 8]
    assert thin == []
    unsettled = [
        cause.id for cause in base.causes.values() if not set(base.checks[cause.settled_by].finds) & set(cause.shows)
    ]
    assert unsettled == []


def ratios(knowledge: Knowledge, cause: Cause, finding: str) -> list[float]:
    """How much each answer that the cause names speaks for it, or against it, whichever is more."""
    asked = knowledge.findings[finding]
    shares = zip(asked.answers, shown_rates(asked, cause.shows[finding]) / general_rates(asked), strict=True)
    return [max(ratio, 1 / ratio) for answer, ratio in shares if answer in cause.shows[finding].words]


def test_every_cause_has_two_strong_tells_and_a_check_that_can_settle_it(base: Knowledge) -> None:
    """Strong: an answer five times likelier, or five times rarer, than on an engine with another fault; settled: eight."""
    for cause in base.causes.values():
        asked = [name for name in cause.shows if name in base.findings]
        strong = [name for name in asked if max(ratios(base, cause, name), default=1) >= 5]
        settling = [name for name in base.checks[cause.settled_by].finds if name in cause.shows]
        assert len(strong) >= 2, cause.id
        assert max(max(ratios(base, cause, name), default=1) for name in settling) >= 8, cause.id
        assert cause.fix.steps and cause.proof and cause.harm and cause.basis, cause.id


CONTEXT = [
    ("carb-gasket-torn-or-turned", "what-changed", "refit"),
    ("metering-diaphragm-stiff", "what-changed", "storage"),
    ("stale-fuel", "what-changed", "storage"),
    ("wrong-fuel", "what-changed", "new-fuel"),
    ("water-in-fuel", "what-changed", "new-fuel"),
    ("mount-loose", "what-changed", "crash-or-hard-landing"),
    ("h-too-lean", "what-changed", "needle-touched"),
    ("needles-traded", "what-changed", "someone-elses-tuning"),
    ("air-denser-than-when-set", "what-changed", "weather-or-season"),
    ("field-higher-than-when-set", "what-changed", "altitude-or-field"),
    ("pickup-line-off", "what-changed", "tank-or-airframe"),
    ("ring-worn", "engine-hours", "long-service"),
    ("still-running-in", "engine-hours", "running-in"),
    ("coil-fails-hot", "hot-or-cold", "hot"),
    ("tank-vent-blocked", "when-in-flight", "after-some-minutes"),
    ("kill-wire-chafed", "came-on", "suddenly"),
    ("carb-bolts-loose", "came-on", "over-a-few-flights"),
]
"""Common practice: what a mechanic asks first, because it moves the odds before anything is opened."""


@pytest.mark.parametrize("cause, finding, answer", CONTEXT)
def test_what_happened_before_moves_the_odds(base: Knowledge, cause: str, finding: str, answer: str) -> None:
    symptoms = {"idle": "hunts", "under-load": "sags"}
    before, after = (
        seen(base, **symptoms).standing.of(cause),
        seen(base, **symptoms, **{finding: answer}).standing.of(cause),
    )
    assert before is not None and after is not None
    assert after.probability > 1.5 * before.probability


def test_the_kind_of_machine_moves_the_odds(base: Knowledge) -> None:
    surging = {"idle": "steady", "surge_pattern": "regular"}
    helicopter, aeroplane = (seen(base, machine=kind, **surging).standing for kind in ("helicopter", "aeroplane"))
    assert helicopter.of("governor-gain-high") is not None
    assert aeroplane.of("governor-gain-high") is None


def test_every_rule_gives_its_reason_and_its_basis(base: Knowledge) -> None:
    assert all(rule.because and rule.basis for rule in base.rules.values())
    claimed = [r.id for r in base.rules.values() if "seen" in r.basis and "research notes" not in r.basis]
    assert claimed == []


def test_every_caution_can_come_up(base: Knowledge) -> None:
    named = {c for rule in base.rules.values() if isinstance(rule.outcome, Warns) for c in rule.outcome.cautions}
    for thing in (*base.findings.values(), *base.checks.values(), *base.retests.values()):
        named |= set(thing.cautions)
    for cause in base.causes.values():
        named |= set(cause.fix.cautions)
    assert set(base.cautions) <= named


def concluded_by_conditions(rule: Rule) -> bool:
    return isinstance(rule.outcome, Means) and any(isinstance(leaf, Is) for leaf in leaves(rule.when))


def test_conditions_chain_at_least_two_deep_on_a_real_case(base: Knowledge) -> None:
    """Loose bolts: the needle has lost its say, so air enters after the needles, so lean is possible."""
    conclusions = reason(base, {"idle": "hunts", "h-needle-response": "nothing", "bolts": "loose", "carb-wiggle": "moves"})
    assert {"needle-lost-its-say", "air-enters-after-the-needles", "lean-possible"} <= set(conclusions.conditions)
    chained = [
        rule
        for name in conclusions.conditions["air-enters-after-the-needles"].rules
        if concluded_by_conditions(rule := base.rules[name])
    ]
    assert chained
    assert len(conclusions.conditions["air-enters-after-the-needles"].rests_on) >= 2


# What published tables warn of: research on handbooks, section 4.


def test_a_black_plug_alone_does_not_decide(base: Knowledge) -> None:
    """Rich, or so lean that it fires only now and then: FAA-H-8083-32, spark plug fouling (seen in a reprint)."""
    examined = seen(base, plug_colour="black-dry")
    assert not set(examined.conclusions.conditions) & {"rich-proved", "rich-everywhere", "rich-under-load"}
    assert examined.standing.causes[0].probability < 0.35


def test_overheating_alone_does_not_choose(base: Knowledge) -> None:
    examined = seen(base, overheats="too-hot")
    assert examined.standing.causes[0].probability < 0.35
    assert "rich-proved" not in examined.conclusions.conditions


def test_where_it_bangs_parts_lean_from_rich(base: Knowledge) -> None:
    """Back through the intake: lean first. In the exhaust: rich. AMT Powerplant Handbook, as quoted (seen second hand)."""
    intake, exhaust = seen(base, bangs="intake"), seen(base, bangs="exhaust")
    assert share(intake, LEAN) > share(intake, RICH)
    assert share(exhaust, RICH) > share(exhaust, LEAN)


def test_a_needle_without_a_say_points_away_from_the_needles(base: Knowledge) -> None:
    """No response to idle adjustment: some other phase is wrong. TM 1-1500-204-23-1 (seen)."""
    examined = seen(base, h_needle_response="nothing", l_needle_response="nothing")
    assert share(examined, NEEDLES) < share(seen(base), NEEDLES)
    assert examined.standing.causes[0].cause not in NEEDLES


@pytest.mark.parametrize("answers", [{"four_strokes": "idle-only"}, {"load_off_sound": "light-burble"}])
def test_a_little_four_stroking_proves_nothing(base: Knowledge, answers: dict[str, str]) -> None:
    """Some four-stroking at idle and as the load comes off is normal (common practice)."""
    examined = seen(base, **answers)
    assert "rich-proved" not in examined.conclusions.conditions
    assert "close-needle" in examined.conclusions.holds


def test_four_stroking_under_load_always_is_too_rich(base: Knowledge) -> None:
    """All of the time is too rich (common practice)."""
    examined = seen(base, four_strokes="always", burble_under_load="stays")
    assert share(examined, RICH) > 3 * share(examined, LEAN)


def test_a_new_engine_that_burbles_as_the_load_comes_off_is_well(base: Knowledge) -> None:
    """While running in, about 5 % four-stroking as the load comes off is what one wants to hear (common practice)."""
    examined = seen(
        base, engine_hours="running-in", load_off_sound="light-burble", burble_under_load="none", overheats="no",
        under_load="pulls", holds_setting="holds",
    )  # fmt: skip
    families = [str(base.causes[ranked.cause].family) for ranked in examined.standing.causes[:3]]
    assert "normal" in families


def test_cold_air_is_the_direction_that_warns(base: Knowledge) -> None:
    """Set on a hot day and run on a cold one is leaner: phi goes as 1/sqrt(density), 30 C to 0 C x 0.949 (computed)."""
    colder, hotter = seen(base, weather_against_when_set="colder"), seen(base, weather_against_when_set="hotter")
    assert "cold-day-lean" in colder.conclusions.cautions
    assert "lean-possible" in colder.conclusions.conditions
    assert "lean-possible" not in hotter.conclusions.conditions
    assert share(colder, LEAN) > share(hotter, LEAN)


def test_another_season_warns_of_cold_air_until_it_is_known_to_be_hotter(base: Knowledge) -> None:
    """Silence errs to the safe side. In hot air it is the next cold day that is warned of, not this one."""
    unknown = seen(base, what_changed="weather-or-season")
    hotter = seen(base, what_changed="weather-or-season", weather_against_when_set="hotter")
    assert unknown.conclusions.cautions["cold-day-lean"] == ("denser-air-than-when-set",)
    assert hotter.conclusions.cautions["cold-day-lean"] == ("thinner-air-than-when-set",)


def test_fuel_before_spark_when_it_fades_and_spark_before_fuel_when_it_cuts(base: Knowledge) -> None:
    """Common practice."""

    def of_family(examined: Examined, family: str) -> float:
        return share(examined, {str(c.id) for c in base.causes.values() if c.family == family})

    fades, cuts = seen(base, how_it_stops="fades"), seen(base, how_it_stops="cuts-dead")
    assert of_family(fades, "fuel") > of_family(fades, "ignition")
    assert of_family(cuts, "ignition") > of_family(cuts, "fuel")


def test_a_surge_that_goes_with_the_governor_is_the_loops(base: Knowledge) -> None:
    """Governor off splits an engine fault from a control fault (common practice)."""
    examined = seen(base, machine="helicopter", governor_fitted="on", surge_pattern="regular", surge_governor_off="gone")
    assert examined.standing.causes[0].cause == "governor-gain-high"


def test_a_rotor_that_turns_at_idle_is_warned_of_and_not_on_an_aeroplane(base: Knowledge) -> None:
    assert "rotor-turns-at-idle" in seen(base, machine="helicopter", head_turns_at_idle="turns").conclusions.cautions
    assert "rotor-turns-at-idle" not in seen(base, machine="aeroplane", idle="races").conclusions.cautions


def test_nothing_is_run_on_a_case_that_was_seen_to_leak(base: Knowledge) -> None:
    """A new piston was sent to its first run with the leaking seal still in. (common practice)"""
    assert "run" not in seen(base, machine="bench-stand", leak_down="holds").conclusions.holds
    assert "run" in seen(base, machine="bench-stand", leak_down="falls").conclusions.holds
    assert "run" in seen(base, machine="bench-stand", leak_place="seal-drive").conclusions.holds


def test_a_cleaned_carburettor_with_a_dead_l_is_looked_at_for_its_core_plug(base: Knowledge) -> None:
    told = {"machine": "aeroplane", "fit_to_run": "fit", "what_changed": "opened", "idle": "loads-up"}
    step = seen(base, **told, l_needle_response="nothing").next
    assert isinstance(step, DoCheck) and step.check == "core-plug-look"


def test_no_engine_is_called_sound_before_the_look_that_says_so(base: Knowledge) -> None:
    """A new engine set too lean is told the same words as one set rich; the maker's page tells them apart."""
    told = {"machine": "aeroplane", "fit_to_run": "fit", "what_changed": "new-engine-part", "engine_hours": "running-in"}
    told |= {
        "came_on": "always",
        "smoke": "heavy",
        "four_strokes": "load-off",
        "exhaust_wet": "dripping",
        "starts": "easily",
    }
    step = seen(base, **told, under_load="pulls", idle="steady", overheats="no").next
    assert isinstance(step, DoCheck) and step.check == "running-in-look"


def test_slop_is_looked_for_before_a_gain_is_touched(base: Knowledge) -> None:
    """Common practice: a worn link hunts at every gain."""
    told = {"machine": "helicopter", "fit_to_run": "fit", "what_changed": "nothing", "under_load": "surges"}
    step = seen(base, **told, governor_fitted="on", surge_pattern="regular", surge_governor_off="gone").next
    assert isinstance(step, DoCheck) and step.check == "servo-repeat-test"


def test_an_engine_that_was_lean_and_far_too_hot_is_looked_into_before_it_works_again(base: Knowledge) -> None:
    """Common practice; what heat does to a piston: textbook Two-Stroke Engines, 2018, p. 188 (research notes row 50)."""
    told = {"machine": "aeroplane", "fit_to_run": "fit", "what_changed": "nothing", "engine_housing": "cowled"}
    step = seen(base, **told, top_end="sharp-then-sags", overheats="too-hot", air_way_out="enough", fins="clear").next
    assert isinstance(step, DoCheck) and step.check == "compression-feel"


def test_lean_is_warned_of_as_soon_as_it_is_possible(base: Knowledge) -> None:
    for answers in ({"under_load": "sags"}, {"how_it_stops": "speeds-up-first"}, {"bangs": "intake"}, {"idle": "races"}):
        conclusions = seen(base, **answers).conclusions
        assert "lean-run" in conclusions.cautions, answers
        assert "close-needle" in conclusions.holds, answers
    says = base.cautions["lean-run"].says.lower()
    assert says.index("take the load off") < says.index("land or stop") < says.index("needle is opened"), "in this order"


def test_rich_proved_and_everything_looked_at_lifts_the_holds_and_any_lean_sign_brings_them_back(base: Knowledge) -> None:
    rich = {
        "machine": "helicopter", "fit_to_run": "fit", "burble_under_load": "stays", "four_strokes": "under-load",
        "h_needle_response": "worse", "smoke": "heavy", "exhaust_wet": "dripping", "overheats": "no", "spark": "strong",
        "plug_state": "sound", "bolts": "tight", "carb_wiggle": "firm", "bubbles": "none", "vent_line": "open",
        "line_feel": "supple", "linkage_reaches": "both", "throttle_feel": "follows", "plug_colour": "black-wet",
    }  # fmt: skip
    assert "close-needle" not in seen(base, **rich).conclusions.holds
    assert "close-needle" in seen(base, **rich, how_it_stops="speeds-up-first").conclusions.holds


@pytest.mark.parametrize(
    "words",
    [
        ("lightly seated",),
        ("nearest the air cleaner",),
        ("nearest the engine",),
        ("sixteenth",),
        ("impression",),
        ("blind",),
        ("pulse passage",),
        ("sleeve", "heat"),
        ("quarter", "15", "20"),
        ("half", "25", "30"),
        ("low governed head speed", "switch"),
        ("rich is the safe side",),
        ("5 %",),
    ],
)
def test_the_facts_of_the_trade_are_told(base: Knowledge, words: tuple[str, ...]) -> None:
    """Common practice: how needles are counted and told apart, gaskets, sleeves, curves, and the way out."""
    assert any(all(word in text.lower() for word in words) for text in all_texts(base)), words


def all_texts(knowledge: Knowledge) -> list[str]:
    texts = [f"{f.ask} {f.why} {f.how or ''}" for f in knowledge.findings.values()]
    texts += [
        f"{c.name} {c.explains} {c.proof} {c.harm} {' '.join(s.do for s in c.fix.steps)}" for c in knowledge.causes.values()
    ]
    texts += [f"{c.name} {c.why} {' '.join(s.do for s in c.steps)}" for c in knowledge.checks.values()]
    texts += [str(c.says) for c in knowledge.cautions.values()]
    return texts + [str(rule.because) for rule in knowledge.rules.values()]


def test_a_bench_stand_has_no_rotor_and_an_aeroplane_no_collective(base: Knowledge) -> None:
    for machine in ("aeroplane", "bench-stand"):
        possible = {ranked.cause for ranked in seen(base, machine=machine).standing.causes}
        assert not {c.id for c in base.causes.values() if {"collective", "rotor"} & set(c.needs)} & possible


def test_an_engine_that_will_not_start_is_asked_nothing_about_flight(base: Knowledge) -> None:
    conclusions = seen(base, machine="helicopter", starts="never").conclusions
    assert {"running", "loaded", "flies"} <= set(conclusions.lacks)


def test_an_engine_that_nobody_could_call_fit_is_looked_over_piece_by_piece_before_it_runs(base: Knowledge) -> None:
    answers = {"machine": "helicopter", "failsafe": "works"}
    looks = {"fuel-drips": "dry", "mount": "tight", "blades-or-propeller": "sound"}
    for look, answer in looks.items():
        seen = reason(base, answers)
        assert "run" in seen.holds and look in seen.first
        answers[look] = answer
    assert "run" not in reason(base, answers).holds
    assert "run" not in reason(base, {"machine": "helicopter", "fit-to-run": "fit"}).holds


def test_nothing_is_normal_with_a_part_seen_bad(base: Knowledge) -> None:
    """A burnt clutch had left "nothing is wrong" at 80 %."""
    told = {"machine": "helicopter", "load-off-sound": "light-burble", "four-strokes": "load-off", "under-load": "pulls"}
    seen = examine(base, CaseState(findings={n: Given(a) for n, a in {**told, "clutch-look": "blue"}.items()}))
    normal = [one for one in seen.standing.causes if base.causes[one.cause].family == NORMAL]
    assert max(one.probability for one in normal) < 0.3
    without = examine(base, CaseState(findings={n: Given(a) for n, a in told.items()}))
    assert without.standing.causes[0].cause == "normal-load-off-burble"


def test_a_tell_that_is_no_news_is_left_out(base: Knowledge) -> None:
    """A word equal to the answer's general word says nothing; at least one answer of every tell must say something."""
    idle = []
    for cause in base.causes.values():
        for name, tell in cause.shows.items():
            if CONCLUDED in tell.words and name in base.conditions:
                continue
            answers = base.findings[name].answers
            if all(answers[answer].seen == word for answer, word in tell.words.items()):
                idle.append((str(cause.id), str(name)))
    assert len(idle) <= len(base.causes) * 0.1, idle


def test_without_the_rules_the_same_answers_lose_what_rules_own(base: Knowledge) -> None:
    """Forward chaining is real work: without it a stand has a governor, nothing is held, and nothing is concluded."""
    from dataclasses import replace
    from types import MappingProxyType

    bare = replace(base, rules=MappingProxyType({}))
    answers = {"machine": "bench-stand", "bangs": "intake"}
    assert reason(bare, answers).holds == {}
    assert reason(bare, answers).conditions == {}
    ranked = {r.cause for r in examine(bare, CaseState(findings={n: Given(a) for n, a in answers.items()})).standing.causes}
    assert "governor-gain-high" in ranked


def test_holds_say_what_lifts_them(base: Knowledge) -> None:
    holding = [rule for rule in base.rules.values() if isinstance(rule.outcome, Holds)]
    assert holding
    assert all(rule.until for rule in holding)


def test_questions_named_by_rules_can_be_answered(base: Knowledge) -> None:
    named = {
        name
        for rule in base.rules.values()
        if isinstance(rule.outcome, (First, Sooner, Skips))
        for name in rule.outcome.ids
    }
    assert named <= set(base.findings) | set(base.checks)


# A mechanic's order of work, and what is not blamed.


def test_a_valve_in_the_line_is_blamed_only_where_there_is_one(base: Knowledge) -> None:
    plain = {ranked.cause for ranked in seen(base, line_fittings="plain").standing.causes}
    assert "fuel-valve-sucks-air" not in plain
    assert "fuel-valve-sucks-air" in {ranked.cause for ranked in seen(base, line_fittings="fitted").standing.causes}
    assert "fuel-filter-clogged" not in {r.cause for r in seen(base, filter_age="no-filter").standing.causes}


def test_always_so_does_not_speak_against_a_fault_that_was_bought(base: Knowledge) -> None:
    """Second-hand and new to its owner: a scored piston or a worn ring may have come with it (common practice)."""
    tale = {"starts": "hard", "compression": "soft", "power_against_before": "less"}
    bought = seen(base, **tale, came_on="always", ownership="new-to-you")
    worn = {"piston-scored", "ring-worn", "ring-stuck"}
    assert share(bought, worn) > 0.8 * share(seen(base, **tale), worn)
    assert "compression" in seen(base, ownership="new-to-you").conclusions.sooner


def test_the_crankcase_is_put_under_pressure_before_a_seal_is_drawn(base: Knowledge) -> None:
    tale = {"seal_dirt": "drive-side", "idle": "races", "hot_or_cold": "hot", "bolts": "tight", "carb_wiggle": "firm"}
    assert "leak-down" in seen(base, **tale).conclusions.first


def test_a_hot_coil_is_seen_hot_first_and_spit_back_asks_for_reeds(base: Knowledge) -> None:
    hot = {"how_it_stops": "cuts-dead", "hot_restart": "only-cold", "hot_or_cold": "hot"}
    hot["restart_after_stop"] = "after-cooling"
    assert "spark-hot" in seen(base, **hot).conclusions.first
    assert "reed-petals" in seen(base, bangs="intake", induction_kind="reed").conclusions.sooner


@pytest.mark.parametrize("answers", [{"h_opened_now": "a-little"}, {"partial_choke": "steadies"}])
def test_a_little_better_for_more_fuel_closes_no_needle(base: Knowledge, answers: dict[str, str]) -> None:
    conclusions = seen(base, **answers).conclusions
    assert "lean-run" in conclusions.cautions
    assert "close-needle" in conclusions.holds


@pytest.mark.parametrize(
    ("words", "finding", "answer"),
    [
        ("goes wow-wow in the hover", "surge-pattern", "regular"),
        ("does not surge", "surge-pattern", "none"),
        ("no smoke", "smoke", "none"),
        ("leaner helps", "h-needle-response", "worse"),
        ("richer helps", "h-needle-response", "better"),
        ("does not overheat", "overheats", "no"),
        ("compression is good", "compression", "springy"),
        ("no bubbles", "bubbles", "none"),
        ("backfires through the carb", "bangs", "intake"),
        ("bought it second hand", "ownership", "new-to-you"),
        ("it surges under load and dies after a while", "under-load", "surges"),
        ("burbles under load", "four-strokes", "under-load"),
        ("it hunts at idle since I opened the low needle", "idle", "hunts"),
    ],
)
def test_owners_words_are_not_read_backwards(base: Knowledge, words: str, finding: str, answer: str) -> None:
    found = {m.finding: m.answer for m in match(base, words, frozenset(map(str, base.findings)))}
    assert found.get(finding) == answer
