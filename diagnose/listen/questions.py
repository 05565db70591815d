"""What is asked of the person before a recording is heard: each question, when it makes sense, and what a reply means."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from ..bench.calculator import NotPossible
from ..case.readings import NotAReading, parse_quantity
from .known import Known

MACHINES = ("helicopter", "aeroplane", "bench-stand")
"""As the rules name them."""

_TIME = r"(?:(\d{1,3}):)?(\d{1,4}(?:\.\d+)?)"
TIMES = "write 0:10-0:25 as the player shows it, or 10-25 in seconds"
_SPAN = re.compile(rf"{_TIME}\s*(?:-|to)\s*{_TIME}")


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that may be known. `name` of the option too; `known` puts a reply into what is known, and raises
    NotPossible with what can be meant; `sensible` says whether to ask, of what is known so far."""

    name: str
    ask: str
    hint: str
    known: Callable[[Known, str], Known]
    sensible: Callable[[Known], bool]


def _number(text: str, unit: str, least: float, most: float) -> float:
    try:
        return parse_quantity(text, unit, least, most).value
    except NotAReading as error:
        raise NotPossible(str(error)) from None


def spans(text: str) -> tuple[tuple[float, float], ...]:
    """Return '0:10-0:25, 1:02-1:30' as seconds. Raises NotPossible."""
    pieces = [piece.strip() for piece in re.split(r"[,;]|\band\b", text) if piece.strip()]
    found = [_SPAN.fullmatch(piece) for piece in pieces]
    for piece, match in zip(pieces, found, strict=True):
        if match is None:
            raise NotPossible(
                f"'{piece[:20]}' is no stretch of time; write 0:10-0:25 as the player shows it, or 10-25 in seconds"
            )
    spanned = tuple((_seconds(one[1], one[2]), _seconds(one[3], one[4])) for one in found if one is not None)
    for (start, end), piece in zip(spanned, pieces, strict=True):
        if end <= start:
            raise NotPossible(f"'{piece[:20]}' ends before it begins")
    if not spanned:
        raise NotPossible(TIMES)
    return spanned


def _seconds(minutes: str | None, seconds: str) -> float:
    return 60 * float(minutes or 0) + float(seconds)


def _word(text: str, words: tuple[str, ...]) -> str:
    typed = text.strip().lower()
    begun = [word for word in words if typed and word.startswith(typed)]
    if typed.isdecimal() and 1 <= int(typed) <= len(words):
        return words[int(typed) - 1]
    if len(begun) == 1:
        return begun[0]
    raise NotPossible(f"'{text[:20]}' is none of {', '.join(words)}")


def _machine(known: Known, text: str) -> Known:
    return replace(known, machine=_word(text, MACHINES))


def _gear(known: Known, text: str) -> Known:
    return replace(known, gear=_number(text, "", 1, 30))


def _head(known: Known, text: str) -> Known:
    return replace(known, head=_number(text, "rpm", 200, 4_000))


def _speed(known: Known, text: str) -> Known:
    return replace(known, speed=_number(text, "rpm", 800, 20_000))


def _blades(known: Known, text: str) -> Known:
    return replace(known, blades=int(_number(text, "", 1, 8)))


FIRINGS = ("once", "twice")


def _firings(known: Known, text: str) -> Known:
    return replace(known, firings=1 + FIRINGS.index(_word(text, FIRINGS)))


def _loads(known: Known, text: str) -> Known:
    return replace(known, loads=spans(text))


def _unloads(known: Known, text: str) -> Known:
    return replace(known, unloads=spans(text))


STOPS = ("by-itself", "by-hand")


def _stopped(known: Known, text: str) -> Known:
    return replace(known, by_itself=_word(text, STOPS) == STOPS[0])


def _flies_a_rotor(known: Known) -> bool:
    return known.machine in ("", "helicopter")


QUESTIONS = (
    Question("machine", "What is the engine in?", f"{', '.join(MACHINES)}", _machine, lambda known: not known.machine),
    Question("gear", "Gear ratio: turns of the engine to one of the rotor?", "a number such as 8.2", _gear, _flies_a_rotor),
    Question("head-speed", "About how fast does the rotor turn at its fastest in it?", "in rpm, within a third of it",
             _head, lambda known: known.gear is not None),
    Question("blades", "How many blades has the rotor?", "two unless you say otherwise",
             _blades, lambda known: known.gear is not None and known.head is None),
    Question("speed", "About how fast does the engine turn at its fastest in it?", "in rpm, within a third of it",
             _speed, lambda known: known.head is None),
    Question("firings", "How often does it fire in one turn?",
             "once: one cylinder, or two that fire together; twice: two that fire by turns", _firings, lambda known: False),
    Question("load", "When did it work hard?", "from-to as the player shows it: 0:10-0:25; several with a comma",
             _loads, lambda known: True),
    Question("load-off", "When was the load off again, still at speed?", "from-to, as before",
             _unloads, lambda known: bool(known.loads)),
    Question("stopped", "Did it stop by itself, or was it stopped?", "by-itself or by-hand",
             _stopped, lambda known: False),
)  # fmt: skip
"""In the order they are asked. What is never sensible at first is an option, or is asked when it comes up."""


def question(name: str) -> Question:
    """Return the question of that name."""
    return next(one for one in QUESTIONS if one.name == name)
