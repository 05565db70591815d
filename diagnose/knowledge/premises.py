"""What a rule rests on, spelt out as the ways it can fire; and whether one rule fires whenever another does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from .model import KNOWN, All, Answered, Any, Finding, Is, IsNot, Rule, Term

MOST_WAYS = 50
"""A rule that can fire in more ways is not looked into: spelling them out would take too long."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way for a rule to fire: each finding has one of its answers, these conditions hold, and these do not."""

    answers: Mapping[str, frozenset[str]]
    concluded: frozenset[str] = frozenset()
    not_concluded: frozenset[str] = frozenset()

    def implies(self, weaker: Way) -> bool:
        """True if whatever fits this way fits the weaker one too."""
        return (
            weaker.concluded <= self.concluded
            and weaker.not_concluded <= self.not_concluded
            and all(name in self.answers and self.answers[name] <= taken for name, taken in weaker.answers.items())
        )

    def leaves(self) -> Iterator[tuple[str, str, frozenset[str]]]:
        """Each premise as (kind, of what, the answers taken); a condition takes none."""
        yield from (("answer", name, taken) for name, taken in self.answers.items())
        yield from (("is", name, frozenset()) for name in self.concluded)
        yield from (("is_not", name, frozenset()) for name in self.not_concluded)


def ways(rule: Rule, findings: Mapping[str, Finding]) -> tuple[Way, ...] | None:
    """Return the ways in which a rule can fire: none if its premises exclude each other, None if they are too many."""
    if rule.when is None:
        return (Way({}),)
    return _ways(rule.when, findings)


def _ways(term: Term, findings: Mapping[str, Finding]) -> tuple[Way, ...] | None:
    match term:
        case Answered(finding, answers):
            known = findings[finding].answers if answers == (KNOWN,) and finding in findings else answers
            return (Way({str(finding): frozenset(map(str, known))}),)
        case Is(condition):
            return (Way({}, frozenset({str(condition)})),)
        case IsNot(condition):
            return (Way({}, frozenset(), frozenset({str(condition)})),)
        case Any(terms):
            found: list[Way] = []
            for inner in terms:
                more = _ways(inner, findings)
                if more is None or len(found) + len(more) > MOST_WAYS:
                    return None
                found += more
            return tuple(found)
        case All(terms):
            together: tuple[Way, ...] = (Way({}),)
            for inner in terms:
                more = _ways(inner, findings)
                if more is None or len(together) * len(more) > MOST_WAYS:
                    return None
                joined = (_both(one, other) for one in together for other in more)
                together = tuple(way for way in joined if way is not None)
            return together
    raise TypeError(f"not a premise: {term!r}")


def _both(one: Way, other: Way) -> Way | None:
    """Both ways at once, or None when they exclude each other."""
    answers = dict(one.answers)
    for name, taken in other.answers.items():
        answers[name] = answers.get(name, taken) & taken
        if not answers[name]:
            return None
    concluded, not_concluded = one.concluded | other.concluded, one.not_concluded | other.not_concluded
    return None if concluded & not_concluded else Way(answers, concluded, not_concluded)


def fires_with(rule: tuple[Way, ...], other: tuple[Way, ...]) -> bool:
    """True if the other rule, too, fires in every way in which the rule does."""
    return all(any(way.implies(weaker) for weaker in other) for way in rule)
