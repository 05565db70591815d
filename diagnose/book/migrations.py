"""How an older book becomes one of today: numbered steps, each from one version of the tables to the next.

Our own few lines and not alembic: a book is opened by a program that must migrate it at once, at the pits, by itself.
There is one line of versions and no branch, all steps run in one transaction (SQLite and PostgreSQL both take table
changes into it), and the number stands in the book. Alembic's folder of scripts and its settings would add a second
place that says the same. A step never changes once a version has been out; it says in its own words what the tables
were to become, because `schema` goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlalchemy import Connection

STEPS: Mapping[int, Callable[[Connection], None]] = {}
"""Version -> the step that leads from it to the next."""


def migrate(connection: Connection, version: int) -> None:
    """Run every step from `version` on, within the connection's transaction."""
    while version in STEPS:
        STEPS[version](connection)
        version += 1
