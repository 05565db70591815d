"""Free words -> findings: what the owner says, matched with the findings' own phrases for the person to confirm."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache, partial
from types import MappingProxyType

from snowballstemmer import stemmer

from ..knowledge.chains import grouped
from ..knowledge.model import Knowledge

_EMPTY_WORDS = frozenset({
    "a", "about", "again", "ain", "also", "am", "an", "and", "any", "anyway", "as", "at", "be", "been",
    "bit", "bloody", "but", "by", "can", "could", "did", "do", "does", "engine", "ever", "everything",
    "few", "for", "from", "get", "gets", "getting", "go", "goes", "gone", "got", "had", "has", "have",
    "he", "her", "here", "him", "his", "how", "i", "if", "in", "into", "is", "it", "its", "itself", "just",
    "kept", "kind", "let", "like", "lot", "lovely", "made", "make", "makes", "me", "mine",
    "model", "motor", "my", "now", "of", "on", "one", "onto", "or", "our", "own",
    "properly", "quite", "rather", "real", "really", "right", "s", "said", "say", "see", "she", "should", "since",
    "so", "some", "something", "sort", "still", "sure", "t", "take", "takes", "than", "that", "the", "their",
    "them", "then", "there", "these", "they", "thing", "this", "those", "though", "till", "to", "try", "was",
    "we", "went", "were", "what", "when", "whenever", "where", "which", "while", "who", "whole", "will",
    "with", "would", "you", "your", "yourself"
})  # fmt: skip
_DENIALS = frozenset(
    {"no", "not", "non", "nothing", "never", "without", "cannot", "neither", "nor", "hardly", "barely", "nowt"}
)
"""Words that turn the next telling word into its opposite."""

_CONTRACTED = re.compile(r"\b(ai|are|ca|could|did|does|do|had|has|have|is|should|was|were|wo|would)n'?t\b")

_CLAUSES = re.compile(r"\bthen\b|(?<!up )\band\b|\bbut\b|\bsince\b|\bbecause\b|\bcause\b|\buntil\b|[,;.:!?]")

NEARLY_ALL = 0.8
"""Share of a phrase, by the weight of its words, that must be said."""

MORE_THAN_HALF = 0.6
"""The share that does where nothing was said more clearly, if it is more than one word: people say a thing in ways that
nobody wrote down."""

ACROSS_CLAUSES = 0.8
"""What counts of a likeness whose words stand in different clauses of a sentence."""

OF_THE_BEST = 0.5
"""Share of the best likeness below which nothing is offered: it is a word that was used in passing."""

PARTS = 3
"""Answers that are offered at most for words that are no phrase by themselves, such as "it surges"."""

OFTEN = 0.3
"""Share of an answer's phrases in which such words must stand: what is often said of it is what it is about."""

SEVERAL = 2
"""Other questions in whose phrases the words of an answer are found, for it to be no phrase of its own."""


@dataclass(frozen=True, eq=False)
class Sayings:
    """Stems as they are said -> the one word that stands for them, and how many stems the longest of them has."""

    stands_for: Mapping[tuple[str, ...], str]
    longest: int


_NO_SAYINGS = Sayings(MappingProxyType({}), 0)
_stem = lru_cache(maxsize=20_000)(stemmer("english").stemWord)


@dataclass(frozen=True, slots=True)
class Match:
    """An answer that the words may mean, and how much of what was said speaks for it."""

    finding: str
    answer: str
    likeness: float


@dataclass(frozen=True, slots=True)
class _Phrase:
    """What owners say for one answer, as stems. `unusual`: it is a complaint, and no word that all is well."""

    finding: str
    answer: str
    unusual: bool
    words: frozenset[str]


@dataclass(frozen=True, eq=False)
class _Phrases:
    entries: tuple[_Phrase, ...]
    weight: Mapping[str, float]
    many: Mapping[tuple[str, str], int]
    sayings: Sayings


