"""Club packs: what they may change, what they may never take away, and how what is wrong in them is said."""

import json
import random
import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
import yaml
from conftest import BENCH
from jsonschema import Draft202012Validator

from diagnose.case.state import CaseState, Given
from diagnose.cli import MISUSED, WELL, WRONG, main
from diagnose.knowledge import schema as schemas
from diagnose.knowledge.checked import Checked, check, lines
from diagnose.knowledge.fields import Fields
from diagnose.knowledge.model import All, Answered, Any, Knowledge, Rule
from diagnose.knowledge.nearness import Names
from diagnose.knowledge.packs import base_pack, load
from diagnose.knowledge.pointing import pointed
from diagnose.knowledge.premises import fires_with, ways
from diagnose.knowledge.reader import READERS
from diagnose.knowledge.schema import schema
from diagnose.knowledge.source import FaultyFiles, Place, Problem, Table, Text
from diagnose.planning.examine import examine
from diagnose.reasoning.reason import reason

HEAD = "name: An invented club\nversion: 0.2\nauthor: the tests\n"
WHY = "  because: invented for the tests\n"
BASIS = WHY + "  basis: invented for the tests\n"


def pack(folder: Path, name: str, text: str, needs: str = "") -> Path:
    """A club pack with one file of entries."""
    made = folder / name
    made.mkdir()
    (made / "pack.yaml").write_text(f"pack: {name}\n{HEAD}{needs}")
    (made / "club.yaml").write_text(text)
    return made


def checked(folder: Path, text: str, needs: str = "") -> Checked:
    return check([BENCH, pack(folder, "club", text, needs)])


def errors(folder: Path, text: str, needs: str = "") -> list[str]:
    """What is wrong, each as line:column and what is said."""
    return [short(problem) for problem in checked(folder, text, needs).errors]


def advice(folder: Path, text: str) -> list[str]:
    found = checked(folder, text)
    assert found.errors == ()
    return [short(problem) for problem in found.advice]


def subfolder(folder: Path) -> Path:
    (folder / "other").mkdir()
    return folder / "other"


def short(problem: Problem) -> str:
    return str(problem).partition(f"{Path(problem.place.file).name}:")[2]


# What a pack needs.


@pytest.mark.parametrize("needs", ["bench", "bench 0.0.1", "bench 0.0", "[bench 0]"])
def test_a_pack_that_finds_what_it_needs_loads(tmp_path: Path, needs: str) -> None:
    assert errors(tmp_path, "", f"needs: {needs}\n") == []


@pytest.mark.parametrize(
    ("needs", "says"),
    [
        ("trim", "5:8: pack 'club' needs the pack 'trim', which is not here; add it with --rules"),
        ("[bench, trim 2]", "5:16: pack 'club' needs the pack 'trim', which is not here; add it with --rules"),
        ("bench 0.0.2", "5:8: pack 'club' needs 'bench' 0.0.2 or newer; here is 0.0.1"),
        ("bench 0.0.10", "5:8: pack 'club' needs 'bench' 0.0.10 or newer; here is 0.0.1"),
        ("bench 0.0.1 or newer", "5:8: 'needs' takes a pack, or a pack and its least version, such as 'base 1.0'"),
    ],
)
def test_a_missing_or_old_pack_is_one_clear_line(tmp_path: Path, needs: str, says: str) -> None:
    """However many names of the missing pack are used."""
    uses = "- rule: a\n  when: {wing-sign: bent}\n  caution: wing-caution\n" + BASIS + "- switch_off: gone\n" + WHY
    assert errors(tmp_path, uses if "newer" not in needs else "", f"needs: {needs}\n") == [says]


def test_a_needed_pack_must_come_first(tmp_path: Path) -> None:
    early = pack(tmp_path, "early", "", "needs: late\n")
    late = pack(tmp_path, "late", "")
    assert [short(p) for p in check([BENCH, early, late]).errors] == [
        "5:8: pack 'early' needs 'late', which is read after it; name 'late' first"
    ]
    assert check([BENCH, late, early]).errors == ()


def test_a_pack_read_twice_is_said(tmp_path: Path) -> None:
    club = pack(tmp_path, "club", "")
    assert [short(p) for p in check([BENCH, club, club]).errors] == [f"1:7: pack 'club' is already read from {club}"]


