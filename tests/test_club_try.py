"""A pack is tried by its own cases: what must come, what must not, and which rules the cases reach."""

import json
from pathlib import Path

import pytest

from diagnose.case.casefile import EXPECTATIONS, read_pack_case
from diagnose.cli import WELL, WRONG, main
from diagnose.clubrules.trying import Trial, lines, try_packs
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import load
from diagnose.knowledge.source import FaultyFiles
from diagnose.testing import assert_case, assert_covered, pack_cases

BENCH = Path(__file__).parent / "packs" / "bench"

RULES = """
- rule: club-sag
  when: {under-load: sags}
  caution: [hot]
  because: It was run hard.
  basis: invented for the tests
"""

SAGS = "title: it sags\ninput: {machine: helicopter, under-load: sags, idle: hunts, bolts: loose}\n"
PULLS = "title: it pulls\ninput: {under-load: clean}\nsilent: [club-sag]\n"


def pack_of(folder: Path, cases: dict[str, str], rules: str = RULES) -> Path:
    """A small club pack on top of the bench pack: its rules, and its cases by file name."""
    pack = folder / "club"
    (pack / "cases").mkdir(parents=True)
    (pack / "pack.yaml").write_text("pack: club\nname: A club\nversion: 0.0.1\nauthor: the tests\n")
    (pack / "rules.yaml").write_text(rules)
    for name, text in cases.items():
        (pack / "cases" / name).write_text(text)
    return pack


def tried(pack: Path) -> Trial:
    knowledge = load([BENCH, pack])
    return try_packs(knowledge, knowledge.packs[1:])


def missed(folder: Path, expectation: str) -> list[str]:
    """What is missed by the sagging case with one more line in it; without the folder."""
    pack = pack_of(folder, {"sags.yaml": SAGS + expectation})
    return [str(problem).replace(f"{pack}/cases/", "") for case in tried(pack).cases for problem in case.missed]


@pytest.mark.parametrize(
    "met",
    [
        "first: [bolts-loose]",
        "first: bolts-loose",
        "first: [plug-dead, bolts-loose]",
        "first_three: [h-too-lean]",
        "never: [gain-too-high, h-too-rich]",
        "cautions: [hot, lean-run]",
        "holds: [run-at-power, close-needle]",
        "fires: [club-sag, sags-is-lean, lean-chain, opening, tell-of-lean, no-power-while-lean]",
        "silent: [dead-engine, a-stand-has-no-governor, dead-yet-idles, no-bolts-when-dead]",
    ],
)
def test_an_expectation_that_is_met_says_nothing(tmp_path: Path, met: str) -> None:
    assert missed(tmp_path, met) == []


@pytest.mark.parametrize(
    ("expectation", "says"),
    [
        (
            "first: [plug-dead, h-too-lean]",
            "sags.yaml:3:9: expected 'plug-dead' or 'h-too-lean' first; what came: bolts-loose ",
        ),
        ("first_three: [h-too-rich]", "sags.yaml:3:15: expected 'h-too-rich' in the first three; what came: bolts-loose "),
        ("never: [h-too-rich, bolts-loose]", "sags.yaml:3:21: expected 'bolts-loose' not in the first three; what came: "),
        ("cautions: [blades]", "sags.yaml:3:12: expected the caution 'blades'; what came: lean-run, hot"),
        ("fires: [dead-engine]", "sags.yaml:3:9: expected the rule 'dead-engine' to fire; it is silent"),
        ("silent:\n  - dead-engine\n  - club-sag", "sags.yaml:5:5: expected the rule 'club-sag' to be silent; it fires"),
    ],
)
def test_an_expectation_that_is_missed_says_what_came_and_where_it_is_written(
    tmp_path: Path, expectation: str, says: str
) -> None:
    (problem,) = missed(tmp_path, expectation)
    assert problem.startswith(says)


def test_a_hold_that_does_not_stand_is_said(tmp_path: Path) -> None:
    pack = pack_of(tmp_path, {"a.yaml": "title: a\ninput: {under-load: clean}\nholds: [run-at-power]\n"})
    (problem,) = tried(pack).cases[0].missed
    assert str(problem) == f"{pack}/cases/a.yaml:3:9: expected the hold 'run-at-power'; what came: close-needle"


