"""The bench as it is used: options and units, questions one at a time, in a walk, in the report, told to the rules."""

import json
from pathlib import Path

import pytest

from diagnose.bench.calculator import Calculator, Given, Input, NotPossible, Page, Row
from diagnose.bench.calculators import calculator, calculators
from diagnose.bench.document import document
from diagnose.bench.inputs import gathered
from diagnose.case.casefile import understood
from diagnose.case.log import CaseLog, LogTrouble
from diagnose.case.state import CaseState
from diagnose.case.state import Given as Answered
from diagnose.cli import MISUSED, WELL, main
from diagnose.drawing.chart import Axis, Chart, Trace
from diagnose.knowledge.model import Knowledge
from diagnose.planning.examine import Examined, examine
from diagnose.report.fault_report import fault_report
from diagnose.report.files import as_html, as_markdown
from diagnose.shell.bench import page_lines, reader, worked_out
from diagnose.shell.console import ScriptedConsole
from diagnose.testing import walk_with


def given(name: str, **typed: str) -> Given:
    return gathered(calculator(name), {key.replace("_", "-"): [text] for key, text in typed.items()})


def worked(name: str, **typed: str) -> Page:
    return calculator(name).work(given(name, **typed))


# Options


def test_a_number_may_have_any_unit_that_fits() -> None:
    metric = given("air", temperature="5 C", pressure="1013.25 hPa", height="152.4 m", humidity="60 %")
    other = given("air", temperature="41F", pressure="29,9213 inHg", height="500 ft", humidity="60")
    for name in metric:
        assert metric[name] == pytest.approx(other[name], rel=1e-4)
    assert given("rotor", head_speed="25 Hz")["head-speed"] == pytest.approx(1500)
    assert given("rotor", diameter="60.63 in")["diameter"] == pytest.approx(1540, rel=1e-4)
    assert given("premix", ratio="32:1", petrol="1 US gal")["petrol"] == pytest.approx(3.785412, rel=1e-6)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["rotor", "--ratio", "many", "--head-speed", "1500"], "ratio: 'many' is not a number"),
        (["rotor", "--ratio", "8", "--head-speed", "5 kg"], "head-speed: 'kg' is no unit of speed"),
        (["rotor", "--ratio", "8", "--head-speed", "12,500"], "a comma marks decimals"),
        (["rotor", "--ratio", "8", "--ratio", "9", "--head-speed", "1500"], "ratio: given 2 times"),
        (["rotor", "--ratio", "8"], "give two of engine-speed, head-speed and ratio"),
        (["rotor", "--machine", "boat"], "machine: 'boat' is none of helicopter, aeroplane"),
        (["rotor", "--turns", "8"], "unrecognized arguments: --turns"),
        (["premix", "--petrol", "5"], "premix needs --ratio"),
        (["premix", "--ratio", "32", "--petrol", "1 gal"], "'gal' has two sizes; write US gal"),
        (["premix", "--ratio", "1e9", "--petrol", "1"], "ratio: 'e9' is no unit"),
        (["premix", "--ratio", "32", "--petrol", "1", "-o", "can.svg"], "nothing to draw"),
        (["air", "--temperature", "-300 C", "--height", "0"], "temperature: -300 C cannot be"),
        (["gearbox"], "no calculator is called 'gearbox'"),
    ],
)
def test_a_wrong_input_gets_one_clear_line(arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", *arguments]) == MISUSED
    printed = capsys.readouterr()
    assert printed.out == ""
    assert says in printed.err
    assert printed.err.count("\n") == 1


def test_a_temperature_below_nothing_is_no_option(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "air", "--temperature", "-5C", "--height", "-3", "--json"]) == WELL
    told = json.loads(capsys.readouterr().out)
    assert told["inputs"]["temperature"] == {"value": -5.0, "unit": "degC"}


def test_every_number_of_the_document_has_its_unit(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "air", "--temperature", "30", "--height", "0", "--set-temperature", "5", "--json"]) == WELL
    told = json.loads(capsys.readouterr().out)
    assert (told["format"], told["version"], told["calculator"]) == ("diagnose-bench", 1, "air")
    assert all({"value", "unit", "written"} <= row.keys() for row in told["results"].values())
    assert told["results"]["now-density"]["unit"] == "kilogram/metre**3"
    shift = told["results"]["air-shift"]
    assert shift["least"] < shift["value"] < shift["most"]


