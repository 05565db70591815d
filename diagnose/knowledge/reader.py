"""Entries of a pack, from text with its place to typed objects. Everything wrong is collected, nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

from .fields import ID, Fields, likeliest
from .frequency import FREQUENCY
from .hearing import read_hearing
from .model import (
    CONCLUDED,
    ENGINE_STATES,
    KNOWN,
    Answer,
    Answered,
    Cause,
    Caution,
    Check,
    Condition,
    Finding,
    Fix,
    Hold,
    Kin,
    Measure,
    Need,
    Pack,
    Requirement,
    Retest,
    Reweigh,
    Slang,
    SwitchOff,
    Tell,
)
from .rule_reader import premise, rule
from .setup_model import NEEDLES
from .setup_reader import SETUP_READERS
from .source import Items, Node, Problem, Table, Text

FAMILIES = (
    "air-leaks", "carburettor", "needles", "fuel", "ignition", "engine", "drive", "linkage-governor", "weather",
    "handling", "normal",
)  # fmt: skip
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

MOST_KIN = 40
VERSION = re.compile(r"[0-9]{1,9}(\.[0-9]{1,9})*")

MOST_PROBLEMS = 30_000
"""Of so many problems nobody reads the last: nothing more is looked for."""

TOO_MANY_PROBLEMS = f"more than {MOST_PROBLEMS:,} problems; put some of these right, and the rest is looked for"


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
        past=it.choice_or_none("past", ("true",)) is not None,
        tests_the_whole=it.choice_or_none("tests_the_whole", ("true",)) is not None,
        unsure=it.choice_or_none("unsure", FREQUENCY),
        coincidence=it.choice_or_none("coincidence", FREQUENCY),
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
            mend=inner.ids("mend"),
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


def _slang(it: Fields) -> Slang:
    name = it.id("slang")
    stands_for = it.text_or_none("stands_for") or Text(name.replace("-", " "), name.place)
    return Slang(name, stands_for, it.texts("also", True), it.table.place)


def _condition(it: Fields) -> Condition:
    return Condition(
        id=it.id("condition"),
        name=it.text("name"),
        says=it.text("says"),
        seen=it.choice("seen", FREQUENCY),
        unsaid=it.choice_or_none("unsaid", ("true",)) is not None,
        by_the_walk=it.choice_or_none("by_the_walk", ("true",)) is not None,
        place=it.table.place,
    )


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
        prove=it.ids("prove"),
        harm=it.text("harm"),
        comes_of=it.text_or_none("comes_of"),
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
        return Fix(0, (), (), (), None, False, ())
    inner = it.inside(table)
    turns = inner.choice_or_none("needle", NEEDLES)
    sets = inner.choice_or_none("sets", NEEDLES)
    if turns and sets:
        it.wrong(turns.place, "a fix takes 'needle' or 'sets', not both: 'sets' where setting the needle is the repair")
    fix = Fix(
        inner.number("minutes", 0.1, 2_000),
        inner.texts("tools"),
        inner.ids("cautions"),
        inner.ids("under"),
        sets or turns,
        sets is not None,
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
        only_when_asked=it.choice_or_none("only_when_asked", ("true",)) is not None,
        minutes=it.number("minutes", 0.05, 240),
        lasts=it.number_or_none("lasts", 0.05, 240) or 0.0,
        beyond=_beyond(it),
        asks=it.ids("asks"),
        engine=it.choice("engine", ENGINE_STATES),
        needs=it.ids("needs"),
        cautions=it.ids("cautions"),
        steps=it.steps("steps"),
        place=it.table.place,
    )


def _beyond(it: Fields) -> Answered | None:
    node = it.node("beyond")
    if node is None:
        return None
    read = premise(it, node, 1)
    if read is None or isinstance(read, Answered):
        return read
    it.wrong(node.place, "'beyond' takes one finding with its answers, such as {fades-after: [minutes, late]}")
    return None


def _caution(it: Fields) -> Caution:
    return Caution(it.id("caution"), it.choice("level", LEVELS), it.text("says"), it.text("basis"), it.table.place)


def _hold(it: Fields) -> Hold:
    return Hold(it.id("hold"), it.text("name"), it.text("says"), it.table.place)


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
    "rule": rule,
    **SETUP_READERS,
    "hearing": read_hearing,
    "slang": _slang,
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