@dataclass(frozen=True, slots=True)
class _Found:
    match: Match
    words: frozenset[str]


def stems(text: str, sayings: Sayings = _NO_SAYINGS) -> list[str]:
    """Return the telling words of a text, cut to their stems; what is denied as "not" with its stem ("not start")."""
    plain = _CONTRACTED.sub("not", text.lower().replace("’", "'")).replace("'s", "").replace("'", "")
    words = [word for word in re.findall(r"[a-z0-9]+", plain) if word not in _EMPTY_WORDS]
    return list(_denied(_in_one_word([word if word in _DENIALS else _stem(word) for word in words], sayings)))


def _in_one_word(words: Sequence[str], sayings: Sayings) -> Iterator[str]:
    """What is said in several ways, in one; the longest way first."""
    at = 0
    while at < len(words):
        for length in range(min(sayings.longest, len(words) - at), 0, -1):
            one = sayings.stands_for.get(tuple(words[at : at + length]))
            if one is not None:
                yield one
                at += length
                break
        else:
            yield words[at]
            at += 1


def _denied(words: Iterable[str]) -> Iterator[str]:
    denial = False
    for word in words:
        if word in _DENIALS:
            denial = True
        else:
            yield f"not {word}" if denial else word
            denial = False
    if denial:
        yield "not"


def _sayings_of(knowledge: Knowledge) -> Sayings:
    sayings = (
        (tuple(stems(said)), entry.stands_for)
        for entry in knowledge.slang.values()
        for said in (entry.stands_for, *entry.also)
    )
    stands_for = {said: word for said, word in sayings if said}
    return Sayings(stands_for, max(map(len, stands_for), default=0))


@lru_cache(maxsize=8)
def _phrases_of(knowledge: Knowledge) -> _Phrases:
    sayings = _sayings_of(knowledge)
    liked, said = [], []
    for finding in knowledge.findings.values():
        for answer in finding.answers.values():
            if answer.like:
                of = partial(_Phrase, str(finding.id), str(answer.id), finding.unusual(str(answer.id)))
                liked += [of(frozenset(stems(phrase, sayings))) for phrase in answer.like]
                said.append(of(frozenset(stems(answer.say, sayings))))
    spoken = grouped((word, entry) for entry in (*liked, *said) for word in entry.words)
    telling = (entry for entry in liked if not _tells_no_answer(entry, spoken))
    entries = [*telling, *(entry for entry in said if not _said_of_all(entry, spoken))]
    entries = [entry for entry in entries if entry.words - {"not"}]
    seen = Counter(word for entry in entries for word in entry.words)
    total = max(len(entries), 1)
    weight = {word: math.log(1 + total / count) for word, count in seen.items()}
    many = Counter((entry.finding, entry.answer) for entry in entries)
    return _Phrases(tuple(entries), weight, many, sayings)


def _tells_no_answer(entry: _Phrase, spoken: Mapping[str, Sequence[_Phrase]]) -> bool:
    """True if a word that all is well is a complaint as much: "starts" alone is no easy start. spoken: word -> the phrases
    that have it."""
    alike = (other for word in entry.words for other in spoken[word] if other.words == entry.words)
    return not entry.unusual and any(other.finding == entry.finding and other.unusual for other in alike)


def _said_of_all(entry: _Phrase, spoken: Mapping[str, Sequence[_Phrase]]) -> bool:
    """True if a phrase says by itself only what is said of several things: "under load", "less", "dies" answer a question,
    and without it they are no complaint. spoken: word -> the phrases that have it."""
    with_the_rarest = min((spoken[word] for word in entry.words), key=len, default=())
    alike = (other for other in with_the_rarest if entry.words <= other.words)
    return len({other.finding for other in alike} - {entry.finding}) >= SEVERAL


