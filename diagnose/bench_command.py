"""`diagnose bench`: lists the calculators, or works one from options or from questions."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import NoReturn

from .bench.calculator import Calculator, Given, Input, NotPossible, Page
from .bench.calculators import calculator, calculators
from .bench.document import document, listing
from .bench.inputs import gathered, with_figures
from .bench.pictures import pictures
from .case.readings import SHOWN
from .knowledge.model import Knowledge
from .shell.bench import listing as listed
from .shell.bench import page_lines, reader, worked_out
from .shell.console import Console, Left, open_console, show, wrapped

WELL, MISUSED = 0, 2

Complain = Callable[[str], None]


def run(words: Sequence[str], rules: Callable[[], Knowledge], complain: Complain, plain: bool) -> int:
    """Run `diagnose bench` with the words after it; return the exit code. `rules` is read only for a page's cautions."""
    console = open_console(plain)
    rules = cache(rules)
    try:
        named = [word for word in words[:1] if not word.startswith("-")]
        if not named:
            return _list(_Options(None).parse_args(words), console)
        chosen = with_figures(calculator(named[0]).with_rules(rules), rules)
        options = _Options(chosen).parse_args(_joined(words[1:]))
        told = _Cautions(console, rules)
        done = _worked(chosen, options, console, told)
        if done is None:
            return WELL
        given, page = done
        written = pictures(page, options.output or ())
    except NotPossible as wrong:
        complain(str(wrong))
        return MISUSED
    except Left:
        return WELL
    if options.json:
        print(json.dumps(document(chosen, given, page), indent=2))
        return WELL
    told.tell((*chosen.cautions, *page.cautions))
    show(console, page_lines(page, console.width))
    for path in written:
        console.say(str(path))
    return WELL


class _Options(argparse.ArgumentParser):
    """The options of one calculator, made of its table of inputs. What is wrong with them is one line."""

    def __init__(self, chosen: Calculator | None) -> None:
        title = chosen.title if chosen else "Set it up right: calculators for the workbench and the pits."
        super().__init__(
            prog=f"diagnose bench {chosen.name}" if chosen else "diagnose bench",
            description=f"{title}. A number may have any unit that fits: '5 C', '41 F', '1013 hPa', '29.92 inHg', '500 ft'."
            if chosen
            else title,
            allow_abbrev=False,
        )
        self.add_argument("--json", action="store_true", help="a document for programs")
        for asked in chosen.inputs if chosen else ():
            unit = SHOWN.get(asked.unit, asked.unit)
            many = ", more than one may be given" if asked.many else ""
            takes = "|".join(asked.choices) or _takes(asked, unit)
            self.add_argument(
                f"--{asked.name}", dest=asked.name, action="append", default=[], metavar=takes.replace("%", "percent"),
                help=(asked.ask + many + (" (needed)" if asked.needed else "")).replace("%", "%%"),
            )  # fmt: skip
        if chosen:
            self.add_argument(
                "-o", "--output", type=Path, action="append", metavar="FILE.svg|FILE.png", help="write the picture"
            )

    def error(self, message: str) -> NoReturn:
        raise NotPossible(f"{message}; '{self.prog} --help' lists the options")


def _takes(asked: Input, unit: str) -> str:
    """What stands for a value in the help."""
    if asked.file or asked.text:
        return "FILE" if asked.file else "NAME"
    if asked.parts:
        return "'" + ", ".join(part.name for part in asked.parts) + "'"
    return f"'{unit}'" if unit else "NUMBER"


_NEGATIVE = re.compile(r"-[\d.,]")


def _joined(words: Sequence[str]) -> list[str]:
    """Options and values, with a value below nothing bound to its option: argparse would take `-5C` for an option."""
    joined: list[str] = []
    for word in words:
        if _NEGATIVE.match(word) and joined and joined[-1].startswith("--") and "=" not in joined[-1]:
            joined[-1] = f"{joined[-1]}={word}"
        else:
            joined.append(word)
    return joined


def _list(options: argparse.Namespace, console: Console) -> int:
    if options.json:
        print(json.dumps(listing(calculators()), indent=2))
        return WELL
    for line in wrapped("Calculators; each asks for what it needs, or takes it as options:", console.width):
        console.say(line)
    show(console, listed(console.width))
    for line in wrapped("'diagnose bench rotor' asks; 'diagnose bench rotor --help' lists the options.", console.width):
        console.say(line)
    return WELL


class _Cautions:
    """Says cautions in full, each once. The rules are read only where there is one to say."""

    def __init__(self, console: Console, rules: Callable[[], Knowledge]) -> None:
        self._console = console
        self._rules = rules
        self._told: set[str] = set()

    def tell(self, names: Sequence[str]) -> None:
        fresh = [name for name in dict.fromkeys(names) if name not in self._told]
        self._told.update(fresh)
        if fresh:
            from .shell.screens import caution

            knowledge = self._rules()
            for name in fresh:
                show(self._console, caution(knowledge, name, self._console.width))


def _worked(
    chosen: Calculator, options: argparse.Namespace, console: Console, told: _Cautions
) -> tuple[Given, Page] | None:
    """The inputs and the page: out of the options, or asked where none is given and somebody sits there."""
    typed = {asked.name: getattr(options, asked.name) for asked in chosen.inputs}
    if any(typed.values()) or options.json or sys.stdin is None or not sys.stdin.isatty():
        given = gathered(chosen, typed)
        return given, chosen.work(given)
    told.tell(chosen.cautions)
    console.say()
    for line in wrapped(f"{chosen.title}. 'back' goes to the input before, Ctrl-D leaves.", console.width):
        console.say(line, "head")
    return worked_out(chosen, lambda lines: show(console, lines), reader(console), console.width, {})
