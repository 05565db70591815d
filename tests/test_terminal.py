"""The terminal's line editor: completion, Ctrl-C, Ctrl-D. Fed through prompt_toolkit's own pipe input."""

import threading
from collections.abc import Iterator

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output import DummyOutput

from diagnose.shell.console import Dropped, Left, wrapped
from diagnose.shell.terminal import TerminalConsole


@pytest.fixture
def keys() -> Iterator[PipeInput]:
    with create_pipe_input() as pipe, create_app_session(input=pipe, output=DummyOutput()):
        yield pipe


def test_a_line_is_read_without_control_characters(keys: PipeInput) -> None:
    keys.send_text("  hunts \r")
    assert TerminalConsole().read("> ") == "hunts"


def test_a_few_letters_and_tab_complete_an_answer(keys: PipeInput) -> None:
    keys.send_text("hu\t")
    threading.Timer(0.5, keys.send_text, ["\r"]).start()  # completion comes from a task of its own
    assert TerminalConsole().read("> ", ["steady", "hunts"]) == "hunts"


def test_ctrl_c_drops_the_line(keys: PipeInput) -> None:
    keys.send_text("half a li\x03")
    with pytest.raises(Dropped):
        TerminalConsole().read("> ")


def test_ctrl_d_on_an_empty_line_leaves(keys: PipeInput) -> None:
    keys.send_text("\x04")
    with pytest.raises(Left):
        TerminalConsole().read("> ")


def test_no_color_takes_colour_away(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    TerminalConsole().say("danger ahead", "danger")
    assert capsys.readouterr().out == "danger ahead\n"
    monkeypatch.delenv("NO_COLOR")
    TerminalConsole().say("danger ahead", "danger")
    assert capsys.readouterr().out == "\x1b[1;31mdanger ahead\x1b[0m\n"


def test_long_words_do_not_break_the_width() -> None:
    assert all(len(line) <= 24 for line in wrapped("x" * 90 + " and more", 24, "    "))
