"""Every value of a pack knows its place, and everything wrong in a pack is said at once, there."""

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml
from conftest import BENCH

from diagnose.knowledge.checker import weakens
from diagnose.knowledge.packs import base_pack, load
from diagnose.knowledge.reader import READERS
from diagnose.knowledge.rule_reader import OUTCOMES
from diagnose.knowledge.schema import schema
from diagnose.knowledge.source import FaultyFiles, Place, Table, compose

PACK = "pack: p\nname: P\nversion: 1.0.0\nauthor: the tests\n"


def places(tmp_path: Path, text: str) -> list[tuple[int, int]]:
    """Line and column of every problem in a pack of one file."""
    return [(p.place.line, p.place.column) for p in problems(tmp_path, text)]


def problems(tmp_path: Path, text: str) -> list:
    (tmp_path / "pack.yaml").write_text(PACK)
    (tmp_path / "rules.yaml").write_text(text)
    with pytest.raises(FaultyFiles) as faulty:
        load([tmp_path])
    return faulty.value.problems


def test_no_and_010_stay_as_they_were_written() -> None:
    """YAML would make False of `no` and 8 of `010`; an answer and a jet size must not change silently."""
    root, wrong = compose("a: no\nb: 010\nc: 1:30\n", "x.yaml")
    assert isinstance(root, Table)
    assert [str(value) for _, value in root] == ["no", "010", "1:30"]
    assert wrong == []


def test_a_value_knows_its_file_line_and_column() -> None:
    root, _ = compose("a:\n  b: [one, two]\n", "x.yaml")
    assert isinstance(root, Table)
    inner = root.pairs[0][1]
    assert isinstance(inner, Table)
    two = inner.pairs[0][1].items[1]
    assert two.place == Place("x.yaml", 2, 12)


@pytest.mark.parametrize(
    ("text", "place", "says"),
    [
        ("- cause: a\n  cause: b\n", (2, 3), "written twice"),
        ("- cause: a: b\n", (1, 11), "put the text in quotes"),
        ("- finding: &x a\n", (1, 12), "anchors"),
        ("- finding: [a\n", (2, 1), "bracket"),
        ("cause: a\n", (1, 1), "list of entries"),
        ("- 7\n", (1, 3), "starts with its kind"),
        ("- finding: a\n\tb: c\n", (2, 1), "tab"),
        ("- a: \x07\n", (1, 6), "control character"),
        ('- a: "\\e[2J"\n', (1, 6), "control character"),
        ('- "\\x1b[2J": a\n', (1, 3), "control character"),
        ("- " * 40 + "a\n", (1, 33), "deep"),
        ("--- \n- need: a\n  name: b\n---\n- need: c\n  name: d\n", (4, 1), "one in a file"),
    ],
)
def test_what_is_wrong_with_the_form_is_said_where_it_stands(tmp_path: Path, text: str, place: tuple, says: str) -> None:
    found = problems(tmp_path, text)
    assert (found[0].place.line, found[0].place.column) == place
    assert says in found[0].says


@pytest.mark.parametrize(
    ("text", "place", "says", "meant"),
    [
        ("- need: a\n  nam: b\n", (2, 3), "'nam' is not known here", "'name'"),
        ("- needd: a\n", (1, 3), "not 'needd'", "'need'"),
        ("- need: My Need\n  name: b\n", (1, 9), "not an id", "my-need"),
        ("- need: a\n  name: [b]\n", (2, 9), "takes one text", ""),
        ("- need: a\n  name: ''\n", (2, 9), "is empty", ""),
        ("- condition: a\n  name: b\n  says: c\n  seen: oftne\n", (4, 9), "not 'oftne'", "'often'"),
    ],
)
def test_what_is_wrong_in_an_entry_is_said_with_what_was_probably_meant(
    tmp_path: Path, text: str, place: tuple, says: str, meant: str
) -> None:
    found = [p for p in problems(tmp_path, text) if says in p.says]
    assert [(p.place.line, p.place.column, p.meant) for p in found] == [(*place, meant)]


def test_all_problems_of_a_pack_are_shown_at_once_and_in_order(tmp_path: Path) -> None:
    text = "- need: a\n  nam: b\n- need: A B\n  name: c\n- whatever: d\n"
    assert places(tmp_path, text) == [(1, 3), (2, 3), (3, 9), (5, 3)]


BENCH_TEXT = (BENCH / "bench.yaml").read_text()


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        (
            "idle: {hunts: usually}",
            "idle: {hunt: usually}",
            "no answer of 'idle' is called 'hunt'; did you mean 'hunts'?",
        ),
        (
            "idle: {hunts: usually}",
            "idel: {hunts: usually}",
            "no finding or condition is called 'idel'; did you mean 'idle'?",
        ),
        ("lean-under-load: often", "lean-under-load: {x: often}", "it takes one frequency word"),
        (
            "settled_by: bolt-check\n  fix:\n    minutes: 5",
            "settled_by: bolt-chek\n  fix:\n    minutes: 5",
            "no check is called",
        ),
        ("when: {under-load: sags}", "when: {under-load: sag}", "no answer of 'under-load' is called 'sag'"),
        ("means: lean-under-load", "means: lean-under-lode", "no condition is called 'lean-under-lode'"),
        ("lacks: [governor]", "lacks: [governer]", "no need is called 'governer'; did you mean 'governor'?"),
        ("  caution: lean-run\n", "  caution: leanrun\n", "no caution is called 'leanrun'; did you mean 'lean-run'?"),
        ("hold: run-at-power\n  until", "hold: run-at-full\n  until", "no hold is called 'run-at-full'"),
        ("skip: [bolts]", "skip: [bolt]", "no finding or check is called 'bolt'; did you mean 'bolts'?"),
        ("  check: bolt-check\n  answers", "  answers", "does not say 'check: bolt-check'"),
        ("  caution: lean-run\n", "  caution: lean-run\n  hold: run-at-power\n", "exactly one"),
        ("- cause: h-too-lean", "- cause: bolts-loose", "already defined at"),
    ],
)
def test_a_name_that_leads_nowhere_is_pointed_out(tmp_path: Path, was: str, now: str, says: str) -> None:
    assert was in BENCH_TEXT
    assert any(says in str(problem) for problem in problems(tmp_path, BENCH_TEXT.replace(was, now, 1)))