def test_a_gap_in_a_curve_is_null_in_the_document() -> None:
    chart = Chart("curve", Axis("stick", "%"), Axis("throttle", "%"), (Trace("held", [0, 50], [10.0, float("nan")]),))
    page = Page("curve", (Row("worst", "Worst", float("nan"), "percent", "not known"),), charts=(chart,))
    told = document(Calculator("curve", "Curve", (), lambda _: page), {}, page)
    assert json.loads(json.dumps(told, allow_nan=False))["charts"][0]["traces"][0]["y"] == [10.0, None]


def test_the_list_names_every_calculator_and_the_program_can_read_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench"]) == WELL
    listed = capsys.readouterr().out
    assert main(["bench", "--json"]) == WELL
    told = json.loads(capsys.readouterr().out)
    for one in calculators():
        assert f"{one.name}: {one.title[:20]}" in listed
        assert one.name in [entry["calculator"] for entry in told["calculators"]]


def test_cautions_come_before_the_numbers(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "rotor", "--head-speed", "2000", "--ratio", "6.5", "--blade-limit", "1900"]) == WELL
    printed = capsys.readouterr().out
    assert printed.index("Never turn rotor or propeller faster") < printed.index("PAST THE LIMIT")
    assert printed.index("Blades and propellers kill") < printed.index("Rotor at 2000 rpm")


@pytest.mark.parametrize("width", [80, 40])
def test_no_line_of_a_page_is_wider_than_the_screen(width: int) -> None:
    pages = [
        worked("air", temperature="30", height="1200", set_temperature="-5", ethanol="10", set_ethanol="0"),
        worked("rotor", head_speed="1950", ratio="6.5", diameter="1.5 m", blade_limit="2000", clutch="5000"),
        worked("premix", ratio="32", can="2", can_ratio="50"),
    ]
    for page in pages:
        assert max(len(line) for line, _ in page_lines(page, width)) <= width


# Questions one at a time


def asked(name: str, *replies: str) -> tuple[tuple[Given, Page] | None, str]:
    console = ScriptedConsole(replies)

    def show(lines: object) -> None:
        for line, tone in lines:  # type: ignore[attr-defined]
            console.say(line, tone)

    return worked_out(calculator(name), show, reader(console), 76, {}), "\n".join(console.lines)


def test_the_inputs_are_asked_one_at_a_time_and_what_is_not_known_is_left_out() -> None:
    done, said = asked("premix", "32", "don't know", "?", "2 l", "50:1", "")
    assert done is not None
    assert done[0] == {"ratio": 32.0, "can": 2.0, "can-ratio": 50.0}
    assert "top-up-ratio" not in said  # it would mean nothing without the top-up


def test_going_back_asks_the_input_before_again() -> None:
    done, said = asked("premix", "25", "back", "32", "5", "?", "?", "?")
    assert done is not None
    assert done[0] == {"ratio": 32.0, "petrol": 5.0}
    assert "an empty line keeps 25" in said
    assert asked("premix", "back")[0] is None


def test_what_cannot_be_meant_together_is_asked_again_with_what_was_given() -> None:
    first = ["10", "?", "14", "0", "?", "?", "?", "?", "?"]  # a dew point above the temperature
    done, said = asked("air", *first, "", "?", "5", "", "?", "?", "?", "?", "?")
    assert "is above the temperature" in said
    assert done is not None
    assert done[0] == {"temperature": 10.0, "dew-point": 5.0, "height": 0.0}


def test_what_must_be_known_is_not_left_out() -> None:
    _, said = asked("premix", "?", "32", "5", "?", "?", "?")
    assert "nothing can be worked out without it" in said


def test_an_input_that_takes_many_ends_with_an_empty_line() -> None:
    many = Calculator(
        "many", "Many", (Input("reading", "Reading", "rpm", 0, 1e5, needed=True, many=True),), lambda _: Page("many")
    )
    console = ScriptedConsole(["1000", "2 krpm", ""])
    done = worked_out(many, lambda lines: None, reader(console), 76, {})
    assert done is not None
    assert done[0] == {"reading": (1000.0, 2000.0)}


# Inside a walk


class Typed:
    def __init__(self, *replies: str) -> None:
        self.waiting = list(replies)

    def __call__(self, lines: list[str]) -> str | None:
        return self.waiting.pop(0) if self.waiting else None


COLD_DAY = ("bench air", "-5", "80", "200", "?", "1020", "?", "28", "50", "200", "?", "1015", "?")
"""Set on a summer day, flown on a frosty one."""


