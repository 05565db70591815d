"""The documents say what the program does: every command, option and outcome is in them."""

import re
from pathlib import Path

from diagnose.cli import _parser
from diagnose.knowledge.rule_reader import OUTCOMES
from diagnose.shell.commands import COMMANDS, SETUP_COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_word_that_can_be_typed_is_in_the_readme() -> None:
    assert [word for word in {**COMMANDS, **SETUP_COMMANDS} if f"| `{word}` |" not in README] == []


def test_every_command_and_option_is_in_the_readme() -> None:
    words = re.findall(r"\{([a-z,]+)\}|^    ([a-z]+)  ", _parser().format_help(), re.MULTILINE)
    commands = {word for pair in words for part in pair for word in part.split(",") if word}
    assert commands >= {"rank", "report", "cases", "replay", "rules"}
    assert [word for word in commands if f"diagnose {word}" not in README] == []
    options = ("--plain", "--data", "--rules", "DIAGNOSE_DATA", "DIAGNOSE_RULES", "NO_COLOR")
    assert all(option in README for option in options)


def test_every_outcome_of_a_rule_is_in_the_developers_document() -> None:
    assert [outcome for outcome in OUTCOMES if f"| `{outcome}:" not in DEVELOPERS] == []


def test_the_readme_opens_with_the_job_in_one_paragraph_and_holds_two_commands() -> None:
    first = README.split("\n\n")[1]
    assert "\n" not in first.strip()
    assert len(first.split()) > 40
    assert README.count("python3 -m venv .venv") == 2


def test_the_top_level_holds_only_what_is_agreed() -> None:
    shown = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "diagnose", "rules", "tests", "transcripts-demo"}
    assert agreed <= shown
    assert shown - agreed <= {"diagnose.egg-info", "build", "dist"}


RIGHT_OF = [
    "knowledge", "case", "reasoning", "planning", "drawing", "bench", "listen", "report", "book", "measuring", "clubrules",
    "shell",
]  # fmt: skip
"""The folders in the order of the data's way; each imports only what stands to its left."""


def test_imports_run_one_way() -> None:
    for path in sorted((ROOT / "diagnose").glob("*/*.py")):
        place = RIGHT_OF.index(path.parent.name)
        for folder in re.findall(r"^\s*from \.\.(\w+)", path.read_text(encoding="utf-8"), re.MULTILINE):
            assert folder not in RIGHT_OF or RIGHT_OF.index(folder) < place, f"{path} imports {folder}"
