"""A glance into a book in a file before the first question: which machines does it know?

This one look does without the database library, which takes a quarter of a second to load; Python's own sqlite3 takes
five milliseconds. Whatever is wrong with the book is said later, by those who open it.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

_LAST_SEEN = """
    SELECT name FROM machines
    ORDER BY coalesce((SELECT max(closed) FROM cases WHERE cases.machine = machines.uid), '') DESC, name
"""


def machine_names(file: Path) -> list[str]:
    """Return the names of the machines, those that had a case last first; none where there is no book to read."""
    if not file.is_file():
        return []
    try:
        with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True, timeout=1)) as connection:
            return [name for (name,) in connection.execute(_LAST_SEEN)]
    except sqlite3.Error:
        return []
