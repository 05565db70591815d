"""What must hold of every pack, case file and case log, whatever is in it: each reader as one function of bytes.

Nothing but the reader's own fault is raised; what is said is one line a problem, without a character that steers a
terminal; what is read can be reasoned with, walked and printed; no page holds a script.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path

from diagnose.case.casefile import read_case, read_pack_case
from diagnose.case.log import LogTrouble, read_log
from diagnose.case.state import CaseState, Given, replay
from diagnose.clubrules import picture, pit_card, showing
from diagnose.knowledge.checked import check, document, lines
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import load
from diagnose.knowledge.source import FaultyFiles
from diagnose.planning.examine import as_known_today, examine
from diagnose.planning.lifting import behind
from diagnose.planning.needles import baseless, places_unknown
from diagnose.report.fault_report import fault_report
from diagnose.report.files import as_html, as_markdown
from diagnose.shell import screens

BENCH = Path(__file__).parents[1] / "packs" / "bench"
PACK = "pack: strange\nname: A strange pack\nversion: 0.1\nauthor: nobody\n"


@lru_cache(maxsize=1)
def bench() -> Knowledge:
    return load([BENCH])


@lru_cache(maxsize=1)
def _room() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory()


def file_of(name: str, data: bytes) -> Path:
    """A file in a folder of its own that is gone when the program ends."""
    path = Path(_room().name) / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    return path


def read_as_pack(data: bytes) -> None:
    """A pack with this file of entries, upon the bench pack."""
    file_of("strange/pack.yaml", PACK.encode())
    folder = file_of("strange/rules.yaml", data).parent
    found = check([BENCH, folder])
    assert_printable(lines(found))
    document(found)
    if not found.errors:
        _use(found.knowledge)


def read_as_head(data: bytes) -> None:
    """A pack whose pack.yaml this is."""
    file_of("head/rules.yaml", b"- need: strange\n  name: strange\n")
    folder = file_of("head/pack.yaml", data).parent
    assert_printable(lines(check([BENCH, folder])))


def read_as_case(data: bytes) -> None:
    """A case file, and a case of a pack."""
    path = file_of("case.yaml", data)
    for read in (read_case, read_pack_case):
        try:
            case = read(path, bench())
        except FaultyFiles as faulty:
            assert_printable(map(str, faulty.problems))
        else:
            assert_printable([case.title])
            _ = examine(bench(), case.state).next


def read_as_log(data: bytes) -> None:
    """A case log, and the report of the case."""
    try:
        recovered = read_log(file_of("case.jsonl", data))
    except LogTrouble as trouble:
        assert_printable([str(trouble)])
        return
    state = as_known_today(bench(), replay(recovered.events))
    seen = examine(bench(), state)
    report = fault_report(bench(), state, seen, "diagnose")
    assert_printable(as_markdown(report).splitlines())
    assert_harmless(as_html(report))
    assert_printable(
        line for line, _ in screens.ledger(state.needles, places_unknown(bench(), state), baseless(state), True, 40)
    )


def _use(knowledge: Knowledge) -> None:
    """Answer everything one way and the other, and print all pages."""
    for place in (0, -1):
        answers = {name: Given(list(finding.answers)[place]) for name, finding in knowledge.findings.items()}
        state = CaseState(case="1", findings=answers)
        seen = examine(knowledge, state)
        _ = seen.next
        for hold in seen.conclusions.holds:
            behind(knowledge, seen.conclusions, hold)
        report = fault_report(knowledge, state, seen, "diagnose")
        assert_printable(as_markdown(report).splitlines())
        assert_harmless(as_html(report))
        assert_printable(line for line, _ in screens.standing(seen, 40))
    strange = knowledge.packs[-1]
    for _, shelf in showing.SHELVES.items():
        for name, entry in getattr(knowledge, shelf).items():
            if strange.wrote(entry.id.place):
                assert_printable(line for sheet in showing.sheets(knowledge, name) for line in showing.lines(sheet))
    assert_harmless(picture.as_html(picture.picture(knowledge, strange)))
    complaints = pit_card.main_symptoms(knowledge)[:1]
    assert_harmless(pit_card.as_html(knowledge, [pit_card.card(knowledge, *one) for one in complaints], "diagnose"))


def assert_printable(said: Iterable[str]) -> None:
    for line in said:
        assert line.isprintable(), repr(line)


class _Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [(tag, "", ""), *((tag, name, value or "") for name, value in attrs)]


def assert_harmless(page: str) -> None:
    """No element or attribute of the page runs anything or fetches anything."""
    reader = _Elements()
    reader.feed(page)
    for tag, name, value in reader.found:
        assert tag not in ("script", "iframe", "object", "embed", "link", "base", "form"), tag
        assert not name.startswith("on"), name
        assert name not in ("src", "srcset", "action") and "javascript:" not in value.lower(), (name, value)
    assert all(line.isprintable() for line in page.split("\n")), "a hidden character in the page"


READERS = {"pack": read_as_pack, "head": read_as_head, "case": read_as_case, "log": read_as_log}
