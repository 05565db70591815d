"""A pack, case file or case log from a stranger runs no code, reads nothing outside its folder, steers no terminal,
puts no script into a page, and cannot hang or exhaust the machine.

Random files are read here by the readers of tests/fuzzing, which say what must hold of each; what the longer runs of
tests/fuzzing/run.py found is in tests/fuzzing/found. `pytest --hypothesis-profile long` takes forty times as many.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from conftest import BENCH
from fuzzing.readers import PACK, READERS, assert_harmless, bench
from fuzzing.seeds import CASE, ENTRIES, PIECES, seeds
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.case.casefile import read_pack_case
from diagnose.case.log import LONGEST_LOG, LogTrouble, read_log
from diagnose.cli import WRONG, main
from diagnose.clubrules import picture, pit_card, showing
from diagnose.clubrules.trying import case_files
from diagnose.knowledge import packs, source
from diagnose.knowledge.checked import check, lines
from diagnose.knowledge.packs import load, read_packs
from diagnose.knowledge.source import DEEPEST, LONGEST_FILE, MOST_INSIDE, MOST_VALUES, FaultyFiles, compose

FOUND = sorted((Path(__file__).parent / "fuzzing" / "found").iterdir())

ANY = {"deadline": None, "suppress_health_check": list(HealthCheck), "database": None, "derandomize": True}


@st.composite
def spoilt(draw: st.DrawFn, reader: str) -> bytes:
    """A good file of a reader with pieces put in, taken out, doubled and moved."""
    text = draw(st.sampled_from(seeds()[reader]))
    for _ in range(draw(st.integers(1, 6))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 40)))
        piece = draw(st.one_of(st.sampled_from(PIECES), st.text(max_size=8), st.just(text[start:end] * 2)))
        text = text[:start] + piece + text[draw(st.sampled_from([start, end])) :]
    data = text.encode("utf-8", errors="surrogatepass")
    return data if draw(st.integers(0, 20)) else data[: len(data) // 2] + draw(st.binary(max_size=4))


@pytest.mark.parametrize("reader", READERS)
def test_whatever_is_in_a_file_it_is_read_or_refused_in_plain_lines(reader: str) -> None:
    @settings(**ANY)
    @given(spoilt(reader))
    def all_hold(data: bytes) -> None:
        READERS[reader](data)

    all_hold()


@pytest.mark.parametrize("path", FOUND, ids=lambda path: path.name)
def test_what_was_found_before_is_found_no_more(path: Path) -> None:
    READERS[path.name.partition("-")[0]](path.read_bytes())


def pack_of(folder: Path, entries: str, **files: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "pack.yaml").write_text(PACK, encoding="utf-8")
    (folder / "rules.yaml").write_text(entries, encoding="utf-8")
    for name, text in files.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


def refused(folder: Path) -> str:
    read = read_packs([BENCH, folder])
    assert read.problems
    return "\n".join(map(str, read.problems))


# Nothing outside its folder.


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs links")
def test_a_link_out_of_the_pack_is_refused_and_nothing_behind_it_is_shown(tmp_path: Path) -> None:
    secret = tmp_path / "secret.yaml"
    secret.write_text("the key is under the mat\n")
    pack = pack_of(tmp_path / "strange", ENTRIES)
    (pack / "more.yaml").symlink_to(secret)
    said = "\n".join(lines(check([BENCH, pack])))
    assert "more.yaml:1:1: leads out of the pack" in said
    assert "key" not in said


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs links")
def test_cases_behind_a_link_are_refused(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "a.yaml").write_text(CASE)
    pack = pack_of(tmp_path / "strange", ENTRIES)
    (pack / "cases").symlink_to(elsewhere)
    with pytest.raises(FaultyFiles, match="cases:1:1: leads out of the pack"):
        case_files(pack)
    (pack / "cases").unlink()
    (pack / "cases").mkdir()
    (pack / "cases" / "a.yaml").symlink_to(elsewhere / "a.yaml")
    with pytest.raises(FaultyFiles, match="a.yaml:1:1: leads out of the pack"):
        case_files(pack)


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs links")
def test_a_link_within_the_pack_and_a_linked_pack_are_read(tmp_path: Path) -> None:
    """Someone may keep the pack elsewhere and link it into the data folder."""
    pack = pack_of(tmp_path / "kept", "- need: strange\n  name: strange\n")
    (tmp_path / "linked").symlink_to(pack)
    (pack / "same.yaml").symlink_to(pack / "rules.yaml")
    assert "already defined" in refused(tmp_path / "linked")


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs links")
def test_links_that_lead_in_a_circle_are_no_pack(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "round").symlink_to(tmp_path / "round")
    assert main(["rules", "check", str(tmp_path / "round")]) == WRONG
    assert "no rule pack here" in capsys.readouterr().out


# Nothing that runs.


@pytest.mark.parametrize("tag", ["!!python/object/apply:os.system ['echo']", "!!python/name:os.system ''", "!run 'x'"])
def test_a_tag_makes_no_object(tag: str) -> None:
    root, _ = compose(f"a: {tag}\n", "x.yaml")
    assert root is None or type(root).__name__ == "Table"


SCRIPT = '\\"><img src=x onerror=alert(1)><script>alert(1)</script>{{7*7}}{% x %}'


def test_script_in_any_text_of_a_pack_is_shown_as_text_on_every_page(tmp_path: Path) -> None:
    texts = ("it turns", "How does the clip sit?", "Look at the clip", "Air gets in.", "The clip turns", "it is looked at",
             "Turn it.", "clamp]", "A strange pack")  # fmt: skip
    entries = ENTRIES
    for text in texts:
        entries = entries.replace(f" {text}", f' "{SCRIPT}"' + ("]" if text.endswith("]") else ""))
    pack = pack_of(tmp_path / "strange", entries)
    (pack / "pack.yaml").write_text(PACK.replace("A strange pack", f'"{SCRIPT}"'))
    knowledge = load([BENCH, pack])
    drawn = picture.as_html(picture.picture(knowledge, knowledge.packs[-1]))
    cards = [pit_card.card(knowledge, "strange-clip", "turns"), pit_card.card(knowledge, "idle", "hunts")]
    printed = pit_card.as_html(knowledge, cards, "diagnose")
    for page in (drawn, printed):
        assert "alert(1)" in page and "{{7*7}}" in page
        assert_harmless(page)


# Nothing that steers a terminal or hides.


@pytest.mark.parametrize(
    "character", ["\x1b", "\x00", "\x9b", "\x7f", "\u202e", "\u2066", "\u200b", "\u2028", "\u00ad", "\ue000", "\U000e0041"]
)
@pytest.mark.parametrize("written", ["as it is", "escaped"])
def test_a_character_that_steers_or_hides_is_refused_where_it_stands(character: str, written: str) -> None:
    spelt = character if written == "as it is" else f"\\U{ord(character):08x}"
    root, problems = compose(f'a: b\nc: "d{spelt}"\n', "x.yaml")
    assert [problem.place.line for problem in problems] == [2]
    assert f"U+{ord(character):04X}" in problems[0].says
    assert str(problems[0]).isprintable()


def test_a_file_name_steers_no_terminal(tmp_path: Path) -> None:
    pack = pack_of(tmp_path / "strange", ENTRIES)
    try:
        (pack / "a\x1b[2J.yaml").write_text("- what: a\n")
    except OSError:
        pytest.skip("this file system takes no such name")
    assert all(line.isprintable() for line in lines(check([BENCH, pack])))


def test_letters_of_other_alphabets_hard_spaces_and_a_mark_before_the_first_letter_are_read(tmp_path: Path) -> None:
    text = "\ufeff- need: strange\n  name: Motör\u00a0läuft, 発動機, \U0001f681, cafe\u0301\n"
    knowledge = load([BENCH, pack_of(tmp_path / "strange", text)])
    assert knowledge.needs["strange"].name == "Motör läuft, 発動機, \U0001f681, cafe\u0301"
    assert knowledge.needs["strange"].id.place.line == 1


# Bounded time and memory.

SHORT = "- a\n"
HUGE = {
    "bytes": ("#" * (LONGEST_FILE + 1), "larger than"),
    "members": (f"- need: [{'a,' * MOST_INSIDE} a]\n", f"more than {MOST_INSIDE:,} members"),
    "depth": ("- " + "[" * 500_000, f"nested more than {DEEPEST} deep"),
    "depth in blocks": ("- " * 900_000, f"nested more than {DEEPEST} deep"),
    "anchors": ("- &a [b, b]\n- &c [*a, *a]\n- &d [*c, *c]\n", "anchors"),
    "a key": (f"- {'k' * 500}: a\n", "a key is longer"),
    "an id": (f"- need: {'k' * 100}\n  name: a\n", "longer than 80 letters"),
    "a text": (f"- need: a\n  name: {'k ' * 1_000_000}\n", "longer than 2000"),
    "problems": ("- a\n" * 31_000, "more than 30,000 problems"),
    "premises": (
        f"- rule: a\n  when: {{all: [{'{idle: hunts}, ' * 120}]}}\n  caution: [hot]\n  because: b\n  basis: c\n",
        "more than 100 premises",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", HUGE)
def test_what_would_grow_without_bound_is_refused(tmp_path: Path, kind: str) -> None:
    text, says = HUGE[kind]
    pack = pack_of(tmp_path / "strange", text)
    start = time.process_time()
    assert says in refused(pack)
    assert time.process_time() - start < 5


@pytest.mark.parametrize("files", [1, 8])
def test_values_are_counted_over_all_files_of_a_pack(tmp_path: Path, files: int, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (source, packs):
        monkeypatch.setattr(module, "MOST_VALUES", 3_000)
    parts = {f"part-{number}": SHORT * (3_200 // files) for number in range(files)}
    pack = pack_of(tmp_path / "strange", SHORT, **parts)
    assert f"more than 3,000 values in one {'file' if files == 1 else 'pack'}" in refused(pack)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such limit")
def test_the_largest_pack_that_is_read_needs_less_than_a_gigabyte(tmp_path: Path) -> None:
    pack = pack_of(tmp_path / "strange", "- []\n" * (MOST_VALUES // 2 - 10))
    program = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_AS, (10**9, 10**9))\n"
        "from pathlib import Path; from diagnose.knowledge.checked import check, lines\n"
        f"print(len(lines(check([Path({str(BENCH)!r}), Path({str(pack)!r})]))))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120)
    assert int(done.stdout) > 30_000, done.stderr


def test_more_causes_and_answers_than_can_be_weighed_are_refused(tmp_path: Path) -> None:
    """Each cause has a likelihood for each answer."""
    finding = "- finding: f{}\n  ask: a\n  why: b\n  minutes: 1\n  answers: {{a: {{say: a, seen: often}}, b: {{say: b, seen: often}}}}\n"  # noqa: E501
    cause = ENTRIES[ENTRIES.index("- cause: strange-turns") : ENTRIES.index("- rule: strange-draws")]
    many = "".join(finding.format(n) + cause.replace("strange-turns", f"c{n}") for n in range(1_500))
    assert "together are too many" in refused(pack_of(tmp_path / "strange", ENTRIES + many))


def test_every_condition_of_a_long_chain_under_one_rule_is_no_trap(tmp_path: Path) -> None:
    """A hundred premises that one answer brings about together are joined each within the last."""
    rule = "- rule: r{}\n  when: {}\n  {}\n  because: b\n  basis: c\n"
    many = "".join(
        f"- condition: c{n}\n  name: a\n  says: b\n  seen: often\n" + rule.format(n, "{idle: hunts}", f"means: c{n}")
        for n in range(100)
    )
    every = ", ".join(f"c{n}" for n in range(100))
    pack = pack_of(tmp_path / "strange", many + rule.format("all", f"{{is: [{every}]}}", "caution: [hot]"))
    from diagnose.reasoning.reason import reason

    assert "rall" in reason(load([BENCH, pack]), {"idle": "hunts"}).fired


def test_a_log_too_long_for_any_walk_is_refused(tmp_path: Path) -> None:
    log = tmp_path / "2026-05-01-1.jsonl"
    log.write_bytes(b" " * (LONGEST_LOG + 1))
    with pytest.raises(LogTrouble, match="larger than"):
        read_log(log)


def test_a_case_that_is_a_device_without_end_is_refused() -> None:
    if not Path("/dev/zero").exists():
        pytest.skip("needs /dev/zero")
    with pytest.raises(FaultyFiles, match="larger than"):
        read_pack_case(Path("/dev/zero"), bench())


def test_the_sheet_of_an_unknown_name_steers_no_terminal() -> None:
    with pytest.raises(showing.NotFound) as unknown:
        showing.sheets(bench(), "\x1b[2J")
    assert str(unknown.value).isprintable()
