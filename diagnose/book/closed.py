"""A closed case as rows of the book, from its log."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, select

from ..case.casefile import MACHINE
from ..case.ledger import stands
from ..case.log import LogTrouble, logs_in, read_log
from ..case.readings import number_of
from ..case.state import CaseState, Event, replay
from ..knowledge.model import Knowledge
from ..knowledge.setup_model import NEEDLES
from ..planning.needles import trusted
from .access import Book
from .rows import AT_ONCE, UID_LENGTH, Rows, Taken, take_in, uid_of
from .schema import cases, removed
from .weather import weather_in

LONG_PAUSE = 90.0
"""Minutes between two entries of a log past which nobody was at work: another day. A judgement; long fixes are shorter."""

UNNAMED = ""
"""Time of change of a machine that a case alone speaks of: whatever else is known of it was written later."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of the logs of a folder: rows taken in, and what was wrong with logs that could not be read."""

    taken: Taken
    troubles: tuple[str, ...] = ()


def keep_closed(book: Book, folder: Path, knowledge: Knowledge, most: int | None = None) -> Kept:
    """Take every closed case of a folder into the book, or those of the newest logs; what is there already stays as it is.

    A case whose walk was cut off after its closing comes in here, at the next start. Raises BookTrouble.
    """
    newest = logs_in(folder)[:most]
    marks = {path: mark(path) for path in newest}
    with book.reading() as connection:
        known = {uid for table in (cases, removed) for uid in _among(connection, table, list(marks.values()))}
    taken, troubles = Taken(), []
    for path in (path for path in newest if marks[path] not in known):
        try:
            rows = case_rows(path, knowledge)
        except LogTrouble as trouble:
            troubles.append(str(trouble))
            continue
        if rows:
            with book.writing() as connection:
                taken += take_in(connection, rows)
    return Kept(taken, tuple(troubles))


def mark(path: Path) -> str:
    """The uid of the case in a whole log; of an open one a mark that no book knows."""
    try:
        return _hashed(path.read_bytes())
    except OSError:
        return ""


def _hashed(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:UID_LENGTH]


def _among(connection: Connection, table: Table, uids: list[str]) -> Iterator[str]:
    for begin in range(0, len(uids), AT_ONCE):
        yield from connection.scalars(select(table.c.uid).where(table.c.uid.in_(uids[begin : begin + AT_ONCE])))


def case_rows(path: Path, knowledge: Knowledge) -> Rows | None:
    """Return the case in a log as rows, or None while it is open. Raises LogTrouble when it cannot be read."""
    recovered = read_log(path)
    state = replay(recovered.events)
    if state.closing is None:
        return None
    try:
        uid = _hashed(path.read_bytes()[: recovered.whole])
        return rows_of_case(state, recovered.events, uid, knowledge)
    except OSError as error:
        raise LogTrouble(f"{path}: cannot be read: {error.strerror or error}") from None
    except (ValueError, TypeError, OverflowError):
        raise LogTrouble(f"{path}:1:1: a time in this case log is no time; it stays out of the book") from None