def test_a_version_is_numbers(tmp_path: Path) -> None:
    club = pack(tmp_path, "club", "")
    (club / "pack.yaml").write_text("pack: club\nname: N\nversion: newest\nauthor: A\n")
    assert [short(p) for p in check([BENCH, club]).errors] == [
        "3:10: 'version' takes numbers joined by dots, such as 1.0.2"
    ]


# What a pack may change.


def test_a_switched_off_rule_is_gone_and_remembered(tmp_path: Path, bench: Knowledge) -> None:
    club = pack(tmp_path, "club", "- switch_off: no-bolts-when-dead\n" + WHY)
    changed = load([BENCH, club])
    assert set(bench.rules) - set(changed.rules) == {"no-bolts-when-dead"}
    assert reason(bench, {"starts": "never"}).skips
    assert not reason(changed, {"starts": "never"}).skips
    (change,) = changed.changes
    assert (change.id, change.because) == ("no-bolts-when-dead", "invented for the tests")


def test_a_reweighed_cause_moves_and_the_base_is_not_edited(tmp_path: Path, bench: Knowledge) -> None:
    text = (
        "- reweigh: bolts-loose\n  how_common: nearly-always\n  shows: {idle: {hunts: rarely}, starts: {never: rarely}}\n"
    )
    changed = load([BENCH, pack(tmp_path, "club", text + WHY)])
    was, now = bench.causes["bolts-loose"], changed.causes["bolts-loose"]
    assert (was.how_common, now.how_common) == ("often", "nearly-always")
    assert dict(now.shows["idle"].words) == {"hunts": "rarely"}
    assert set(now.shows) - set(was.shows) == {"starts"}
    assert now.shows["bolts"] == was.shows["bolts"]
    assert (now.fix, now.settled_by, now.place) == (was.fix, was.settled_by, was.place)
    assert dict(was.shows["idle"].words) == {"hunts": "usually"}


def test_a_reweighed_cause_ranks_otherwise(tmp_path: Path, bench: Knowledge) -> None:
    text = "- reweigh: plug-dead\n  how_common: nearly-always\n" + WHY
    changed = load([BENCH, pack(tmp_path, "club", text)])
    state = CaseState(findings={"machine": Given("helicopter")})
    before, after = (examine(which, state).standing.of("plug-dead") for which in (bench, changed))
    assert before is not None and after is not None
    assert after.probability > 1.5 * before.probability


def test_packs_change_in_their_order(tmp_path: Path) -> None:
    one = pack(tmp_path, "one", "- reweigh: plug-dead\n  how_common: rarely\n  shows: {starts: {never: often}}\n" + WHY)
    two = pack(tmp_path, "two", "- reweigh: plug-dead\n  how_common: often\n" + WHY)
    for order, word in (((one, two), "often"), ((two, one), "rarely")):
        cause = load([BENCH, *order]).causes["plug-dead"]
        assert (cause.how_common, cause.shows["starts"].words["never"]) == (word, "often")


def test_a_pack_may_change_what_an_earlier_club_pack_added(tmp_path: Path) -> None:
    one = pack(tmp_path, "one", "- rule: own\n  when: {idle: hunts}\n  sooner: [bolts]\n" + BASIS)
    two = pack(tmp_path, "two", "- switch_off: own\n" + WHY)
    assert "own" not in load([BENCH, one, two]).rules
    assert [short(p) for p in check([BENCH, two, one]).errors] == [
        "1:15: rule 'own' is not of an earlier pack; only a rule of an earlier pack is switched off"
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("- switch_off: opening\n", "1:3: 'because:' is missing"),
        ("- switch_off: openin\n" + WHY, "1:15: no rule of an earlier pack is called 'openin'; did you mean 'opening'?"),
        ("- switch_off: idle\n" + WHY, "1:15: no rule of an earlier pack is called 'idle'"),
        ("- reweigh: plug-ded\n  how_common: often\n" + WHY, "1:12: no cause of an earlier pack is called 'plug-ded'; did"
         " you mean 'plug-dead'?"),
        ("- reweigh: plug-dead\n" + WHY, "1:3: a reweigh takes how_common:, shows: or both"),
        ("- reweigh: plug-dead\n  how_common: offen\n" + WHY, "2:15: 'how_common' takes never, rarely, sometimes, often,"
         " usually, nearly-always; not 'offen'; did you mean 'often'?"),
        ("- reweigh: plug-dead\n  shows: {starts: {nevr: often}}\n" + WHY, "2:20: no answer of 'starts' is called 'nevr';"
         " did you mean 'never'?"),
        ("- reweigh: plug-dead\n  cautions: []\n  how_common: often\n" + WHY, "2:3: 'cautions' is not known here"),
        ("- switch_off: opening\n" + WHY + "- switch_off: opening\n" + WHY, "3:15: 'opening' was already changed at"),
    ],
)  # fmt: skip
def test_a_change_that_leads_nowhere_is_pointed_out(tmp_path: Path, text: str, says: str) -> None:
    assert errors(tmp_path, text)[0].startswith(says)