def test_every_expectation_that_can_be_read_is_judged(tmp_path: Path) -> None:
    ids = {"cause": "plug-dead", "caution": "hot", "hold": "close-needle", "rule": "club-sag"}
    text = "".join(f"{key}: [{ids[kind]}]\n" for key, kind in EXPECTATIONS.items())
    trial = tried(pack_of(tmp_path, {"all.yaml": SAGS + text}))
    assert {problem.says.split("'")[1] for problem in trial.cases[0].missed} == {"plug-dead", "club-sag"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("input: {under-load: sags}\nfirst: [bolts-lose]\n", "1:1: 'title:' is missing"),
        ("title: a\nfirst: [bolts-loose]\n", "1:1: 'input:' is missing"),
        (
            "title: a\ninput: {under-laod: sags}\nsilent: opening\n",
            "2:9: no finding is called 'under-laod'; did you mean 'under-load'?",
        ),
        (
            "title: a\ninput: {idle: steddy}\nsilent: opening\n",
            "2:15: 'steddy' is no answer of 'idle'; it takes steady, hunts; did you mean",
        ),
        ("title: a\ninput: {head-temperature: 900 C}\nfirst: [bolts-loose]\n", "2:27: 900 C cannot be"),
        ("title: a\ninput: {}\nfirst: [bolts-lose]\n", "3:9: no cause is called 'bolts-lose'; did you mean 'bolts-loose'?"),
        ("title: a\ninput: {}\nnever: [bolts]\n", "3:9: no cause is called 'bolts'"),
        ("title: a\ninput: {}\ncautions: [lean-ran]\n", "3:12: no caution is called 'lean-ran'; did you mean 'lean-run'?"),
        (
            "title: a\ninput: {}\nholds: close-needel\n",
            "3:8: no hold is called 'close-needel'; did you mean 'close-needle'?",
        ),
        ("title: a\ninput: {}\nsilent: [club-sags]\n", "3:10: no rule is called 'club-sags'; did you mean 'club-sag'?"),
        ("title: a\ninput: {}\nfist: [bolts-loose]\n", "3:1: 'fist' is not known here; did you mean 'first'?"),
        ("title: a\ninput: {}\n", "1:1: this case expects nothing; add one of first, first_three"),
        ("title: a\ninput: {}\nfirst: []\n", "3:8: 'first' names no cause; name one, or take it out"),
        ("title: a\ninput: {}\nfirst: {bolts-loose: 1}\n", "3:8: 'first' takes a list of texts"),
        ("title: a\ninput: [idle]\nfirst: [bolts-loose]\n", "2:8: 'input' takes a table of names and values"),
        ("- a\n", "1:1: a case takes title:, input: and any of first"),
        ("", "1:1: a case takes title:, input: and any of first"),
        ("{", "1:2: not readable as YAML"),
    ],
)
def test_a_bad_case_is_said_at_its_place(tmp_path: Path, text: str, says: str) -> None:
    pack = pack_of(tmp_path, {"bad.yaml": text})
    with pytest.raises(FaultyFiles) as faulty:
        tried(pack)
    said = [str(problem).removeprefix(f"{pack}/cases/bad.yaml:") for problem in faulty.value.problems]
    assert any(line.startswith(says) for line in said), said


def test_all_that_is_wrong_in_all_cases_is_said_at_once(tmp_path: Path) -> None:
    pack = pack_of(tmp_path, {"a.yaml": "title: a\n", "b.yaml": "input: {idel: hunts}\n"})
    with pytest.raises(FaultyFiles) as faulty:
        tried(pack)
    assert {Path(problem.place.file).name for problem in faulty.value.problems} == {"a.yaml", "b.yaml"}
    assert len(faulty.value.problems) == 5


def test_a_number_in_a_case_is_banded(tmp_path: Path) -> None:
    pack = pack_of(tmp_path, {"a.yaml": "title: a\ninput: {head-temperature: 230 F}\nsilent: [club-sag]\n"})
    case = read_pack_case(pack / "cases" / "a.yaml", load([BENCH, pack]))
    assert case.findings["head-temperature"].answer == "normal"


def test_cases_lie_in_folders_below_and_hidden_files_are_left_out(tmp_path: Path) -> None:
    pack = pack_of(tmp_path, {"b.yml": SAGS, "a.yaml": PULLS, ".c.yaml": "{", "notes.txt": "{"})
    (pack / "cases" / "more").mkdir()
    (pack / "cases" / "more" / "d.yaml").write_text(SAGS)
    assert [path.name for path in pack_cases(pack)] == ["a.yaml", "b.yml", "d.yaml"]


# Which rules the cases reach.


@pytest.mark.parametrize(
    ("cases", "lacks"),
    [
        ({"a.yaml": SAGS + "fires: club-sag", "b.yaml": PULLS}, []),
        ({"a.yaml": SAGS + "fires: club-sag"}, ["where it is silent"]),
        ({"b.yaml": PULLS}, ["where it fires"]),
    ],
)
def test_every_rule_needs_a_case_where_it_fires_and_one_where_it_does_not(
    tmp_path: Path, cases: dict[str, str], lacks: list[str]
) -> None:
    trial = tried(pack_of(tmp_path, cases))
    (reached,) = trial.rules
    assert list(reached.lacks) == lacks
    assert trial.well == (not lacks)


def test_a_rule_without_when_needs_no_case_where_it_is_silent(tmp_path: Path) -> None:
    always = "- rule: club-always\n  caution: [hot]\n  because: Always.\n  basis: invented\n"
    assert tried(pack_of(tmp_path, {"a.yaml": PULLS.replace("silent: [club-sag]", "fires: club-always")}, always)).well