def match(knowledge: Knowledge, text: str, open_findings: frozenset[str], most: int = 6) -> tuple[Match, ...]:
    """Return what the words may mean among `open_findings`, likeliest first, at most one answer a finding.

    A phrase is met where nearly all its words are said together, whatever else is said. Words that another phrase takes
    together with more do not count a second time.
    """
    phrases = _phrases_of(knowledge)
    clauses = list(dict.fromkeys(part for part in _CLAUSES.split(text) if part.strip()))
    said = [(_corrected(stems(clause, phrases.sayings), phrases.weight), 1.0) for clause in clauses]
    said.append((_corrected(stems(text, phrases.sayings), phrases.weight), ACROSS_CLAUSES))
    for share in (NEARLY_ALL, MORE_THAN_HALF):
        found = [one for words, counts in said for one in _clear(_found_in(words, counts, phrases, open_findings, share))]
        if found:
            return tuple(one.match for one in _each_once(found))[:most]
    for words, _ in said:
        if parts := _may_be_part_of(words, phrases, open_findings):
            return tuple(parts[:most])
    return ()


def _found_in(
    words: frozenset[str], counts: float, phrases: _Phrases, open_findings: frozenset[str], share: float
) -> Iterator[_Found]:
    """Every phrase of which these words are at least this share; of a word that all is well the whole, since a complaint
    is never to be offered as its opposite. counts: what a likeness in them counts."""
    for phrase in phrases.entries:
        likeness = counts * _likeness(words, phrase.words, phrases.weight, share if phrase.unusual else 1.0)
        if likeness > 0 and phrase.finding in open_findings:
            yield _Found(Match(phrase.finding, phrase.answer, likeness), words & phrase.words)


def _each_once(found: Iterable[_Found]) -> list[_Found]:
    """The likeliest of each finding, in that order, without what another takes together with more."""
    best: dict[str, _Found] = {}
    for one in sorted(found, key=lambda one: (-one.match.likeness, one.match.finding)):
        best.setdefault(one.match.finding, one)
    return [one for one in best.values() if not any(one.words < other.words for other in best.values())]


def _clear(found: Iterable[_Found]) -> list[_Found]:
    """What was clearly said in one clause, not in passing."""
    each = _each_once(found)
    return [one for one in each if one.match.likeness >= OF_THE_BEST * each[0].match.likeness]


def _may_be_part_of(words: frozenset[str], phrases: _Phrases, open_findings: frozenset[str]) -> list[Match]:
    """For few words that are no phrase by themselves ("it surges"): the answers that are often said with them."""
    complaints = (one for one in phrases.entries if one.unusual)
    having = Counter((one.finding, one.answer) for one in complaints if words - {"not"} and words <= one.words)
    share = {(of, answer): times / phrases.many[of, answer] for (of, answer), times in having.most_common()}
    often = [Match(of, answer, so) for (of, answer), so in share.items() if so >= OFTEN and of in open_findings]
    return often[:PARTS]


def _corrected(words: Iterable[str], known: Mapping[str, float]) -> frozenset[str]:
    """Mend a slip of the thumb by the nearest known word."""
    mended = []
    for word in words:
        sound = word in known or len(word) < 4 or word.startswith("not ")
        near = [] if sound else get_close_matches(word, known, n=1, cutoff=0.85)
        mended.append(near[0] if near else word)
    return frozenset(mended)


def _likeness(said: frozenset[str], phrase: frozenset[str], weight: Mapping[str, float], least: float) -> float:
    """The weight of what was said of a phrase, by the share of it that was said; 0 where too little was said, or the
    opposite of a word.

    fsum, because words in a set come in any order and equal likenesses must come out equal.
    """
    common = said & phrase
    if not common or any(_opposite(word) in said for word in phrase):
        return 0.0
    told = math.fsum(weight[word] for word in common)
    share = told / math.fsum(weight[word] for word in phrase)
    by_one_word = len(common) == 1 and share < NEARLY_ALL
    return told * share if share >= least and not by_one_word else 0.0


def _opposite(word: str) -> str:
    return word.removeprefix("not ") if word.startswith("not ") else f"not {word}"