def test_a_pack_cannot_redefine_an_id_of_another(tmp_path: Path) -> None:
    said = errors(tmp_path, "- caution: blades\n  level: care\n  says: Mind it.\n  basis: invented\n")
    assert len(said) == 1
    assert said[0].startswith("1:12: caution 'blades' is already defined at ")


def test_words_of_a_reweigh_are_looked_at_even_if_a_later_pack_replaces_them(tmp_path: Path) -> None:
    one = pack(tmp_path, "one", "- reweigh: plug-dead\n  shows: {starts: {nevr: often}}\n" + WHY)
    two = pack(tmp_path, "two", "- reweigh: plug-dead\n  shows: {starts: {never: often}}\n" + WHY)
    assert len(check([BENCH, one, two]).errors) == 1


# What a pack can never take away.


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ("tell-of-lean", "rule 'tell-of-lean' gives a caution; a caution is never switched off"),
        ("no-power-while-lean", "rule 'no-power-while-lean' gives a hold; a hold is never switched off"),
        (
            "sags-is-lean",
            "rule 'sags-is-lean' concludes 'lean-under-load', on which the hold of 'no-power-while-lean' rests",
        ),
        ("lean-chain", "rule 'lean-chain' concludes 'lean-possible', on which the "),
    ],
)
def test_a_caution_a_hold_and_what_they_rest_on_stay(tmp_path: Path, rule: str, says: str) -> None:
    (said,) = errors(tmp_path, f"- switch_off: {rule}\n" + WHY)
    assert said.startswith(f"1:15: {says}")


def test_what_a_hold_of_a_later_pack_rests_on_stays_too(tmp_path: Path) -> None:
    loose = "- condition: loose-seat\n  name: N\n  says: S\n  seen: rarely\n"
    loose += "- rule: seat\n  when: {bolts: loose}\n  means: loose-seat\n"
    one = pack(tmp_path, "one", loose + BASIS)
    two = pack(tmp_path, "two", "- switch_off: seat\n" + WHY)
    three = pack(tmp_path, "three", "- rule: mind\n  when: {is: loose-seat}\n  caution: hot\n" + BASIS)
    assert check([BENCH, one, two]).errors == ()
    assert "rests; it stays on" in str(check([BENCH, one, two, three]).errors[0])


def test_the_root_of_a_chain_below_a_hold_stays(tmp_path: Path) -> None:
    chain = (
        "- condition: first-link\n  name: N\n  says: S\n  seen: rarely\n"
        "- rule: root\n  when: {bolts: loose}\n  means: first-link\n" + BASIS
    )
    link = "- rule: link\n  when: {is: first-link}\n  means: lean-possible\n" + BASIS
    one, two = pack(tmp_path, "one", chain + link), pack(tmp_path, "two", "- switch_off: root\n" + WHY)
    assert "on which the" in str(check([BENCH, one, two]).errors[-1])


def test_a_pack_cannot_conclude_what_lifts_a_hold_of_another(tmp_path: Path) -> None:
    """closing a needle is held until rich is proved; a club rule that proved it would open the way to lean."""
    text = "- rule: rich-enough\n  when: {idle: steady}\n  means: rich-proved\n"
    assert errors(tmp_path, text + BASIS) == [
        "3:10: concluding 'rich-proved' here would lift the hold of 'no-closing-until-rich', a rule of another pack;"
        " conclude a condition of this pack instead"
    ]


def test_a_pack_cannot_lift_a_hold_through_a_chain(tmp_path: Path) -> None:
    """One pack may chain to a condition; another must not put the first link there."""
    ground = tmp_path / "ground"
    ground.mkdir()
    for file in BENCH.iterdir():
        text = file.read_text()
        if file.name == "bench.yaml":
            text += "- condition: soot\n  name: Soot\n  says: S.\n  seen: rarely\n"
            text += "- rule: soot-seen\n  when: {idle: hunts}\n  means: soot\n" + BASIS
            text += "- rule: soot-is-rich\n  when: {is: soot}\n  means: rich-proved\n" + BASIS
        (ground / file.name).write_text(text)
    club = pack(tmp_path, "club", "- rule: sooty\n  when: {bolts: tight}\n  means: soot\n" + BASIS)
    (said,) = check([ground, club]).errors
    assert "concluding 'soot' here would lift the hold of 'no-closing-until-rich'" in said.says


