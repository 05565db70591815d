"""What a typed line means at a question: an answer, don't know, or nothing that can be meant here."""

from __future__ import annotations

from ..case.casefile import understood
from ..case.readings import NotAReading
from ..case.state import Given
from ..knowledge.model import Finding
from .choices import NotUnderstood, not_known
from .phrases import stems
from .screens import marks


def reply_to(finding: Finding, line: str) -> Given | None:
    """Return the answer meant by a line, or None for don't know. Raises NotUnderstood."""
    typed = line.strip().lower()
    for mark, answer in zip(marks(finding), finding.answers.values(), strict=False):
        if typed in (mark, str(answer.id), str(answer.say).lower()):
            return Given(str(answer.id))
    if not_known(line):
        return None
    if finding.measure and typed[:1] in "0123456789.,+-":
        try:
            return understood(finding, line.strip())
        except NotAReading as error:
            raise NotUnderstood(str(error)) from None
    if not typed:
        raise NotUnderstood(_takes(finding))
    begun = [str(answer.id) for answer in finding.answers.values() if str(answer.id).startswith(typed)]
    if len(begun) == 1:
        return Given(begun[0])
    said = [str(answer.id) for answer in finding.answers.values() if str(answer.say).lower().startswith(typed)]
    alike = said if len(said) == 1 else _by_words(finding, typed)
    if len(alike) == 1:
        return Given(alike[0])
    if alike or begun:
        could_be = " or ".join(f"'{finding.answers[answer].say}'" for answer in alike or begun)
        raise NotUnderstood(f"that could be {could_be}; type the number or a few more letters")
    shown = typed if len(typed) <= 30 else typed[:27] + "..."
    raise NotUnderstood(f"'{shown}' is no answer here; {_takes(finding)}")


def _by_words(finding: Finding, typed: str) -> list[str]:
    """Answers that share every telling word typed."""
    words = set(stems(typed))
    if not words:
        return []
    return [
        str(answer.id)
        for answer in finding.answers.values()
        if any(words <= set(stems(phrase)) for phrase in (answer.say, answer.id.replace("-", " "), *answer.like))
    ]


def _takes(finding: Finding) -> str:
    picks = list(marks(finding))[: len(finding.answers)]
    number = "a number with its unit, " if finding.measure else ""
    return f"type {number}{picks[0]} to {picks[-1]}, a few letters, or ? for don't know"
