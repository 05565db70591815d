"""A club starts its own rules: a small pack that works, under its own name, and told how to use it."""

import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.case.casefile import EXPECTATIONS
from diagnose.cli import MISUSED, WELL, WRONG, main
from diagnose.clubrules.start import EXAMPLE, EXAMPLES_NAME, LONGEST_NAME, example_as, how_to_use
from diagnose.knowledge.packs import base_pack, load


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to stand in, and no packs from elsewhere."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("DIAGNOSE_RULES", raising=False)
    return tmp_path


def test_a_pack_just_started_has_nothing_wrong_and_its_cases_come_out(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rules", "start", "myclub"]) == WELL
    assert main(["rules", "check", "myclub"]) == WELL
    assert "base and myclub: nothing wrong" in capsys.readouterr().out
    assert main(["rules", "try", "myclub"]) == WELL
    assert "3 cases, none wrong." in capsys.readouterr().out


def test_it_says_how_to_use_the_pack_and_in_which_order_packs_are_found(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DIAGNOSE_RULES", "elsewhere")
    main(["rules", "start", "myclub"])
    said = capsys.readouterr().out
    for command in ("diagnose rules check myclub", "diagnose rules try myclub", "diagnose --rules myclub"):
        assert command in said
    order = [said.index(place) for place in ("1. --rules", "2. the environment variable DIAGNOSE_RULES", "3. every folder")]
    assert order == sorted(order)
    assert "now elsewhere" in said
    assert str(here / "data" / "rules" / "myclub") in said


def test_packs_are_found_in_the_order_that_is_said(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The option goes before the variable, the variable before the data folder."""
    for name in ("by-option", "by-variable", "by-folder"):
        main(["rules", "start", name])
    (here / "data" / "rules").mkdir(parents=True)
    (here / "by-folder").rename(here / "data" / "rules" / "by-folder")
    found = []
    for variable, option in (("", []), ("by-variable", []), ("by-variable", ["--rules", "by-option"])):
        monkeypatch.setenv("DIAGNOSE_RULES", variable)
        main([*option, "rules", "try"])
        found.append(capsys.readouterr().out.split("Rules of ")[1].split(":")[0])
    assert found == ["by-folder", "by-variable", "by-option"]


def test_two_packs_started_side_by_side_do_not_collide(here: Path) -> None:
    for name in ("one", "two"):
        main(["rules", "start", name])
    assert main(["rules", "try", "one", "two"]) == WELL


def test_a_folder_that_is_there_is_left_alone(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "myclub").mkdir()
    (here / "myclub" / "mine.txt").write_text("mine")
    assert main(["rules", "start", "myclub"]) == WRONG
    assert "'myclub' is there already; nothing was changed" in capsys.readouterr().err
    assert [path.name for path in (here / "myclub").iterdir()] == ["mine.txt"]


@pytest.mark.parametrize(
    "name",
    ["My Club", "my_club", "../myclub", "myclub/", "", ".", "-", "my--club", "klüb", "base", "a" * (LONGEST_NAME + 1)],
)
def test_a_name_that_will_not_do_gets_one_line_and_nothing_is_written(
    here: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert main(["rules", "start", "--", name]) == WRONG
    error = capsys.readouterr().err
    assert len(error.splitlines()) == 1
    assert "lower-case words" in error or "take another name" in error
    assert list(here.iterdir()) == []


def test_the_name_that_was_probably_meant_is_said(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["rules", "start", "My Club"])
    assert "did you mean 'my-club'?" in capsys.readouterr().err


def test_a_start_without_a_name_is_wrong_use(here: Path) -> None:
    with pytest.raises(SystemExit) as left:
        main(["rules", "start"])
    assert left.value.code == MISUSED


def test_nothing_of_the_example_keeps_its_name() -> None:
    files = example_as("myclub")
    assert {"pack.yaml", "clip.yaml", "README.md"} < set(files)
    assert not [name for name, text in files.items() if EXAMPLES_NAME in text]


def test_the_example_holds_one_of_each_and_eight_tells() -> None:
    knowledge = load([base_pack(), EXAMPLE])
    shelves = (knowledge.causes, knowledge.findings, knowledge.checks)
    own = [name for shelf in shelves for name in shelf if name.startswith(EXAMPLES_NAME)]
    assert len(own) == 3
    assert len(knowledge.causes[f"{EXAMPLES_NAME}-clip-turns"].shows) >= 8
    assert len([name for name in knowledge.rules if name.startswith(EXAMPLES_NAME)]) == 2


def test_the_readme_of_the_example_names_every_expectation() -> None:
    readme = (EXAMPLE / "README.md").read_text(encoding="utf-8")
    assert [word for word in EXPECTATIONS if f"| `{word}:` |" not in readme] == []


def test_the_pytest_program_in_the_readme_of_the_pack_passes(here: Path) -> None:
    main(["rules", "start", "myclub"])
    program = (here / "myclub" / "README.md").read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    (here / "test_our_rules.py").write_text(program)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_our_rules.py"],
        capture_output=True, text=True, cwd=here, timeout=60,
    )  # fmt: skip
    assert "4 passed" in done.stdout, done.stdout


def test_an_unset_variable_is_said_to_be_unset() -> None:
    assert any("not set now" in line for line in how_to_use(Path("myclub"), Path("data"), None))
