"""Free words -> findings: what the owner says, matched with the findings' own phrases for the person to confirm."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

from ..knowledge.chains import grouped
from ..knowledge.model import Knowledge

_EMPTY_WORDS = frozenset(
    [
        "a",
        "an",
        "and",
        "are",
        "as",
        "at",
        "be",
        "been",
        "but",
        "by",
        "for",
        "from",
        "get",
        "gets",
        "got",
        "had",
        "has",
        "have",
        "he",
        "her",
        "his",
        "i",
        "if",
        "in",
        "into",
        "is",
        "it",
        "its",
        "just",
        "me",
        "my",
        "of",
        "on",
        "or",
        "our",
        "she",
        "so",
        "that",
        "the",
        "their",
        "them",
        "then",
        "there",
        "they",
        "this",
        "to",
        "was",
        "we",
        "were",
        "when",
        "which",
        "will",
        "with",
        "would",
        "you",
        "your",
        "engine",
        "motor",
        "model",
        "does",
        "do",
        "really",
        "very",
        "quite",
        "bit",
    ]
)
_SPLIT = re.compile(r"\band then\b|\bthen\b|\band\b|\bbut\b|\bsince\b|\bbecause\b|[,;.]")
LEAST_LIKENESS = 0.5

_DENIALS = frozenset(["no", "not", "non", "noth", "never", "without", "cannot", "wont", "neither", "nor"])
"""Stems of words that turn a phrase into its opposite."""

_NEEDLES = frozenset(["h", "l"])

SEVERAL = 2
"""Other questions in whose phrases the words of an answer are found, for it to be no phrase of its own."""

OPPOSITE = 0.6
"""What is left of a likeness when only one side denies ("it surges", "it does not surge"), or the needles differ."""


@dataclass(frozen=True, slots=True)
class Match:
    """An answer that the words may mean, and how alike they are (0 to 1)."""

    finding: str
    answer: str
    likeness: float


_Entry = tuple[str, str, frozenset[str]]
"""Finding, answer, stems of one phrase."""


@dataclass(frozen=True, eq=False)
class _Phrases:
    entries: tuple[_Entry, ...]
    weight: dict[str, float]


def stems(text: str) -> list[str]:
    """Return the telling words of a text, cut to their stems."""
    words = re.findall(r"[a-z0-9']+", text.lower().replace("won't", "wont").replace("n't", " not"))
    return [_stem(word.replace("'", "")) for word in words if word not in _EMPTY_WORDS]


def _stem(word: str) -> str:
    for ending in ("ingly", "ing", "ies", "es", "ed", "s", "y", "e"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            cut = word[: -len(ending)]
            return cut[:-1] if len(cut) > 3 and cut[-1] == cut[-2] else cut
    return word


@lru_cache(maxsize=8)
def _phrases_of(knowledge: Knowledge) -> _Phrases:
    liked, said = [], []
    for finding in knowledge.findings.values():
        for answer in finding.answers.values():
            if answer.like:
                liked += [(str(finding.id), str(answer.id), frozenset(stems(phrase))) for phrase in answer.like]
                said.append((str(finding.id), str(answer.id), frozenset(stems(answer.say))))
    where = grouped((word, entry) for entry in (*liked, *said) for word in entry[2])
    entries = [*liked, *(entry for entry in said if not _said_of_all(entry, where))]
    seen = Counter(word for _, _, words in entries for word in words)
    total = max(len(entries), 1)
    return _Phrases(tuple(entries), {word: math.log(1 + total / count) for word, count in seen.items()})


def _said_of_all(entry: _Entry, where: Mapping[str, Sequence[_Entry]]) -> bool:
    """True if an answer says by itself only what is said of several things: "under load", "less", "yes" answer a question,
    and without it they are no complaint. where: word -> the phrases that have it."""
    finding, _, words = entry
    with_the_rarest = min((where[word] for word in words), key=len, default=())
    return len({other for other, _, phrase in with_the_rarest if other != finding and words <= phrase}) >= SEVERAL


def match(knowledge: Knowledge, text: str, open_findings: frozenset[str], most: int = 6) -> tuple[Match, ...]:
    """Return what the words may mean among `open_findings`, likeliest first, at most one answer a finding."""
    phrases = _phrases_of(knowledge)
    best: dict[str, Match] = {}
    parts = [part for part in (text, *_SPLIT.split(text)) if part.strip()]
    for part in dict.fromkeys(parts):
        said = _corrected(stems(part), phrases.weight)
        if not said:
            continue
        for finding, answer, words in phrases.entries:
            if finding not in open_findings or not words:
                continue
            likeness = _likeness(said, words, phrases.weight)
            if likeness >= LEAST_LIKENESS and (finding not in best or likeness > best[finding].likeness):
                best[finding] = Match(finding, answer, likeness)
    ordered = sorted(best.values(), key=lambda found: (-found.likeness, found.finding))
    return tuple(ordered[:most])


def _corrected(words: list[str], known: dict[str, float]) -> frozenset[str]:
    """Mend a slip of the thumb by the nearest known word."""
    mended = []
    for word in words:
        near = [] if word in known or len(word) < 4 else get_close_matches(word, known, n=1, cutoff=0.8)
        mended.append(near[0] if near else word)
    return frozenset(mended)


def _likeness(said: frozenset[str], phrase: frozenset[str], weight: dict[str, float]) -> float:
    """Weighted overlap of what was said with a phrase, harmonic mean of both coverages.

    fsum, because words in a set come in any order and equal likenesses must come out equal.
    """
    common = math.fsum(weight.get(word, 0.0) for word in said & phrase)
    if not common:
        return 0.0
    rare = max(weight.values(), default=1.0)
    of_said = common / math.fsum(weight.get(word, rare / 2) for word in said)
    of_phrase = common / math.fsum(weight[word] for word in phrase)
    alike = 2 * of_said * of_phrase / (of_said + of_phrase)
    denied = bool(said & _DENIALS) != bool(phrase & _DENIALS)
    other_needle = bool(said & _NEEDLES and phrase & _NEEDLES and not said & phrase & _NEEDLES)
    return alike * OPPOSITE if denied or other_needle else alike