def walked(knowledge: Knowledge, folder: Path, *replies: str) -> tuple[str, CaseState]:
    console, log = walk_with(knowledge, Typed("hot and sags", "1", "none", *replies), folder)
    return "\n".join(console.lines), log.state


def test_a_calculator_in_the_walk_tells_the_rules_when_it_may(base: Knowledge, tmp_path: Path) -> None:
    said, state = walked(base, tmp_path, *COLD_DAY, "1")
    assert "Tell this to the rules?" in said
    assert state.answers["air-compared"] == "denser"
    assert state.answers["weather-against-when-set"] == "colder"
    assert state.findings["mixture-reckoned"].reading is not None
    assert state.bench[0].calculator == "air"
    assert state.bench[0].inputs["temperature"] == "-5 degrees C"
    assert said.index("Before a run in colder or denser air") < said.index("Density since then")


def test_what_is_not_told_stays_in_the_report_only(base: Knowledge, tmp_path: Path) -> None:
    _, state = walked(base, tmp_path, *COLD_DAY, "2")
    assert "air-compared" not in state.answers
    report = fault_report(base, state, examine(base, state), "test")
    assert report.bench[0].title == "The air, and the mixture since it was set"
    for text in (as_markdown(report), as_html(report)):
        assert "On the bench" in text
        assert "Mixture since then" in text


def test_what_was_told_is_taken_back_like_any_answer(base: Knowledge, tmp_path: Path) -> None:
    _, state = walked(base, tmp_path, *COLD_DAY, "1", "back 4")
    assert state.answers == {"machine": "helicopter"}
    assert len(state.bench) == 1


def test_commands_of_the_walk_work_while_the_bench_asks(base: Knowledge, tmp_path: Path) -> None:
    said, state = walked(base, tmp_path, "bench premix", "note the can is old", "32", "standing", "5", "?", "?", "?")
    assert state.notes[0][1] == "the can is old"
    assert "As it stands:" in said
    assert "Oil to add for 32:1" in said


def test_the_bench_knows_what_the_case_knows_and_what_was_given_before(base: Knowledge, tmp_path: Path) -> None:
    said, state = walked(
        base, tmp_path, "bench rotor", "", "?", "1500", "8", *["?"] * 5, "bench rotor", "", "?", "", "", *["?"] * 5
    )
    assert "an empty line keeps helicopter" in said
    assert "an empty line keeps 1500 rpm" in said
    assert [dict(done.inputs) for done in state.bench] == [
        {"machine": "helicopter", "head-speed": "1500 rpm", "ratio": "8"}
    ] * 2


def test_a_name_that_is_no_calculator_gets_one_line_and_alone_it_lists_them(base: Knowledge, tmp_path: Path) -> None:
    said, _ = walked(base, tmp_path, "bench gearbox", "bench")
    assert "no calculator is called 'gearbox'" in said
    assert "premix: Oil for a quantity of fuel" in said


@pytest.mark.parametrize("inputs", ['{"ratio": 32}', '{"ratio": "\\u001b[2J"}', '["ratio"]'])
def test_a_log_whose_bench_holds_no_plain_text_is_refused(tmp_path: Path, inputs: str) -> None:
    with CaseLog.create(tmp_path, clock=lambda: "2026-05-01T10:00:00+02:00") as log:
        path = log.path
    event = '{"event": "bench", "at": "2026-05-01T10:00:01+02:00", "calculator": "premix", "title": "x", "results": [],'
    with path.open("a") as file:
        file.write(f'{event} "says": [], "findings": {{}}, "inputs": {inputs}}}\n{{"event": "heard", "at": "x"}}\n')
    with pytest.raises(LogTrouble, match=":2:1"):
        CaseLog.open(path)


# What the rules make of it


def seen(knowledge: Knowledge, answers: dict[str, str]) -> Examined:
    findings = {name: understood(knowledge.findings[name], text) for name, text in answers.items()}
    return examine(knowledge, CaseState(findings=findings))


def chance(examined: Examined, cause: str) -> float:
    ranked = examined.standing.of(cause)
    assert ranked is not None
    return ranked.probability


def found(name: str, **typed: str) -> dict[str, str]:
    return dict(worked(name, **typed).findings)


