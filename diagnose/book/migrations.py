"""How an older book becomes one of today: numbered steps, each from one version of the tables to the next.

Our own few lines and not alembic: a book is opened by a program that must migrate it at once, at the pits, by itself.
There is one line of versions and no branch, all steps run in one transaction (SQLite and PostgreSQL both take table
changes into it), and the number stands in the book. Alembic's folder of scripts and its settings would add a second
place that says the same. A step never changes once a version has been out; it says in its own words what the tables
were to become, because `schema` goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlalchemy import Connection, text


def _count_answers(connection: Connection) -> None:
    """Version 2 counts the answers of confirmed cases by cause."""
    connection.execute(
        text(
            "CREATE TABLE answer_tallies (cause TEXT NOT NULL, finding TEXT NOT NULL, answer TEXT NOT NULL,"
            " cases INTEGER NOT NULL, PRIMARY KEY (cause, finding, answer))"
            + (" WITHOUT ROWID" if connection.dialect.name == "sqlite" else "")
        )
    )
    connection.execute(
        text(
            "INSERT INTO answer_tallies (cause, finding, answer, cases)"
            " SELECT c.cause, f.finding, f.answer, count(*) FROM causes_found c"
            ' JOIN case_findings f ON f."case" = c."case" JOIN cases k ON k.uid = c."case"'
            " WHERE k.confirmed <> 'no'"
            ' AND (SELECT count(*) FROM causes_found o WHERE o."case" = c."case") = 1'
            " GROUP BY c.cause, f.finding, f.answer"
        )
    )


STEPS: Mapping[int, Callable[[Connection], None]] = {1: _count_answers}
"""Version -> the step that leads from it to the next."""


def migrate(connection: Connection, version: int) -> None:
    """Run every step from `version` on, within the connection's transaction."""
    while version in STEPS:
        STEPS[version](connection)
        version += 1