def test_a_pack_may_conclude_what_brings_a_hold(tmp_path: Path) -> None:
    text = "- rule: club-lean\n  when: {bolts: loose}\n  means: lean-under-load\n"
    changed = load([BENCH, pack(tmp_path, "club", text + BASIS)])
    assert "run-at-power" in reason(changed, {"bolts": "loose"}).holds


def test_no_pack_may_lift_its_neighbours_hold_and_each_may_lift_its_own(tmp_path: Path) -> None:
    own = "- condition: seen-to\n  name: N\n  says: S\n  seen: rarely\n"
    own += "- rule: seen\n  when: {bolts: tight}\n  means: seen-to\n"
    hold = "- rule: wait\n  when: {is_not: seen-to}\n  hold: run-at-power\n  until: the bolts are seen to\n"
    one = pack(tmp_path, "one", own + BASIS + hold + BASIS)
    two = pack(tmp_path, "two", "- rule: me-too\n  when: {idle: steady}\n  means: seen-to\n" + BASIS)
    assert check([BENCH, one]).errors == ()
    assert "would lift the hold of 'wait'" in str(check([BENCH, one, two]).errors[0])


def concluded_at_once(conditions: Iterable[str]) -> str:
    return "".join(f"- rule: club-{name}\n  when: {{machine: known}}\n  means: {name}\n{BASIS}" for name in conditions)


def switched_off(rules: Iterable[str]) -> str:
    return "".join(f"- switch_off: {rule}\n{WHY}" for rule in rules)


def test_whatever_a_pack_that_loads_says_no_caution_or_hold_of_the_base_is_lost(tmp_path: Path, base: Knowledge) -> None:
    """Every condition that may be concluded is, at once; every rule that may go, goes. 60 random cases keep their holds."""
    club = pack(tmp_path, "club", concluded_at_once(base.conditions) + switched_off(base.rules))
    said = [problem.says for problem in check([base_pack(), club]).errors]
    conclude = set(base.conditions) - {word for says in said for word in re.findall("concluding '([^']+)'", says)}
    named = "rule '([^']+)' (?:gives|concludes|asks)"
    leave = set(base.rules) - {word for says in said for word in re.findall(named, says)}
    assert len(conclude) > 40 and len(leave) > 100
    chance = random.Random(7)
    for text in (concluded_at_once(sorted(conclude)), switched_off(sorted(leave))):
        (club / "club.yaml").write_text(text)
        changed = load([base_pack(), club])
        for _ in range(30):
            asked = chance.sample(list(base.findings.values()), chance.randrange(1, 60))
            answers = {str(finding.id): str(chance.choice(list(finding.answers))) for finding in asked}
            answers["machine"] = "helicopter"
            before, after = reason(base, answers), reason(changed, answers)
            assert set(before.cautions) <= set(after.cautions)
            assert set(before.holds) <= set(after.holds)
            assert set(before.proofs) <= set(after.proofs)


# How it is said.


def test_a_problem_is_shown_with_its_line_and_a_caret_below(tmp_path: Path) -> None:
    found = checked(tmp_path, "- rule: a\n  when: {idel: hunts}\n  sooner: [bolts]\n" + BASIS)
    said = lines(found)
    assert said[0].endswith("club.yaml:2:10: no finding is called 'idel'; did you mean 'idle'?")
    assert said[1] == "      when: {idel: hunts}"
    assert said[2].index("^") == said[1].index("idel")
    assert "1 error: the packs do not load until this is put right." in said


def test_a_long_line_is_cut_around_the_caret_and_tabs_do_not_move_it(tmp_path: Path) -> None:
    file = tmp_path / "long.yaml"
    file.write_text("x" * 300 + "\there" + "y" * 300 + "\n")
    _, shown, caret = pointed([Problem(Place(str(file), 1, 302), "wrong")])
    assert len(shown) < 120
    assert shown[caret.index("^") :].startswith("here")


def test_a_problem_in_a_file_that_is_gone_is_still_said() -> None:
    assert pointed([Problem(Place("gone.yaml", 3, 1), "wrong")]) == ["gone.yaml:3:1: wrong"]