def test_every_finding_that_these_calculators_tell_is_one_of_the_rules(base: Knowledge) -> None:
    told = [
        found("air", temperature="30", height="0", set_temperature="5", set_height="900", ethanol="10", set_ethanol="0"),
        found("rotor", engine_speed="12000", head_speed="1500", ratio="8", blade_limit="1400", clutch="5000", idle="4900",
              engine_lowest="9000", engine_highest="11000"),
        found("premix", ratio="32", can="2", can_ratio="50"),
    ]  # fmt: skip
    for findings in told:
        for name, text in findings.items():
            assert isinstance(understood(base.findings[name], text), Answered)


@pytest.mark.parametrize(
    ("cause", "typed"),
    [
        ("air-denser-than-when-set", {"temperature": "-5", "height": "200", "set_temperature": "28", "set_height": "200"}),
        ("air-hotter-than-when-set", {"temperature": "33", "height": "200", "set_temperature": "5", "set_height": "200"}),
        ("field-higher-than-when-set", {"temperature": "10", "height": "1500", "set_temperature": "18", "set_height": "0"}),
        ("more-ethanol-than-when-set", {"temperature": "20", "height": "0", "ethanol": "10", "set_ethanol": "0"}),
    ],
)
def test_the_air_moves_the_cause_that_it_stands_for(base: Knowledge, cause: str, typed: dict[str, str]) -> None:
    before, after = seen(base, {"machine": "helicopter"}), seen(base, {"machine": "helicopter", **found("air", **typed)})
    assert chance(after, cause) > 3 * chance(before, cause)


def test_cold_and_ethanol_that_are_little_alone_are_warned_of_together(base: Knowledge) -> None:
    """Six degrees colder is 1 % leaner, five per cent more ethanol 2 %: neither is a difference by itself."""
    told = found(
        "air", temperature="14", humidity="50", height="0", set_temperature="20", set_humidity="50", set_height="0",
        ethanol="9", set_ethanol="5.5",
    )  # fmt: skip
    assert (told["air-compared"], told["ethanol-compared"]) == ("alike", "alike")
    conclusions = seen(base, {"mixture-reckoned": told["mixture-reckoned"]}).conclusions
    assert "lean-possible" in conclusions.conditions
    assert {"lean-run", "cold-day-lean"} <= set(conclusions.cautions)


def test_past_the_blade_limit_nothing_runs_at_power_or_flies(base: Knowledge) -> None:
    conclusions = seen(
        base, {"machine": "helicopter", **found("rotor", head_speed="2000", ratio="6.5", blade_limit="1900")}
    ).conclusions
    assert "blade-limit" in conclusions.cautions
    assert {"run-at-power", "fly"} <= set(conclusions.holds)


def test_a_rotor_that_turns_at_idle_is_the_idles_fault_or_the_clutchs(base: Knowledge) -> None:
    turns = {"machine": "helicopter", "head-turns-at-idle": "turns"}
    above = seen(base, {**turns, **found("rotor", head_speed="1500", ratio="8", clutch="4000", idle="4400")})
    clear = seen(base, {**turns, **found("rotor", head_speed="1500", ratio="8", clutch="4000", idle="2800")})
    assert chance(above, "throttle-not-closed") > chance(above, "clutch-dragging")
    assert chance(clear, "clutch-dragging") > chance(clear, "throttle-not-closed")


def test_a_can_short_of_oil_is_on_hold(base: Knowledge) -> None:
    before = seen(base, {"machine": "helicopter"})
    after = seen(base, {"machine": "helicopter", **found("premix", ratio="32", can="2", can_ratio="80")})
    assert chance(after, "too-little-oil") > 5 * chance(before, "too-little-oil")
    assert "run-at-power" in after.conclusions.holds or "run" in after.conclusions.holds


def test_no_page_ever_says_to_close_a_needle(base: Knowledge) -> None:
    """Over days from frost to heat and fuels with and without ethanol; the reader of lines is that of the random walks."""
    from test_random_walks import tells_to_weaken

    lines = set()
    for now in ("-10", "5", "20", "38"):
        for then in ("-10", "5", "20", "38"):
            for ethanol in ("0", "15"):
                page = worked("air", temperature=now, height="300", set_temperature=then, ethanol=ethanol, set_ethanol="5")
                lines |= {f"{sentence}." for says in page.says for sentence in says.split(".")}
    assert len(lines) > 15
    assert [line for line in lines if tells_to_weaken(line)] == []


def test_impossible_inputs_raise_one_line() -> None:
    with pytest.raises(NotPossible) as error:
        worked("rotor", engine_speed="9000", head_speed="2000", ratio="8")
    assert "\n" not in str(error.value)
