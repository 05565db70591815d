"""Answers counted by cause, in the same transaction as the cases they come from.

Two million answers of a hundred thousand cases take seconds to count; these sums take milliseconds to read. They are
exactly what the cases would give, whatever was added, corrected or removed on the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Select, delete, func, select
from sqlalchemy.dialects import postgresql, sqlite

from .schema import answer_tallies, case_findings, cases, causes_found

AT_ONCE = 500


def count(connection: Connection, uids: Sequence[str]) -> None:
    """Add the answers of these cases, as far as they are confirmed and had one cause."""
    _add(connection, uids, 1)


def uncount(connection: Connection, uids: Sequence[str]) -> None:
    """Take the answers of these cases off, before they change or go."""
    _add(connection, uids, -1)


def _add(connection: Connection, uids: Sequence[str], sign: int) -> None:
    for begin in range(0, len(uids), AT_ONCE):
        some = uids[begin : begin + AT_ONCE]
        rows = [
            {"cause": cause, "finding": finding, "answer": answer, "cases": sign * many}
            for cause, finding, answer, many in connection.execute(_counted(some))
        ]
        if rows:
            statement: Any = _upsert(connection)(answer_tallies)
            statement = statement.on_conflict_do_update(
                index_elements=["cause", "finding", "answer"],
                set_={"cases": answer_tallies.c.cases + statement.excluded["cases"]},
            )
            connection.execute(statement, rows)
    if uids and sign < 0:
        connection.execute(delete(answer_tallies).where(answer_tallies.c["cases"] <= 0))


def _upsert(connection: Connection) -> Any:
    return postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert


def _counted(uids: Sequence[str]) -> Select[Any]:
    """The answers of these cases, counted."""
    of_these = causes_found.c.case.in_(uids)
    with_one_cause = select(causes_found.c.case).where(of_these).group_by(causes_found.c.case).having(func.count() == 1)
    return (
        select(causes_found.c.cause, case_findings.c.finding, case_findings.c.answer, func.count())
        .join(case_findings, case_findings.c.case == causes_found.c.case)
        .join(cases, cases.c.uid == causes_found.c.case)
        .where(cases.c.confirmed != "no", of_these, causes_found.c.case.in_(with_one_cause))
        .group_by(causes_found.c.cause, case_findings.c.finding, case_findings.c.answer)
    )


def kept(connection: Connection) -> dict[tuple[str, str, str], int]:
    """Return (cause, finding, answer) -> confirmed cases, as the tallies have it."""
    return {(row.cause, row.finding, row.answer): row.cases for row in connection.execute(select(answer_tallies))}