def rows_of_case(state: CaseState, events: Sequence[Event], uid: str, knowledge: Knowledge) -> Rows:
    """Return a closed case as rows, with its machine, its needle settings and its notes."""
    closing = state.closing
    assert closing is not None
    answers = state.answers
    machine = uid_of("machine", state.machine) if state.machine else None
    case = {
        "uid": uid,
        "name": state.case,
        "machine": machine,
        "kind": answers.get(MACHINE),
        "opened": state.opened,
        "closed": closing.at,
        "how": closing.how,
        "confirmed": "retest" if proved(state) else "no",
        "minutes": minutes_at_work(events),
        "words": "; ".join(state.words),
        "packs": ", ".join(map(str, state.packs)),
        "changed": in_utc(closing.at),
    }
    known = {"uid": machine, "name": state.machine, "kind": answers.get(MACHINE), "owner": None, "changed": UNNAMED}
    return {
        "machines": [known] if machine else [],
        "cases": [case],
        "case_findings": [
            {
                "case": uid, "finding": name, "answer": given.answer, "reading": given.reading,
                "value": reading_value(knowledge, name, given.reading),
            }
            for name, given in state.as_found.items()
        ],
        "causes_found": [{"case": uid, "place": n, "cause": cause} for n, cause in enumerate(closing.causes, 1)],
        "fixes": [
            {"case": uid, "place": n, "cause": done.cause, "result": done.result, "at": done.at}
            for n, done in enumerate(state.repairs, 1)
        ],
        "proofs": [
            {"case": uid, "place": n, "cause": done.cause, "says": done.proof, "at": done.at}
            for n, done in enumerate(state.repairs, 1)
            if done.proof
        ],
        "settings": _settings(knowledge, state, machine, uid, closing.at),
        **_recordings(state, machine, uid),
        "notes": [
            {
                "uid": uid_of("note", uid, str(n)), "machine": machine, "case": uid, "at": at, "text": text,
                "changed": in_utc(at),
            }
            for n, (at, text) in enumerate(state.notes, 1)
        ],
    }  # fmt: skip


def proved(state: CaseState) -> bool:
    """True when a repair of a cause it was closed with ended the fault, or the owner agreed that nothing was wrong."""
    return any(done.result == "gone" and done.cause in state.closed_with for done in state.repairs)


def _settings(knowledge: Knowledge, state: CaseState, machine: str | None, uid: str, at: str) -> list[dict[str, Any]]:
    """Where the needles stood when the case was closed, as far as it is known, and the air of the day where the bench was
    told."""
    entries = trusted(knowledge, state)
    places = {needle: stands(entries, needle) for needle in NEEDLES}
    if machine is None or not any(places.values()):
        return []
    counted = {f"{needle.lower()}_sixteenths": place.now if place else None for needle, place in places.items()}
    reckoned = next((dict(done.inputs) for done in reversed(state.bench) if done.calculator == "air"), {})
    row = {"uid": uid_of("setting", uid), "machine": machine, "case": uid, "at": at, **counted, "changed": in_utc(at)}
    return [{**row, **weather_in(reckoned)}]


def _recordings(state: CaseState, machine: str | None, uid: str) -> Rows:
    """The recordings that were listened to in a case, and what was measured in each."""
    rows, results = [], []
    for number, heard in enumerate(state.recordings, 1):
        recording = uid_of("recording", uid, str(number))
        known = {"uid": recording, "machine": machine, "case": uid, "at": heard.at, "file": heard.name}
        rows.append({**known, "changed": in_utc(heard.at)})
        for text in heard.results:
            name, _, said = text.partition("=")
            value, _, unit = said.partition(" ")
            with suppress(ValueError):  # what is no number is no result
                results.append({"recording": recording, "name": name, "value": float(value), "unit": unit})
    return {"recordings": rows, "recording_results": results}


def reading_value(knowledge: Knowledge, name: str, reading: str | None) -> float | None:
    """Return a reading in the unit of its question, or None where today's rules ask for no such number."""
    finding = knowledge.findings.get(name)
    return number_of(reading, finding.measure) if finding else None


def minutes_at_work(events: Sequence[Event]) -> float:
    """Return the minutes from the opening to the closing of a case, without pauses in which nobody was at work."""
    times = [datetime.fromisoformat(event.at) for event in events]
    gaps = [(after - before).total_seconds() / 60 for before, after in zip(times, times[1:], strict=False)]
    return round(sum(gap for gap in gaps if 0 <= gap <= LONG_PAUSE), 1)


def in_utc(at: str) -> str:
    """The same time in UTC, as times of change are written. Raises ValueError or OverflowError when there is none."""
    return datetime.fromisoformat(at).astimezone(timezone.utc).isoformat(timespec="microseconds")