def test_faults_within_entries_and_between_them_are_said_at_once(tmp_path: Path) -> None:
    """A faulty entry is known by its name, so that what speaks of it is not called unknown as well."""
    text = (
        "- condition: odd\n  nam: Odd\n  says: S\n  seen: rarely\n"
        "- rule: a\n  when: {is: odd}\n  sooner: [bolts]\n" + BASIS
        + "- rule: b\n  when: {idel: hunts}\n  skip: []\n" + BASIS
        + "- rule: c\n  when: {idel: hunts}\n  skip: [bolts]\n" + BASIS
    )  # fmt: skip
    found = [line.partition(";")[0] for line in errors(tmp_path, text)]
    assert found == [
        "1:3: 'name:' is missing", "2:3: 'nam' is not known here", "12:9: 'skip' takes one or more",
        "16:10: no finding is called 'idel'",
    ]  # fmt: skip


def test_errors_come_first_and_advice_stands_apart(tmp_path: Path) -> None:
    text = "- rule: a\n  when: {bolts: loose, starts: nevr}\n  sooner: [bolts]\n" + BASIS
    text += "- rule: b\n  when: {all: [{bolts: loose}, {bolts: tight}]}\n  sooner: [idle]\n" + BASIS
    said = "\n".join(lines(checked(tmp_path, text)))
    assert said.index("'nevr'") < said.index("Advice, 1 line: this loads") < said.index("can never fire")


def test_advice_changes_no_exit_code(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = "- rule: b\n  when: {all: [{idle: steady}, {idle: hunts}]}\n  sooner: [starts]\n" + BASIS
    assert main(["rules", "check", str(pack(tmp_path, "club", text))]) == WELL
    said = capsys.readouterr().out
    assert "base and club: nothing wrong" in said
    assert "can never fire" in said


def test_the_document_for_editors(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = "- rule: b\n  when: {all: [{idel: steady}, {idle: steady}, {idle: hunts}]}\n  sooner: [starts]\n" + BASIS
    club = pack(tmp_path, "club", text)
    assert main(["rules", "check", "--json", str(club)]) == WRONG
    document = json.loads(capsys.readouterr().out)
    assert (document["format"], document["version"]) == ("diagnose-problems", 1)
    file = str(club / "club.yaml")
    (error,) = document["errors"]
    assert error == {"file": file, "line": 2, "column": 17, "says": "no finding is called 'idel'", "meant": "idle"}
    (said,) = document["advice"]
    assert (said["line"], said["column"], said["meant"]) == (1, 9, "")


def test_a_pack_that_is_not_there_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "check", str(tmp_path / "none")]) == WRONG
    assert "no rule pack here" in capsys.readouterr().out
    with pytest.raises(SystemExit) as left:
        main(["rules", "check", "--jsn"])
    assert left.value.code == MISUSED


def test_what_was_meant_is_found_among_thousands_of_names() -> None:
    names = Names("rule", [f"lean-after-{number}-minutes" for number in range(5_000)] + ["needle-chased"])
    assert names.likeliest("nedle-chased") == "'needle-chased'"
    assert names.likeliest("lean-after-4711-minuets") == "'lean-after-4711-minutes'"
    assert names.likeliest("xyzzy") == ""


# Advice.

OWN = "- condition: own\n  name: N\n  says: S\n  seen: rarely\n"


@pytest.mark.parametrize(
    ("when", "fires"),
    [
        ("{all: [{idle: hunts}, {idle: steady}]}", False),
        ("{all: [{idle: [hunts, steady]}, {idle: steady}]}", True),
        ("{all: [{idle: known}, {idle: steady}]}", True),
        ("{any: [{idle: hunts}, {idle: steady}]}", True),
        ("{all: [{idle: hunts}, {any: [{idle: steady}, {bolts: loose}]}]}", True),
        ("{all: [{idle: hunts}, {any: [{idle: steady}, {all: [{idle: steady}, {bolts: loose}]}]}]}", False),
        ("{all: [{is: lean-possible}, {is_not: lean-possible}]}", False),
    ],
)
def test_premises_that_exclude_each_other_never_fire(tmp_path: Path, when: str, fires: bool) -> None:
    said = advice(tmp_path, f"- rule: a\n  when: {when}\n  sooner: [starts]\n" + BASIS)
    assert said == ([] if fires else ["1:9: rule 'a' can never fire: its premises exclude each other"])


