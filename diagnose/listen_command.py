"""`diagnose listen FILE`: what a recording says about the engine, on one page."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable

from .bench.calculator import NotPossible
from .bench.pictures import pictures
from .knowledge.model import Knowledge
from .listen.known import Known
from .listen.questions import QUESTIONS
from .listen.recording import NotHeard, find
from .shell.bench import page_lines, reader
from .shell.console import Console, Left, open_console, show
from .shell.listening import RECORDING, answer_lines, ask_known, ask_stop
from .shell.screens import Lines, caution

WELL, WRONG, MISUSED = 0, 1, 2

Complain = Callable[[str], None]


def run(options: argparse.Namespace, rules: Callable[[], Knowledge], complain: Complain) -> int:
    """Hear the file and show, or print, what it says. The exit code: 1 if it cannot be heard or holds no engine."""
    console = open_console(options.plain)
    try:
        known = _known(options)
        asked = known == Known() and not options.json and sys.stdin is not None and sys.stdin.isatty()
        find(options.file)  # what cannot be heard is said before anything is asked
        knowledge = rules()
        if not options.json:
            for name in RECORDING:
                show(console, caution(knowledge, name, console.width))
        return _hear(options, known, asked, knowledge, console)
    except NotPossible as wrong:
        complain(str(wrong))
        return MISUSED
    except NotHeard as trouble:
        complain(str(trouble))
        return WRONG
    except Left:
        return WELL


def _hear(options: argparse.Namespace, known: Known, asked: bool, knowledge: Knowledge, console: Console) -> int:
    def say(lines: Lines) -> None:
        show(console, lines)

    if asked:
        known = ask_known(known, say, reader(console), console.width)
    from .listen.answers import answers
    from .listen.hearing import hear
    from .listen.measures import measured
    from .listen.page import page

    heard = hear(options.file, known)
    found = measured(heard)
    if asked:
        heard, found = ask_stop(heard, found, say, reader(console), console.width)
    shown = page(heard, found)
    given = answers(knowledge, found.of, heard.recording.name)
    written = pictures(shown, options.output or ())
    if options.json:
        from .listen.document import document

        print(json.dumps(document(heard, found, shown, given), indent=2))
    else:
        say(page_lines(shown, console.width))
        say(answer_lines(given, knowledge, console.width))
        for path in written:
            console.say(str(path))
    return WELL if heard.running.any() else WRONG


def _known(options: argparse.Namespace) -> Known:
    known = Known()
    for one in QUESTIONS:
        given = getattr(options, f"known_{one.name}")
        if given is not None:
            try:
                known = one.known(known, given)
            except NotPossible as wrong:
                raise NotPossible(f"--{one.name}: {wrong}") from None
    if known.head and not known.gear:
        raise NotPossible("--head-speed: give the gear ratio too (--gear), or the speed of the engine (--speed)")
    return known
