"""What an owner calls across the pits, and the answers that are offered for it."""

from pathlib import Path

import pytest

from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import load
from diagnose.knowledge.source import FaultyFiles
from diagnose.shell.phrases import match, stems

WORDS = Path(__file__).parent / "words"


def offered(knowledge: Knowledge, words: str) -> dict[str, str]:
    return {found.finding: found.answer for found in match(knowledge, words, frozenset(map(str, knowledge.findings)))}


@pytest.mark.parametrize(("said", "also"), [("it dies", "it was dying"), ("hunting", "hunts"), ("idles", "idling")])
def test_a_word_is_met_in_any_form(said: str, also: str) -> None:
    assert stems(said) == stems(also)


def test_what_is_denied_is_not_what_is_said() -> None:
    assert stems("it won't start") == stems("it wont start") == ["not start"]
    assert stems("it doesn't die") != stems("it dies")


def test_slang_is_met_as_the_word_it_stands_for(base: Knowledge) -> None:
    assert offered(base, "the tickover goes up and down") == offered(base, "the idle hunts")


def test_two_things_in_one_sentence_are_both_offered(base: Knowledge) -> None:
    found = offered(base, "It's been dying at idle ever since I changed the fuel line")
    assert found["idle"] == "dies"
    assert found["what-changed"] == "tank-or-airframe"


def test_a_club_has_its_own_slang(base: Knowledge, tmp_path: Path) -> None:
    pack = tmp_path / "ours"
    pack.mkdir()
    (pack / "pack.yaml").write_text("pack: ours\nname: Ours\nversion: 1.0\nauthor: invented\n")
    (pack / "words.yaml").write_text("- slang: ours-idle\n  stands_for: idle\n  also: [snoring]\n")
    ours = load([Path("rules/base").resolve(), pack])
    assert "idle" not in offered(base, "it hunts when it is snoring")
    assert offered(ours, "it hunts when it is snoring")["idle"] == "hunts"


def test_one_saying_stands_for_one_thing(tmp_path: Path) -> None:
    pack = tmp_path / "ours"
    pack.mkdir()
    (pack / "pack.yaml").write_text("pack: ours\nname: Ours\nversion: 1.0\nauthor: invented\n")
    (pack / "words.yaml").write_text("- slang: ours-dies\n  stands_for: dies\n  also: [tickover]\n")
    with pytest.raises(FaultyFiles, match="'tickover' stands for 'idle' already") as caught:
        load([Path("rules/base").resolve(), pack])
    assert "words.yaml:3" in str(caught.value)