def test_a_rule_above_one_that_never_fires_never_fires_either(tmp_path: Path) -> None:
    text = OWN + "- rule: below\n  when: {all: [{idle: hunts}, {idle: steady}]}\n  means: own\n" + BASIS
    text += "- rule: above\n  when: {is: own}\n  sooner: [starts]\n" + BASIS
    assert advice(tmp_path, text) == [
        "5:9: rule 'below' can never fire: its premises exclude each other",
        "10:9: rule 'above' can never fire: it needs 'own', which no rule concludes that can fire",
    ]


def test_conditions_that_wait_for_each_other_are_never_concluded(tmp_path: Path) -> None:
    text = OWN + OWN.replace("own", "other")
    text += (
        "- rule: one\n  when: {is: own}\n  means: other\n"
        + BASIS
        + "- rule: two\n  when: {is: other}\n  means: own\n"
        + BASIS
    )
    assert [line.partition(":")[2] for line in advice(tmp_path, text)] == [
        "9: rule 'one' can never fire: it needs 'own', which no rule concludes that can fire",
        "9: rule 'two' can never fire: it needs 'other', which no rule concludes that can fire",
    ]


@pytest.mark.parametrize(
    ("first", "second", "superfluous"),
    [
        ("{idle: hunts}", "{idle: hunts}", "b"),
        ("{idle: hunts}", "{idle: hunts, bolts: loose}", "b"),
        ("{idle: hunts, bolts: loose}", "{idle: hunts}", "a"),
        ("{idle: known}", "{idle: hunts}", "b"),
        ("{any: [{idle: hunts}, {bolts: loose}]}", "{bolts: loose}", "b"),
        ("{any: [{idle: hunts}, {bolts: loose}]}", "{bolts: loose, idle: steady}", "b"),
        ("{idle: hunts}", "{idle: steady}", ""),
        ("{idle: hunts}", "{bolts: loose}", ""),
        ("{idle: hunts}", "{any: [{idle: hunts}, {bolts: loose}]}", "a"),
    ],
)
def test_a_rule_that_always_fires_with_another_adds_nothing(
    tmp_path: Path, first: str, second: str, superfluous: str
) -> None:
    text = "".join(f"- rule: {n}\n  when: {w}\n  sooner: [starts]\n{BASIS}" for n, w in (("a", first), ("b", second)))
    said = [line for line in advice(tmp_path, text) if "adds nothing" in line]
    assert [re.findall("rule '(.)'", line) for line in said] == ([[superfluous]] if superfluous else [])


def test_a_rule_with_another_outcome_adds_something(tmp_path: Path) -> None:
    text = "- rule: a\n  when: {idle: hunts}\n  sooner: [starts]\n" + BASIS
    text += "- rule: b\n  when: {idle: hunts}\n  sooner: [starts, under-load]\n" + BASIS
    assert ["'a' adds nothing" in line for line in advice(tmp_path, text)] == [True]


def test_one_that_puts_forward_what_another_skips_is_said(tmp_path: Path) -> None:
    text = "- rule: go\n  when: {idle: hunts}\n  first: [bolts, richer-test]\n" + BASIS
    text += "- rule: stop\n  when: {idle: hunts}\n  skip: [richer-test]\n" + BASIS
    (said,) = advice(tmp_path, text)
    assert said.startswith("3:18: rule 'go' puts 'richer-test' forward, and 'stop' (")


def test_an_exception_to_an_order_is_no_contradiction(tmp_path: Path) -> None:
    text = "- rule: go\n  when: {idle: hunts}\n  first: [bolts]\n" + BASIS
    text += "- rule: stop\n  when: {idle: hunts, starts: never}\n  skip: [bolts]\n" + BASIS
    assert [line for line in advice(tmp_path, text) if "forward" in line] == []


CAUSE = """- cause: c
  name: C
  family: drive
  how_common: often
  explains: Invented.
  shows: {%s}
  settled_by: bolt-check
  fix: {minutes: 1, cautions: [%s], steps: [%s]}
  proof: P
  harm: H
  basis: invented
"""


@pytest.mark.parametrize(
    ("shows", "strong"),
    [
        ("bolts: {loose: nearly-always}", True),
        ("bolts: {tight: rarely}", True),
        ("idle: {hunts: usually}, under-load: {sags: usually}", False),
        ("lean-under-load: usually", False),
        ("rich-proved: usually", True),
        ("starts: {never: often}", True),
    ],
)
def test_a_cause_wants_one_strong_tell(tmp_path: Path, shows: str, strong: bool) -> None:
    said = advice(tmp_path, CAUSE % (shows, "", "Look at it."))
    assert [line.startswith("1:10: nothing points to 'c' strongly") for line in said] == ([] if strong else [True])


