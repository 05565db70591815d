"""Listening at a console: ask what is known of the recording, hear it, show the page, and take the answers into a case."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ..bench.calculator import NotPossible
from ..case.casefile import MACHINE
from ..case.state import Given
from ..knowledge.model import Knowledge
from ..listen.known import Known
from ..listen.questions import QUESTIONS, Question, question
from ..listen.recording import NotHeard
from . import screens
from .bench import Reads, left_out, page_lines
from .choices import NotUnderstood, several_of

if TYPE_CHECKING:
    from ..listen.answers import Answered
    from ..listen.hearing import Heard
    from ..listen.measures import Measured
    from .sitting import Sitting

Lines = Iterator[tuple[str, str]]
Says = Callable[[Lines], None]

NAME = "type it like this: listen hover.wav"

RECORDING = ("record-from-behind-the-line",)
"""Cautions shown before a recording is asked about."""

TWINS = "two-or-more"
"""Answer of `cylinders` that makes the firings of one turn worth asking."""


def ask_known(known: Known, say: Says, read: Reads, width: int, questions: Sequence[Question] = QUESTIONS) -> Known:
    """Ask what makes sense to know before a recording is heard; an empty line leaves a question out."""
    for one in questions:
        if one.sensible(known):
            known = _ask(one, known, say, read, width)
    return known


def _ask(one: Question, known: Known, say: Says, read: Reads, width: int) -> Known:
    say(iter([("", "")]))
    say(screens.paragraph(one.ask, width, "    ", "ask"))
    say(screens.paragraph(f"{one.hint}. Enter leaves it out.", width, "    ", "quiet"))

    def understand(line: str) -> Known:
        if left_out(line):
            return known
        try:
            return one.known(known, line)
        except NotPossible as wrong:
            raise NotUnderstood(str(wrong)) from None

    return read(understand)


def ask_stop(heard: Heard, found: Measured, say: Says, read: Reads, width: int) -> tuple[Heard, Measured]:
    """Where it is heard to stop and nobody said how, ask; return what is then measured."""
    from ..listen.measures import clock, measured

    if found.stop is None or heard.known.by_itself is not None:
        return heard, found
    say(iter([("", "")]))
    say(screens.paragraph(f"The firing ends at {clock(found.stop.at)}.", width, "    "))
    heard = replace(heard, known=_ask(question("stopped"), heard.known, say, read, width))
    return heard, measured(heard)


def answer_lines(answers: Sequence[Answered], knowledge: Knowledge, width: int) -> Lines:
    """What the recording answers, each with its measure."""
    yield "", ""
    if not answers:
        yield from screens.paragraph("It answers no question of the rules by itself.", width, "  ")
        return
    yield "It answers:", "head"
    for one in answers:
        finding = knowledge.findings[one.finding]
        said = f"{finding.ask} {finding.answers[one.answer].say} ({one.reading})"
        yield from screens.paragraph(said, width, "  ", rest="      ")


# In a case.


def listen(sitting: Sitting, rest: str) -> bool:
    """`listen FILE` at any prompt: hear it, and take what it answers into the case. True when the case has changed."""
    say, width = sitting.show, sitting.width
    name = rest.strip().strip("'\"")
    if not name:
        sitting.say(f"    Which recording? {NAME[0].upper()}{NAME[1:]}")
        return False
    from ..listen.recording import find

    try:
        path = find(Path(name).expanduser()).path
    except NotHeard as trouble:
        sitting.say(f"    {trouble}.")
        return False
    sitting.warn(RECORDING)
    known = Known(machine=_answer(sitting, MACHINE))
    if _answer(sitting, "cylinders") == TWINS:
        known = _ask(question("firings"), known, say, sitting.read, width)
    known = ask_known(known, say, sitting.read, width, [one for one in QUESTIONS if one.name != MACHINE])
    from ..listen.answers import answers
    from ..listen.hearing import hear
    from ..listen.measures import measured
    from ..listen.page import kept, page

    try:
        heard = hear(path, known)
    except NotHeard as trouble:
        sitting.say(f"    {trouble}.")
        return False
    heard, found = ask_stop(heard, measured(heard), say, sitting.read, width)
    say(page_lines(page(heard, found), width))
    given = answers(sitting.knowledge, found.of, heard.recording.name)
    sitting.log.append("recording", **kept(heard, found))
    _tell_rules(sitting, [one for one in given if _is_news(sitting, one)])
    return True


def _answer(sitting: Sitting, finding: str) -> str:
    given = sitting.state.findings.get(finding)
    return given.answer if given else ""


def _is_news(sitting: Sitting, one: Answered) -> bool:
    """True if this machine has what is answered, and the case does not say the same already."""
    given = sitting.state.findings.get(one.finding)
    has = sitting.examined.conclusions.applies(sitting.knowledge.findings[one.finding].needs)
    return has and (given is None or (given.answer, given.reading) != (one.answer, one.reading))


def _tell_rules(sitting: Sitting, given: Sequence[Answered]) -> None:
    """Ask which of the answers the case takes: a person stands between a recording and the rules. What is told becomes
    ordinary answers, so that `back` and `change` reach them."""
    sitting.say()
    if not given:
        sitting.say("    Kept for the report. It answers no question of the rules that is still open.")
        return
    sitting.say("Which of these does the case take from it? Type the numbers, or none.", "ask")
    sitting.show(screens.choices([_said(sitting, one) for one in given], sitting.width))
    why, sitting.why = sitting.why, lambda: _because(given, sitting.width)
    for place in sitting.read(lambda line: several_of(line, len(given)), ["none"]):
        one = given[place]
        sitting.record(sitting.knowledge.findings[one.finding], Given(one.answer, one.reading))
    sitting.why = why
    sitting.show(screens.brief(sitting.examined, sitting.width))


def _because(given: Sequence[Answered], width: int) -> Lines:
    for one in given:
        yield from screens.paragraph(f"{one.finding}: {one.because}", width, "    ", rest="      ")


def _said(sitting: Sitting, one: Answered) -> str:
    finding = sitting.knowledge.findings[one.finding]
    before = sitting.state.findings.get(one.finding)
    instead = f", instead of: {screens.said(finding, sitting.state, before.answer)}" if before else ""
    return f"{finding.ask} {finding.answers[one.answer].say} ({one.reading}){instead}"
