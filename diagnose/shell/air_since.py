"""What the air has done since a machine was last set: one line is asked, and the bench's air calculator says the rest."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from ..bench import air
from ..bench.calculator import NotPossible
from ..bench.inputs import understood
from ..book.weather import WEATHER
from ..case.casefile import understood as answer_meant
from ..case.log import CaseLog
from ..case.readings import NotAReading
from ..knowledge.model import Knowledge
from . import screens
from .console import Console, Dropped
from .opening import say
from .reckoning import keep

SHOWN = ("density-change",)
"""Rows of the calculator's page that are shown at the start; the report has all of them."""

_PART = re.compile(r"[+-]?\s*\d+(?:[.,]\d+)?\s*[^\d\s,;+-]+")


def compare_air(console: Console, setting: Mapping[str, Any], knowledge: Knowledge, log: CaseLog) -> None:
    """Ask for the air of now, show how far the mixture has gone since the setting, keep it, and tell it to the rules.

    An empty line goes on without. Raises Left.
    """
    then = {f"set-{name}": setting[column] for name, column in WEATHER.items() if setting[column] is not None}
    say(console)
    say(console, "The air now, to compare? Such as 24 C 985 hPa, or 24 C 350 m; Enter to go on without.", "ask")
    while True:
        try:
            line = console.read("> ").strip()
            if not line:
                return
            given = {**weather(line), **then}
            page = air.work(given)
        except Dropped:
            continue
        except NotPossible as wrong:
            say(console, f"{str(wrong)[:1].upper()}{str(wrong)[1:]}. Once more, or Enter to go on without.", first="    ")
            continue
        break
    for name in dict.fromkeys((*air.CALCULATOR.cautions, *page.cautions)):
        if name in knowledge.cautions:
            for shown, tone in screens.caution(knowledge, name, console.width):
                console.say(shown, tone)
    for row in page.rows:
        if row.name in SHOWN:
            say(console, f"{row.label}: {row.written}.", first="    ")
    say(console, page.says[0], first="    ")
    keep(log, air.CALCULATOR, given, page)
    for finding, text in page.findings.items():
        if finding in knowledge.findings:
            with suppress(NotAReading):  # beyond what the rules take: for the report only
                meant = answer_meant(knowledge.findings[finding], text)
                reading = {"reading": meant.reading} if meant.reading else {}
                log.append("answer", finding=finding, answer=meant.answer, **reading)


def weather(line: str) -> dict[str, float]:
    """Return the inputs of the air calculator in a line such as '24 C 985 hPa 60 %'. Raises NotPossible."""
    parts = _PART.findall(line)
    left = _PART.sub("", line).strip(" ,;")
    if not parts or left:
        raise NotPossible(f"'{(left or line)[:30]}' has no unit; write for instance 24 C 985 hPa")
    given: dict[str, float] = {}
    for part in parts:
        name, value = _one(part)
        if name in given:
            raise NotPossible(f"{name} is there twice")
        given[name] = value
    if "temperature" not in given:
        raise NotPossible("the temperature is wanted, such as 24 C")
    return given


def _one(part: str) -> tuple[str, float]:
    """The input that a number with its unit is for."""
    wrong = ""
    for asked in air.INPUTS:
        if asked.name in WEATHER:
            try:
                value = understood(asked, part)
                if isinstance(value, float):
                    return asked.name, value
            except NotPossible as trouble:
                wrong = wrong or str(trouble) if "is possible" in str(trouble) else wrong
    raise NotPossible(wrong or f"'{part.strip()[:30]}' is no temperature, pressure, height or humidity")