FINDING = (
    "- finding: f\n  ask: A?\n  why: W\n  minutes: 1\n  answers: {no: {say: n, seen: often}, yes: {say: y, seen: rarely}}\n"
)


def test_a_finding_that_nothing_uses_is_said(tmp_path: Path) -> None:
    assert advice(tmp_path, FINDING) == ["1:12: nothing uses the finding 'f': no cause, rule or check"]


@pytest.mark.parametrize(
    "use", ["- rule: r\n  when: {f: yes}\n  sooner: [bolts]\n" + BASIS, CAUSE % ("f: {yes: usually}", "", "Look at it.")]
)
def test_a_finding_that_a_rule_or_a_cause_uses_is_not(tmp_path: Path, use: str) -> None:
    assert advice(tmp_path, FINDING + use) == []


def test_evidence_counted_twice_is_said(tmp_path: Path) -> None:
    kin = "- kin: k\n  of: [f, bolts]\n  are: same\n  because: Both look at the bolts.\n"
    text = FINDING + kin + CAUSE % ("bolts: {loose: usually}, f: {yes: usually}", "", "Look at it.")
    (said,) = advice(tmp_path, text)
    assert "evidence twice: 'c' shows 'bolts' and 'f', which say the same (kin 'k')" in said
    assert advice(subfolder(tmp_path), text.replace("are: same", "are: related")) == []


def test_a_condition_and_its_only_root_are_one_piece_of_evidence(tmp_path: Path) -> None:
    """lean-under-load rests on under-load alone; lean-possible on idle as well."""
    shows = "bolts: {loose: usually}, under-load: {sags: usually}, lean-under-load: usually, lean-possible: usually"
    (said,) = advice(tmp_path, CAUSE % (shows, "", "Look at it."))
    assert "'c' shows 'under-load' and the condition 'lean-under-load', which rests on it alone" in said


@pytest.mark.parametrize(
    ("step", "cautions", "kind"),
    [
        ("Open H an eighth.", "", "a needle"),
        ("Open H an eighth.", "lean-run", ""),
        ("Do not touch H.", "", ""),
        ("Drain the fuel.", "", "fuel"),
        ("Drain the fuel.", "blades", "fuel"),
        ("Turn it over by the propeller.", "", "the rotor or propeller"),
        ("Turn it over by the propeller.", "blades", ""),
        ("Watch for a spark.", "hot", "the spark"),
        ("Write down how it runs.", "", ""),
    ],
)
def test_work_that_can_hurt_wants_its_caution(tmp_path: Path, step: str, cautions: str, kind: str) -> None:
    said = advice(tmp_path, CAUSE % ("bolts: {loose: usually}", cautions, step))
    assert [re.findall("touches ([^,]+),", line) for line in said] == ([[kind]] if kind else [])


def test_a_club_that_closes_a_question_a_hold_waits_for_is_told(tmp_path: Path) -> None:
    (said,) = advice(tmp_path, "- rule: r\n  when: {machine: bench-stand}\n  skip: [under-load]\n" + BASIS)
    assert said.startswith("1:9: rule 'r' closes the question 'under-load', and ")
    assert advice(subfolder(tmp_path), "- rule: r\n  when: {machine: bench-stand}\n  skip: [bolts]\n" + BASIS) == []


def test_a_condition_left_without_its_rule_is_told_where_that_was_switched_off(tmp_path: Path) -> None:
    one = pack(tmp_path, "one", OWN + "- rule: r\n  when: {idle: hunts}\n  means: own\n" + BASIS)
    two = pack(tmp_path, "two", "- switch_off: r\n" + WHY)
    found = check([BENCH, one, two])
    assert found.errors == ()
    assert [short(p) for p in found.advice] == [
        "1:15: with this and what else is switched off, no rule concludes 'own' any more"
    ]


def test_advice_on_the_bench_is_not_given_to_a_club(tmp_path: Path) -> None:
    assert check([BENCH]).advice
    assert check([BENCH, pack(tmp_path, "club", "")]).advice == ()


def test_the_base_has_no_errors_and_needs_no_advice() -> None:
    found = check([base_pack()])
    assert found.errors == ()
    assert found.advice == ()


