"""Entries of a pack, from text with its place to typed objects. Everything wrong is collected, nothing is guessed."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from types import MappingProxyType
from typing import TypeVar

from .frequency import FREQUENCY
from .model import (
    CONCLUDED,
    KNOWN,
    All,
    Answer,
    Answered,
    Any,
    Cause,
    Caution,
    Check,
    Clash,
    Condition,
    Finding,
    First,
    Fix,
    Hold,
    Holds,
    Is,
    IsNot,
    Kin,
    Lacks,
    Means,
    Measure,
    Need,
    Outcome,
    Pack,
    Requirement,
    Retest,
    Reweigh,
    Rule,
    Skips,
    Sooner,
    Step,
    SwitchOff,
    Tell,
    Term,
    Warns,
    leaves,
)
from .source import Items, Node, Place, Problem, Table, Text

FAMILIES = (
    "air-leaks", "carburettor", "needles", "fuel", "ignition", "engine", "drive", "linkage-governor", "weather",
    "handling", "normal",
)  # fmt: skip
ENGINE_STATES = ("stopped", "cold", "idling", "loaded")
LEVELS = ("danger", "warning", "care")
MEASURES = MappingProxyType(
    {
        "temperature": ("degC", "degF"),
        "speed": ("rpm",),
        "turns": ("turn",),
        "pressure": ("bar", "psi"),
        "time": ("second", "minute", "hour"),
        "length": ("metre", "foot"),
        "voltage": ("volt",),
        "percent": ("percent",),
        "count": ("count",),
    }
)
"""Kind of number -> the units its bands may be written in."""

DEEPEST_RULE = 4
MOST_PREMISES = 100
"""Findings and conditions in one rule. All that must hold together is joined one by one, each within the last."""

MOST_KIN = 40
ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
VERSION = re.compile(r"[0-9]{1,9}(\.[0-9]{1,9})*")
LONGEST_ID = 80
LONGEST_TEXT = 2_000

MOST_PROBLEMS = 30_000
"""Of so many problems nobody reads the last: nothing more is looked for."""

TOO_MANY_PROBLEMS = f"more than {MOST_PROBLEMS:,} problems; put some of these right, and the rest is looked for"

Made = TypeVar("Made")


@dataclass
class Fields:
    """Reads the named fields of one table and notes every problem; fields nobody asked for are problems too."""

    table: Table
    problems: list[Problem]
    asked: set[str] = field(default_factory=set)

    def inside(self, table: Table) -> Fields:
        """Return a reader of a table inside this one; what is wrong there is noted with the rest."""
        return Fields(table, self.problems)

    def wrong(self, place: Place, says: str, meant: str = "") -> None:
        self.problems.append(Problem(place, says, meant))

    def node(self, key: str, required: bool = False) -> Node | None:
        self.asked.add(key)
        for name, value in self.table:
            if name == key:
                return value
        if required:
            self.wrong(self.table.place, f"'{key}:' is missing")
        return None

    def close(self) -> None:
        """Note the keys that no field asked for."""
        for key, _ in self.table:
            if key not in self.asked:
                self.wrong(key.place, f"'{key}' is not known here", likeliest(key, self.asked))

    def text(self, key: str) -> Text:
        return self.plain(self.node(key, required=True), key) or Text("", self.table.place)

    def text_or_none(self, key: str) -> Text | None:
        node = self.node(key)
        return None if node is None else self.plain(node, key)

    def plain(self, node: Node | None, key: str) -> Text | None:
        if node is None:
            return None
        if not isinstance(node, Text):
            self.wrong(node.place, f"'{key}' takes one text")
            return None
        if not node.strip():
            self.wrong(node.place, f"'{key}' is empty")
        elif len(node) > LONGEST_TEXT:
            self.wrong(node.place, f"'{key}' is longer than {LONGEST_TEXT} characters")
        one_line = " ".join(node[:LONGEST_TEXT].split())
        return node if node == one_line else Text(one_line, node.place)

    def id(self, key: str) -> Text:
        return self.an_id(self.text(key))

    def an_id(self, text: Text) -> Text:
        if text and not ID.fullmatch(text):
            meant = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
            self.wrong(text.place, f"'{text}' is not an id: lower-case words joined by hyphens", meant)
        elif len(text) > LONGEST_ID:
            self.wrong(text.place, f"this id is longer than {LONGEST_ID} letters")
        return text

    def ids(self, key: str, required: bool = False) -> tuple[Text, ...]:
        return tuple(self.an_id(text) for text in self.texts(key, required))

    def texts(self, key: str, required: bool = False) -> tuple[Text, ...]:
        """A list of texts; one text alone counts as a list of one."""
        node = self.node(key, required)
        if node is None:
            return ()
        if isinstance(node, Table):
            self.wrong(node.place, f"'{key}' takes a list of texts")
            return ()
        several = node.items if isinstance(node, Items) else (node,)
        if required and not several:
            self.wrong(node.place, f"'{key}' takes one or more")
        read = (self.plain(item, key) for item in several)
        return tuple(text for text in read if text is not None)

    def id_or_none(self, key: str) -> Text | None:
        text = self.text_or_none(key)
        return None if text is None else self.an_id(text)

    def choice(self, key: str, allowed: Iterable[str]) -> Text:
        text = self.text(key)
        if text:
            self.one_of(text, key, tuple(allowed))
        return text

    def choice_or_none(self, key: str, allowed: Iterable[str]) -> Text | None:
        return None if self.node(key) is None else self.choice(key, allowed)

    def one_of(self, text: Text, key: str, allowed: tuple[str, ...]) -> None:
        if text not in allowed:
            self.wrong(text.place, f"'{key}' takes {', '.join(allowed)}; not '{text}'", likeliest(text, allowed))

    def number(self, key: str, least: float, most: float) -> float:
        node = self.node(key, required=True)
        return self.a_number(node, key, least, most) if node is not None else least

    def a_number(self, node: Node, key: str, least: float, most: float) -> float:
        try:
            value = float(node) if isinstance(node, Text) else math.nan
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            self.wrong(node.place, f"'{key}' takes a number from {least:g} to {most:g}")
            return least
        return value

    def word(self, node: Node, key: str) -> Text | None:
        text = self.plain(node, key)
        if text is not None:
            self.one_of(text, key, tuple(FREQUENCY))
        return text

    def table_of(self, key: str, required: bool = True) -> Table | None:
        node = self.node(key, required)
        if node is None or isinstance(node, Table):
            return node
        self.wrong(node.place, f"'{key}' takes a table of names and values")
        return None

    def steps(self, key: str) -> tuple[Step, ...]:
        node = self.node(key, required=True)
        if node is None:
            return ()
        if not isinstance(node, Items) or not node.items:
            self.wrong(node.place, f"'{key}' takes a list of steps")
            return ()
        return tuple(step for step in map(self._step, node) if step is not None)

    def _step(self, node: Node) -> Step | None:
        if isinstance(node, Table):
            inner = self.inside(node)
            step = Step(inner.text("do"), inner.ids("under", required=True))
            inner.close()
            return step
        text = self.plain(node, "step")
        return None if text is None else Step(text, ())


def likeliest(written: str, known: Iterable[str]) -> str:
    """Return the known word nearest to what was written, or '' when none is near."""
    near = get_close_matches(written, sorted(known), n=1, cutoff=0.6)
    return f"'{near[0]}'" if near else ""


def _need(it: Fields) -> Need:
    return Need(it.id("need"), it.text("name"), it.table.place)


def _finding(it: Fields) -> Finding:
    measure = _measure(it)
    return Finding(
        id=it.id("finding"),
        ask=it.text("ask"),
        why=it.text("why"),
        how=it.text_or_none("how"),
        answers=_answers(it, measure),
        minutes=it.number("minutes", 0.05, 240),
        needs=it.ids("needs"),
        cautions=it.ids("cautions"),
        under=it.ids("under"),
        tools=it.texts("tools"),
        check=it.id_or_none("check"),
        unordered=it.choice_or_none("unordered", ("true",)) is not None,
        unsure=it.choice_or_none("unsure", FREQUENCY),
        measure=measure,
        place=it.table.place,
    )


def _measure(it: Fields) -> Measure | None:
    if it.node("number") is None:
        return None
    kind = it.choice("number", MEASURES)
    unit = it.choice("unit", MEASURES.get(kind, ()))
    return Measure(kind, unit, it.number("least", -1e6, 1e6), it.number("most", -1e6, 1e6))


def _answers(it: Fields, measure: Measure | None) -> MappingProxyType[str, Answer]:
    table = it.table_of("answers")
    answers: dict[str, Answer] = {}
    for key, node in table or ():
        if not isinstance(node, Table):
            it.wrong(node.place, f"answer '{key}' takes a table with say: and seen:")
            continue
        inner = it.inside(node)
        below = inner.node("below")
        it.an_id(key)
        if key == KNOWN:
            it.wrong(key.place, f"'{KNOWN}' stands for any answer; name this answer otherwise")
        answers[key] = Answer(
            id=key,
            say=inner.text("say"),
            seen=inner.choice("seen", FREQUENCY),
            like=inner.texts("like"),
            below=None if below is None else inner.a_number(below, "below", -1e6, 1e6),
        )
        inner.close()
    if table is not None and len(answers) < 2:
        it.wrong(table.place, "a finding takes at least two answers")
    if table is not None:
        _check_bands(it, answers, measure)
    return MappingProxyType(answers)


def _check_bands(it: Fields, answers: dict[str, Answer], measure: Measure | None) -> None:
    limits = [answer.below for answer in answers.values()]
    if measure is None:
        if any(limit is not None for limit in limits):
            it.wrong(it.table.place, "'below' is for numbers; say which with number: and unit:")
        return
    rising = [limit for limit in limits[:-1] if limit is not None]
    if len(rising) < len(limits) - 1 or (limits and limits[-1] is not None) or rising != sorted(set(rising)):
        it.wrong(it.table.place, "the bands of a number rise by 'below:'; the last band has none")
    elif rising and not measure.least < rising[0] <= rising[-1] <= measure.most:
        it.wrong(it.table.place, "every band lies between least: and most:")


def _kin(it: Fields) -> Kin:
    kin = Kin(it.id("kin"), it.ids("of", True), it.choice("are", ("same", "related")), it.text("because"), it.table.place)
    if len(kin.of) > MOST_KIN:
        it.wrong(it.table.place, f"more than {MOST_KIN} findings in one kin")
    return kin


def _condition(it: Fields) -> Condition:
    return Condition(it.id("condition"), it.text("name"), it.text("says"), it.choice("seen", FREQUENCY), it.table.place)


def _cause(it: Fields) -> Cause:
    return Cause(
        id=it.id("cause"),
        name=it.text("name"),
        family=it.choice("family", FAMILIES),
        how_common=it.choice("how_common", FREQUENCY),
        needs=it.ids("needs"),
        explains=it.text("explains"),
        shows=_shows(it, required=True),
        settled_by=it.id("settled_by"),
        fix=_fix(it),
        proof=it.text("proof"),
        harm=it.text("harm"),
        basis=it.text("basis"),
        place=it.table.place,
    )


def _shows(it: Fields, required: bool) -> MappingProxyType[str, Tell]:
    tells: dict[str, Tell] = {}
    for key, node in it.table_of("shows", required) or ():
        if isinstance(node, Table):
            words: dict[str, Text] = {
                answer: word for answer, value in node if (word := it.word(value, answer)) is not None
            }
        else:
            word = it.word(node, key)
            words = {} if word is None else {Text(CONCLUDED, key.place): word}
        tells[key] = Tell(key, MappingProxyType(words))
    return MappingProxyType(tells)


def _fix(it: Fields) -> Fix:
    table = it.table_of("fix")
    if table is None:
        return Fix(0, (), (), (), None, ())
    inner = it.inside(table)
    needle = inner.choice_or_none("needle", ("H", "L"))
    fix = Fix(
        inner.number("minutes", 0.1, 2_000),
        inner.texts("tools"),
        inner.ids("cautions"),
        inner.ids("under"),
        needle,
        inner.steps("steps"),
    )
    inner.close()
    return fix


def _check(it: Fields) -> Check:
    return Check(
        id=it.id("check"),
        name=it.text("name"),
        why=it.text("why"),
        minutes=it.number("minutes", 0.05, 240),
        tools=it.texts("tools"),
        engine=it.choice("engine", ENGINE_STATES),
        needs=it.ids("needs"),
        cautions=it.ids("cautions"),
        under=it.ids("under"),
        steps=it.steps("steps"),
        finds=it.ids("finds", True),
        basis=it.text("basis"),
        place=it.table.place,
    )


def _retest(it: Fields) -> Retest:
    return Retest(
        id=it.id("retest"),
        name=it.text("name"),
        minutes=it.number("minutes", 0.05, 240),
        engine=it.choice("engine", ENGINE_STATES),
        needs=it.ids("needs"),
        cautions=it.ids("cautions"),
        steps=it.steps("steps"),
        place=it.table.place,
    )


def _caution(it: Fields) -> Caution:
    return Caution(it.id("caution"), it.choice("level", LEVELS), it.text("says"), it.text("basis"), it.table.place)


def _hold(it: Fields) -> Hold:
    return Hold(it.id("hold"), it.text("name"), it.text("says"), it.table.place)


OUTCOMES = ("means", "lacks", "clash", "caution", "hold", "skip", "first", "sooner")


def _rule(it: Fields) -> Rule | None:
    outcome = _outcome(it)
    when = it.node("when")
    rule_id, because, basis = it.id("rule"), it.text("because"), it.text("basis")
    term = None if when is None else _term(it, when, 1)
    if len(leaves(term)) > MOST_PREMISES:
        it.wrong(it.table.place, f"more than {MOST_PREMISES} premises in one rule; make conditions of some of them")
    if outcome is None or (when is not None and term is None):
        return None
    return Rule(rule_id, term, outcome, because, basis, it.table.place)


def _outcome(it: Fields) -> Outcome | None:
    given = [kind for kind in OUTCOMES if it.node(kind) is not None]
    if len(given) != 1:
        it.node("until")
        it.wrong(it.table.place, f"a rule has exactly one of {', '.join(OUTCOMES)}; this one has {len(given)}")
        return None
    match given[0]:
        case "means":
            return Means(it.id("means"))
        case "lacks":
            return Lacks(it.ids("lacks", required=True))
        case "clash":
            return Clash(it.text("clash"))
        case "caution":
            return Warns(it.ids("caution", required=True))
        case "hold":
            return Holds(it.ids("hold", required=True), it.text("until"))
        case "skip":
            return Skips(it.ids("skip", required=True))
        case "first":
            return First(it.ids("first", required=True))
        case _:
            return Sooner(it.ids("sooner", required=True))


def _term(it: Fields, node: Node, depth: int) -> Term | None:
    if not isinstance(node, Table) or not node.pairs:
        it.wrong(node.place, "'when' takes a finding with its answers, is:, is_not:, all: or any:")
        return None
    if depth > DEEPEST_RULE:
        it.wrong(node.place, f"all: and any: are nested more than {DEEPEST_RULE} deep; make a condition of the inner part")
        return None
    terms = [term for key, value in node if (term := _one_term(it, key, value, depth)) is not None]
    if len(terms) < len(node.pairs):
        return None
    return terms[0] if len(terms) == 1 else All(tuple(terms))


def _one_term(it: Fields, key: Text, value: Node, depth: int) -> Term | None:
    if key in ("all", "any"):
        if not isinstance(value, Items) or not value.items:
            it.wrong(value.place, f"'{key}' takes a list")
            return None
        read = [_term(it, item, depth + 1) for item in value]
        terms = tuple(term for term in read if term is not None)
        if len(terms) < len(read):
            return None
        return All(terms) if key == "all" else Any(terms)
    inner = Fields(Table(((key, value),), key.place), it.problems)
    names = inner.ids(key)
    if not names:
        return None
    if key == "is":
        return _every(tuple(Is(name) for name in names))
    if key == "is_not":
        return _every(tuple(IsNot(name) for name in names))
    it.an_id(key)
    return Answered(key, names)


def _every(terms: tuple[Term, ...]) -> Term:
    return terms[0] if len(terms) == 1 else All(terms)


def _switch_off(it: Fields) -> SwitchOff:
    return SwitchOff(it.id("switch_off"), it.text("because"), it.table.place)


def _reweigh(it: Fields) -> Reweigh:
    change = Reweigh(
        id=it.id("reweigh"),
        because=it.text("because"),
        how_common=it.choice_or_none("how_common", FREQUENCY),
        shows=_shows(it, required=False),
        place=it.table.place,
    )
    if it.node("how_common") is None and it.node("shows") is None:
        it.wrong(it.table.place, "a reweigh takes how_common:, shows: or both")
    return change


def read_pack(it: Fields, folder: str) -> Pack:
    """Return what a pack says of itself in its pack.yaml."""
    pack_id, name, version, author = it.id("pack"), it.text("name"), it.text("version"), it.text("author")
    if version and not VERSION.fullmatch(version):
        it.wrong(version.place, "'version' takes numbers joined by dots, such as 1.0.2")
    needs = (_requirement(it, text) for text in it.texts("needs"))
    return Pack(pack_id, name, version, author, folder, tuple(need for need in needs if need is not None))


def _requirement(it: Fields, text: Text) -> Requirement | None:
    pack, _, least = text.partition(" ")
    if not ID.fullmatch(pack) or (least and not VERSION.fullmatch(least)):
        it.wrong(text.place, "'needs' takes a pack, or a pack and its least version, such as 'base 1.0'")
        return None
    return Requirement(Text(pack, text.place), least or None)


READERS: dict[str, Callable[[Fields], object]] = {
    "need": _need,
    "finding": _finding,
    "kin": _kin,
    "condition": _condition,
    "cause": _cause,
    "check": _check,
    "retest": _retest,
    "caution": _caution,
    "hold": _hold,
    "rule": _rule,
    "switch_off": _switch_off,
    "reweigh": _reweigh,
}
"""First key of an entry -> how it is read."""


@dataclass(frozen=True, slots=True)
class Entries:
    """What one file holds: `made` as (kind, object), and the ids of entries that could not be read.

    whole: False when the file is no list of entries, so that nobody knows what it defines.
    """

    made: tuple[tuple[str, object], ...] = ()
    unread: frozenset[str] = frozenset()
    whole: bool = True


def read_entries(root: Node | None, file: str, problems: list[Problem]) -> Entries:
    """Return the entries of one file; what is wrong in them is added to `problems`."""
    if root is None:
        return Entries()
    if not isinstance(root, Items):
        problems.append(Problem(root.place, "a rule file is a list of entries, each starting with '- '"))
        return Entries(whole=False)
    made: list[tuple[str, object]] = []
    unread: set[str] = set()
    for node in root:
        if len(problems) > MOST_PROBLEMS:
            problems.append(Problem(node.place, TOO_MANY_PROBLEMS))
            return Entries(whole=False)
        if not isinstance(node, Table) or not node.pairs:
            problems.append(Problem(node.place, "an entry starts with its kind and name, such as '- cause: ...'"))
            continue
        kind, name = node.pairs[0]
        entry = _entry(kind, node, problems)
        if entry is not None:
            made.append((kind, entry))
        elif isinstance(name, Text):
            unread.add(" ".join(name.split()))
    return Entries(tuple(made), frozenset(unread))


def _entry(kind: Text, node: Table, problems: list[Problem]) -> object | None:
    if kind not in READERS:
        says = f"an entry starts with one of {', '.join(READERS)}; not '{kind}'"
        problems.append(Problem(kind.place, says, likeliest(kind, READERS)))
        return None
    found = len(problems)
    fields = Fields(node, problems)
    made = READERS[kind](fields)
    fields.close()
    return made if len(problems) == found else None