@pytest.mark.parametrize(
    "outcome",
    ["means: lean-under-load", "lacks: [governor]", "clash: No.", "caution: [hot]", "hold: [run-at-power]\n  until: later",
     "skip: [bolts]", "first: [bolts]", "sooner: [bolts]"],
)  # fmt: skip
def test_a_rule_of_every_outcome_is_seen_to_fire(tmp_path: Path, outcome: str) -> None:
    rule = f"- rule: club-sag\n  when: {{under-load: sags}}\n  {outcome}\n  because: So.\n  basis: invented\n"
    assert tried(pack_of(tmp_path, {"a.yaml": SAGS + "fires: club-sag", "b.yaml": PULLS}, rule)).well


def test_the_rules_of_other_packs_are_not_counted(tmp_path: Path) -> None:
    assert [reached.rule.id for reached in tried(pack_of(tmp_path, {"b.yaml": PULLS})).rules] == ["club-sag"]


def test_the_lines_say_each_case_then_the_rules(tmp_path: Path) -> None:
    pack = pack_of(tmp_path, {"a.yaml": SAGS + "silent: club-sag", "b.yaml": SAGS + "fires: club-sag"})
    assert lines(tried(pack)) == [
        f"wrong  {pack}/cases/a.yaml:3:9: expected the rule 'club-sag' to be silent; it fires",
        f"good   {pack}/cases/b.yaml: it sags",
        "",
        "2 cases, 1 wrong.",
        "",
        "Rules of club:",
        "  club-sag  fires in 2 cases, silent in 0",
        f"{pack}/rules.yaml:2:9: rule 'club-sag' has no case where it is silent; write one",
    ]


# On the command line, with the base rules.

SETTLED = "- rule: club-clip\n  when: {bubbles: stream}\n  caution: [lean-run]\n  because: Air.\n  basis: invented\n"
STREAM = "title: a stream\ninput: {bubbles: stream}\nfires: [club-clip]\n"
NONE = "title: none\ninput: {bubbles: none}\nsilent: [club-clip]\n"


@pytest.mark.parametrize(
    ("cases", "code"),
    [
        ({"a.yaml": STREAM, "b.yaml": NONE}, WELL),
        ({"a.yaml": STREAM}, WRONG),
        ({"a.yaml": STREAM, "b.yaml": NONE + "cautions: [lean-run]"}, WRONG),
    ],
)
def test_the_exit_code_says_whether_all_is_well(tmp_path: Path, cases: dict[str, str], code: int) -> None:
    assert main(["rules", "try", str(pack_of(tmp_path, cases, SETTLED))]) == code


def test_the_document_for_programs_names_its_version(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack = pack_of(tmp_path, {"a.yaml": STREAM + "first: [plug-fouled]"}, SETTLED)
    assert main(["rules", "try", str(pack), "--json"]) == WRONG
    document = json.loads(capsys.readouterr().out)
    assert (document["format"], document["version"], document["well"]) == ("diagnose-tried", 1, False)
    (case,) = document["cases"]
    (problem,) = case["missed"]
    assert (Path(problem["file"]).name, problem["line"], problem["column"]) == ("a.yaml", 4, 9)
    assert "club-clip" in case["fired"]
    (rule,) = document["rules"]
    assert (rule["rule"], rule["fires"], rule["silent"], len(rule["lacks"])) == ("club-clip", 1, 0, 1)


def test_a_pack_without_cases_fails_with_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "try", str(pack_of(tmp_path, {}, SETTLED))]) == WRONG
    (line,) = capsys.readouterr().err.splitlines()
    assert "club/cases:1:1: no case found; write one" in line


def test_no_pack_at_all_fails_with_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DIAGNOSE_RULES", raising=False)
    assert main(["--data", str(tmp_path), "rules", "try"]) == WRONG
    assert capsys.readouterr().err == "no pack to try; name one: diagnose rules try PACK\n"


# For pytest.


@pytest.fixture
def lacking(tmp_path: Path) -> Path:
    return pack_of(tmp_path, {"a.yaml": SAGS + "fires: club-sag", "c.yaml": SAGS + "first: plug-dead\nnever: bolts-loose"})


def test_pytest_fails_with_all_that_is_missed(lacking: Path) -> None:
    knowledge = load([BENCH, lacking])
    good, wrong = pack_cases(lacking)
    assert_case(knowledge, good)
    with pytest.raises(
        AssertionError, match="(?s)c.yaml:3:8: expected 'plug-dead' first.*c.yaml:4:8: expected 'bolts-loose'"
    ):
        assert_case(knowledge, wrong)


def test_pytest_fails_with_the_rule_that_lacks_a_case(lacking: Path) -> None:
    with pytest.raises(AssertionError, match="rule 'club-sag' has no case where it is silent"):
        assert_covered(load([BENCH, lacking]), lacking)


def test_pytest_fails_where_the_pack_was_not_loaded_or_has_no_case(bench: Knowledge, tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match="not among the packs"):
        assert_covered(bench, tmp_path)
    with pytest.raises(FaultyFiles, match="no case found"):
        pack_cases(tmp_path)