def test_a_rule_with_very_many_ways_is_not_spelt_out(bench: Knowledge) -> None:
    rule: Rule = bench.rules["rich-by-two-signs"]
    found = ways(rule, bench.findings)
    assert found is not None and len(found) == 1 and fires_with(found, found)
    place = Place("x")
    either = Any(tuple(Answered(Text(f"f{i}", place), (Text("a", place),)) for i in range(10)))
    assert ways(replace(rule, when=All((either,) * 4)), bench.findings) is None


# The schema.


class PlainWords(yaml.SafeLoader):
    """YAML as editors read it: of plain words only true, false and numbers are more than text."""


PlainWords.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag.rsplit(":", 1)[1] in ("int", "float", "null")]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
PlainWords.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile("true|false"), list("tf"))


def marked(text: str) -> list[str]:
    return [error.message for error in Draft202012Validator(schema()).iter_errors(yaml.load(text, PlainWords))]


def test_the_schema_is_one() -> None:
    Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("folder", [base_pack(), BENCH])
def test_the_packs_that_ship_fit_the_schema(folder: Path) -> None:
    validator = Draft202012Validator(schema())
    for file in sorted(folder.glob("*.yaml")):
        read = yaml.load(file.read_text(), PlainWords)
        assert [f"{file.name}: {error.message[:200]}" for error in validator.iter_errors(read)] == []


RULE = "- rule: a\n  when: {idle: hunts}\n  because: B\n  basis: C\n"


@pytest.mark.parametrize(
    "text",
    [
        "- switch_off: a\n  because: B\n",
        "- reweigh: a\n  because: B\n  how_common: often\n",
        "- reweigh: a\n  because: B\n  shows: {idle: {hunts: often}, lean: rarely}\n",
        RULE + "  means: c\n",
        RULE + "  hold: c\n  until: D\n",
        "pack: p\nname: N\nversion: 1.0\nauthor: A\nneeds: [base 1.0, other]\n",
    ],
)
def test_right_entries_are_not_marked(text: str) -> None:
    assert marked(text) == []


@pytest.mark.parametrize(
    "text",
    [
        "- switch_off: a\n",
        "- reweigh: a\n  because: B\n",
        "- reweigh: a\n  because: B\n  how_common: offen\n",
        "- need: My Need\n  name: N\n",
        "- need: a\n  nam: N\n",
        "- need: a\n  name:\n",
        "- needd: a\n  name: N\n",
        RULE,
        RULE + "  means: c\n  caution: d\n",
        RULE + "  hold: c\n",
        RULE.replace("idle: hunts", "all: {idle: hunts}") + "  means: c\n",
        RULE.replace("{idle: hunts}", "{any: [{any: [{any: [{any: [{a: b}]}]}]}]}") + "  means: c\n",
        FINDING.replace("minutes: 1", "minutes: soon"),
        FINDING.replace("minutes: 1", "minutes: 1\n  number: speed"),
        FINDING.replace("minutes: 1", "minutes: 1\n  number: speed\n  unit: bar\n  least: 1\n  most: 2"),
        FINDING.replace(", yes: {say: y, seen: rarely}", ""),
        FINDING.replace("yes: ", "known: "),
        CAUSE.replace("family: drive", "family: driv") % ("bolts: {loose: usually}", "", "Look"),
        CAUSE % ("bolts: {loose: mostly}", "", "Look"),
        CAUSE % ("bolts: {loose: usually}", "", "{do: Look}"),
        "need: a\nname: N\n",
        "pack: p\nname: N\nversion: newest\nauthor: A\n",
    ],
)
def test_wrong_entries_are_marked(text: str) -> None:
    assert marked(text)


@pytest.mark.parametrize("kind", list(READERS))
def test_the_schema_knows_every_field_that_its_reader_asks_for(kind: str) -> None:
    fields = Fields(Table((), Place("x")), [])
    READERS[kind](fields)
    known = set(schema()["$defs"][kind]["properties"])
    assert fields.asked <= known
    missing = {match[1] for p in fields.problems if (match := re.fullmatch("'([a-z_]+):' is missing", p.says))}
    assert missing == set(schema()["$defs"][kind]["required"])


def test_the_schema_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "schema"]) == WELL
    assert json.loads(capsys.readouterr().out) == schemas.schema()


def test_a_faulty_pack_still_keeps_the_program_from_starting(tmp_path: Path) -> None:
    club = pack(tmp_path, "club", "- switch_off: tell-of-lean\n" + WHY)
    with pytest.raises(FaultyFiles, match="a caution is never switched off"):
        load([BENCH, club])
