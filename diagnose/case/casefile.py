"""Case files: `machine:` and `findings:` in YAML, for a walk, a test and a batch; and a pack's own cases, `input:`
with what must come of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from ..knowledge.fields import Fields, likeliest
from ..knowledge.model import Finding, Knowledge
from ..knowledge.source import FaultyFiles, Items, Place, Problem, Table, Text, compose, read_text
from .readings import NotAReading, parse_reading
from .state import REPAIR_RESULTS, CaseState, Given, RepairDone

MACHINE = "machine"
"""The finding that says what kind of machine it is; a case file names it at the top."""


EXPECTATIONS = MappingProxyType(
    {
        "first": "cause",
        "first_three": "cause",
        "never": "cause",
        "cautions": "caution",
        "holds": "hold",
        "fires": "rule",
        "silent": "rule",
    }
)
"""What a pack's case may expect -> the kind of thing it names."""


@dataclass(frozen=True, slots=True)
class CaseFile:
    """A case as written: what was found, what was repaired with which result, and what is expected of it."""

    path: str
    title: str
    findings: Mapping[str, Given]
    repairs: Mapping[str, str] = field(default_factory=dict)
    first_three: tuple[str, ...] = ()
    source: str = ""

    @property
    def state(self) -> CaseState:
        """The case as if it had been walked so far."""
        repairs = tuple(RepairDone(cause, result, "") for cause, result in self.repairs.items())
        return CaseState(case=self.title, findings=self.findings, repairs=repairs)


@dataclass(frozen=True, slots=True)
class PackCase:
    """A pack's own case: what was found, and what must come of it (expectation -> the ids it names, with their places)."""

    path: str
    title: str
    findings: Mapping[str, Given]
    expects: Mapping[str, tuple[Text, ...]]

    @property
    def state(self) -> CaseState:
        """The case as if it had been walked so far."""
        return CaseState(case=self.title, findings=self.findings)


def read_case(path: Path, knowledge: Knowledge) -> CaseFile:
    """Return the case in a YAML file. Raises FaultyFiles with everything wrong in it."""
    name = str(path)
    root, problems = compose(read_text(path), name)
    if not problems and not isinstance(root, Table):
        problems = [Problem(Place(name), "a case file takes machine: and findings:")]
    if problems:
        raise FaultyFiles(problems)
    assert isinstance(root, Table)
    it = Fields(root, problems)
    title = it.text_or_none("title") or Text(path.stem, root.place)
    machine = it.node("machine")
    if machine is not None:
        it.plain(machine, "machine")
    findings = _findings(it, it.table_of("findings"), knowledge)
    if isinstance(machine, Text):
        findings |= _findings(it, Table(((Text(MACHINE, machine.place), machine),), machine.place), knowledge)
    case = CaseFile(
        path=name,
        title=str(title),
        findings=MappingProxyType(findings),
        repairs=MappingProxyType(_repairs(it, it.table_of("repairs", required=False), knowledge)),
        first_three=tuple(str(text) for text in _causes(it, it.ids("first_three"), knowledge)),
        source=str(it.text_or_none("source") or ""),
    )
    it.text_or_none("mark")
    it.text_or_none("argument")
    it.close()
    if problems:
        raise FaultyFiles(problems)
    return case


def read_pack_case(path: Path, knowledge: Knowledge) -> PackCase:
    """Return the case in a file of a pack's `cases` folder. Raises FaultyFiles with everything wrong in it."""
    name = str(path)
    root, problems = compose(read_text(path), name)
    if not problems and not isinstance(root, Table):
        problems = [Problem(Place(name), f"a case takes title:, input: and any of {', '.join(EXPECTATIONS)}")]
    if problems:
        raise FaultyFiles(problems)
    assert isinstance(root, Table)
    it = Fields(root, problems)
    case = PackCase(
        path=name,
        title=str(it.text("title")),
        findings=MappingProxyType(_findings(it, it.table_of("input"), knowledge)),
        expects=MappingProxyType(_expected(it, knowledge)),
    )
    it.close()
    if problems:
        raise FaultyFiles(problems)
    return case


def _expected(it: Fields, knowledge: Knowledge) -> dict[str, tuple[Text, ...]]:
    """A case that expects nothing, or a list that names nothing, would pass whatever the rules say."""
    shelves: Mapping[str, Mapping[str, object]] = {
        "cause": knowledge.causes,
        "caution": knowledge.cautions,
        "hold": knowledge.holds,
        "rule": knowledge.rules,
    }
    expects: dict[str, tuple[Text, ...]] = {}
    for key, kind in EXPECTATIONS.items():
        node = it.node(key)
        if node is None:
            continue
        names = expects[key] = it.texts(key)
        if isinstance(node, Items) and not names:
            it.wrong(node.place, f"'{key}' names no {kind}; name one, or take it out")
        for name in names:
            if name and name not in shelves[kind]:
                it.wrong(name.place, f"no {kind} is called '{name}'", likeliest(name, shelves[kind]))
    if not expects:
        it.wrong(it.table.place, f"this case expects nothing; add one of {', '.join(EXPECTATIONS)}")
    return expects


def _findings(it: Fields, table: Table | None, knowledge: Knowledge) -> dict[str, Given]:
    given: dict[str, Given] = {}
    for key, node in table or ():
        finding = knowledge.findings.get(key)
        if finding is None:
            it.wrong(key.place, f"no finding is called '{key}'", likeliest(key, knowledge.findings))
            continue
        text = it.plain(node, key)
        if text is None:
            continue
        try:
            given[str(key)] = understood(finding, text)
        except NotAReading as error:
            it.wrong(text.place, str(error), likeliest(text, finding.answers))
    return given


def understood(finding: Finding, text: str) -> Given:
    """Return the answer meant by an answer's id, or by a number where a number is asked. Raises NotAReading."""
    if text in finding.answers:
        return Given(str(text))
    if finding.measure is None:
        raise NotAReading(f"'{text}' is no answer of '{finding.id}'; it takes {', '.join(finding.answers)}")
    reading = parse_reading(text, finding.measure)
    return Given(str(finding.band(reading.value).id), reading.given)


def _repairs(it: Fields, table: Table | None, knowledge: Knowledge) -> dict[str, str]:
    repairs: dict[str, str] = {}
    for key, node in table or ():
        _causes(it, (key,), knowledge)
        text = it.plain(node, key)
        if text is not None:
            it.one_of(text, key, REPAIR_RESULTS)
            repairs[str(key)] = str(text)
    return repairs


def _causes(it: Fields, names: tuple[Text, ...], knowledge: Knowledge) -> tuple[Text, ...]:
    for name in names:
        if name not in knowledge.causes:
            it.wrong(name.place, f"no cause is called '{name}'", likeliest(name, knowledge.causes))
    return names
