"""Cases of the book as case files in YAML, for `diagnose rank`, for the tests of a pack, and back into a book."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import yaml

from ..case.casefile import MACHINE, CaseFile, read_case
from ..knowledge.model import Knowledge
from ..knowledge.source import FaultyFiles, Place, Problem
from .access import Book, utc_now
from .closed import in_utc, reading_value
from .rows import Row, Rows, Taken, rows_of, take_in, uid_of
from .writing import whole_file

SOURCE = "the book, case {uid}, closed {closed}"
"""The source of a case file that comes from a book, by which it is known again."""

_FROM_BOOK = re.compile(r"the book, case ([0-9a-f]{20}), closed (\S+)")


def write_cases(book: Book, folder: Path, knowledge: Knowledge) -> int:
    """Write every case of the book as a case file; return how many. No name, word or note of a person is in them.

    What today's rules no longer ask is left out. Raises BookTrouble.
    """
    written = 0
    with book.reading() as connection:
        for batch in rows_of(connection):
            for case in batch.get("cases", ()):
                parts = {
                    name: [row for row in rows if row["case"] == case["uid"]]
                    for name, rows in batch.items()
                    if name != "cases"
                }
                with whole_file(folder / f"{case['name']}-{case['uid'][:6]}.yaml") as sink:
                    yaml.safe_dump(_case_file(case, parts, knowledge), sink, sort_keys=False, allow_unicode=True)
                written += 1
    return written


def _case_file(case: Row, parts: Rows, knowledge: Knowledge) -> dict[str, Any]:
    findings = {
        row["finding"]: row["reading"] or row["answer"]
        for row in parts["case_findings"]
        if row["finding"] in knowledge.findings and row["answer"] in knowledge.findings[row["finding"]].answers
    }
    repairs = {row["cause"]: row["result"] for row in parts["fixes"] if row["cause"] in knowledge.causes}
    found = [row["cause"] for row in parts["causes_found"] if row["cause"] in knowledge.causes]
    said = {
        "title": case["name"],
        "source": SOURCE.format(**case),
        "machine": findings.pop(MACHINE, None),
        "findings": findings,
        "repairs": repairs,
        "first_three": found if case["confirmed"] != "no" else [],
    }
    return {key: value for key, value in said.items() if value or key == "findings"}


def read_cases(book: Book, files: Sequence[Path], knowledge: Knowledge) -> Taken:
    """Take case files into the book as closed cases, all or nothing. Raises FaultyFiles with everything wrong in them.

    The cause of a case is what its repairs say was put right: `gone`, and `better` before it. Without one it stays
    undecided, whatever `first_three` expects of the rules.
    """
    problems: list[Problem] = []
    rows: dict[str, list[Row]] = {}
    for path in files:
        try:
            case = read_case(path, knowledge)
        except FaultyFiles as faulty:
            problems += faulty.problems
            continue
        if not case.findings:
            problems.append(Problem(Place(str(path)), "a case without findings tells the book nothing"))
        for name, some in _rows(case, knowledge).items():
            rows.setdefault(name, []).extend(some)
    if problems:
        raise FaultyFiles(problems)
    with book.writing() as connection:
        return take_in(connection, rows)


def _rows(case: CaseFile, knowledge: Knowledge) -> Rows:
    answers = {name: given.answer for name, given in case.findings.items()}
    uid, at = _known_by(case)
    causes = [cause for cause, result in case.repairs.items() if result in ("better", "gone")]
    confirmed = "gone" in case.repairs.values()
    row = {
        "uid": uid, "name": case.title[:60], "kind": answers.get(MACHINE), "opened": at, "closed": at,
        "how": "found" if confirmed else "undecided", "confirmed": "retest" if confirmed else "no",
        "words": "", "packs": "", "changed": in_utc(at),
    }  # fmt: skip
    return {
        "cases": [row],
        "case_findings": [
            {
                "case": uid, "finding": name, "answer": given.answer, "reading": given.reading,
                "value": reading_value(knowledge, name, given.reading),
            }
            for name, given in case.findings.items()
        ],
        "causes_found": [
            {"case": uid, "place": n, "cause": cause} for n, cause in enumerate(causes if confirmed else [], 1)
        ],
        "fixes": [
            {"case": uid, "place": n, "cause": cause, "result": result, "at": at}
            for n, (cause, result) in enumerate(case.repairs.items(), 1)
        ],
    }  # fmt: skip


def _known_by(case: CaseFile) -> tuple[str, str]:
    """The uid and the time of closing: those it had in its book, else of what it says and now."""
    from_book = _FROM_BOOK.fullmatch(case.source)
    if from_book:
        with suppress(ValueError, OverflowError):
            in_utc(from_book[2])
            return from_book[1], from_book[2]
    said = (f"{name}={given.answer} {given.reading or ''}" for name, given in sorted(case.findings.items()))
    put_right = (f"{cause}={result}" for cause, result in sorted(case.repairs.items()))
    return uid_of("case", case.title, case.source, *said, *put_right), utc_now()