def test_not_concluded_may_only_be_said_where_silence_is_safe(tmp_path: Path) -> None:
    """A question that was not asked is not a no, so no condition may rest on silence."""
    text = BENCH_TEXT.replace("when: {under-load: sags}", "when: {is_not: rich-proved}")
    assert any("silence errs to the safe side" in problem.says for problem in problems(tmp_path, text))


def test_a_step_that_weakens_the_mixture_must_stand_under_its_hold(tmp_path: Path) -> None:
    text = BENCH_TEXT.replace("steps: [Lower the gain.]", "steps: [Screw the H needle in an eighth.]")
    assert any("weakens the mixture" in problem.says for problem in problems(tmp_path, text))


LEAN = "Close the H needle half a turn and fly it"


def spoilt(held: object, fields: Mapping[str, Any]) -> Iterator[object]:
    """What an entry holds, with LEAN in one of its texts, for each text that its schema (field -> what it takes) knows."""
    assert isinstance(held, dict)
    for field, takes in fields.items():
        texts = [one for one in (takes, *takes.get("anyOf", ())) if one.get("$ref") == "#/$defs/text"]
        inside = takes.get("properties") or takes.get("additionalProperties", {}).get("properties")
        steps = [one["properties"] for one in takes.get("items", {}).get("anyOf", ()) if "properties" in one]
        if texts:
            yield {**held, field: LEAN}
        elif steps:
            yield {**held, field: [LEAN]}
            yield from ({**held, field: [step]} for step in spoilt({"do": "Look.", "under": ["run"]}, steps[0]))
        elif inside and "properties" in takes:
            yield from ({**held, field: one} for one in spoilt(held[field], inside))
        elif inside:
            name, answer = next(iter(held[field].items()))
            yield from ({**held, field: {**held[field], name: one}} for one in spoilt(answer, inside))


def test_no_field_of_any_entry_may_tell_to_close_a_needle(tmp_path: Path) -> None:
    """Every text that the schema knows, of every kind of entry and of the pack itself: all of it is shown somewhere."""
    loader = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
    files = [file for file in sorted(base_pack().parent.glob("*/*.yaml")) if file.name != "pack.yaml"]
    shipped = [entry for file in files for entry in yaml.load(file.read_text(), loader)]
    lean = []
    for kind, made in schema()["$defs"].items():
        for outcome in {"rule": OUTCOMES}.get(kind, (kind,) if kind in READERS else ()):
            entry = next(entry for entry in shipped if next(iter(entry)) == kind and outcome in entry)
            closed = {*OUTCOMES, "until"} - entry.keys() if kind == "rule" else {kind}
            fields = {field: takes for field, takes in made["properties"].items() if field not in closed}
            lean += list(spoilt(entry, fields))
    (tmp_path / "pack.yaml").write_text(f"pack: p\nname: {LEAN}\nversion: 1.0.0\nauthor: {LEAN}\n")
    new = [kind for kind in READERS if kind not in ("switch_off", "reweigh")]
    named = [
        {**entry, **{kind: f"x-{line}" for kind in new if next(iter(entry)) == kind}} for line, entry in enumerate(lean)
    ]
    (tmp_path / "rules.yaml").write_text("\n".join(f"- {json.dumps(entry)}" for entry in named))
    with pytest.raises(FaultyFiles) as faulty:
        load([base_pack(), tmp_path])
    told = [problem.place for problem in faulty.value.problems if re.search("weakens? the mixture", problem.says)]
    assert {place.line for place in told if place.file.endswith("pack.yaml")} == {2, 4}
    lines = {place.line for place in told if place.file.endswith("rules.yaml")}
    assert [entry for line, entry in enumerate(named, 1) if line not in lines] == []


@pytest.mark.parametrize(
    "step",
    [
        "Wind the H needle in an eighth",
        "Turn H clockwise",
        "Nip L in",
        "Tighten the L needle",
        "Set H an eighth leaner",
        "Lean H out",
        "It is not rich, so close H one sixteenth",
    ],
)
def test_however_closing_is_said_the_checker_hears_it(step: str) -> None:
    assert weakens(step)


@pytest.mark.parametrize(
    "step", ["Never close a needle", "Open H an eighth", "A lean L hides behind the stop", "Close the can"]
)
def test_what_does_not_weaken_passes_the_checker(step: str) -> None:
    assert not weakens(step)


def test_a_folder_without_a_pack_file_is_no_pack(tmp_path: Path) -> None:
    with pytest.raises(FaultyFiles, match="no rule pack here"):
        load([tmp_path])


def test_text_that_is_not_utf8_is_refused_with_its_byte(tmp_path: Path) -> None:
    (tmp_path / "pack.yaml").write_bytes(b"pack: p\nname: \xff\n")
    with pytest.raises(FaultyFiles, match="not UTF-8 text .byte 15"):
        load([tmp_path])
