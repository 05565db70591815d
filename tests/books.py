"""What the tests of the book share: a place for a book, in a file and on a server; and an invented club's entries."""

import os
import secrets
from collections import Counter
from collections.abc import Iterator
from importlib.util import find_spec

from sqlalchemy import Connection, create_engine, select, text
from sqlalchemy.engine import make_url

from diagnose.book.access import Book
from diagnose.book.rows import Row, Rows, take_in, uid_of
from diagnose.book.schema import case_findings, cases, causes_found

SERVER = os.environ.get("DIAGNOSE_TEST_POSTGRES", "") if find_spec("psycopg") else ""
"""Address of a PostgreSQL server for the tests; `.ci/postgres` starts one."""

PASSWORD = os.environ.get("PGPASSWORD")

NO_SERVER = "no PostgreSQL for the tests: no psycopg, or no DIAGNOSE_TEST_POSTGRES (.ci/postgres starts one)"

EARLY = "2026-04-01T08:00:00.000000+00:00"


def place_on_server() -> Iterator[str]:
    """A place for one book on the server, away from all others, and gone afterwards."""
    name = f"book_{secrets.token_hex(6)}"
    address = make_url(SERVER).set(drivername="postgresql+psycopg", password=PASSWORD)
    server = create_engine(address, isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.execute(text(f"CREATE SCHEMA {name}"))
    yield f"{SERVER}{'&' if '?' in SERVER else '?'}options=-csearch_path%3D{name}"
    with server.connect() as connection:
        connection.execute(text(f"DROP SCHEMA {name} CASCADE"))
    server.dispose()


def machine(name: str, owner: str | None = None, kind: str = "helicopter") -> Row:
    """An invented machine."""
    of = uid_of("owner", owner) if owner else None
    return {"uid": uid_of("machine", name), "name": name, "kind": kind, "owner": of, "changed": EARLY}


def case(
    number: int, cause: str, on: str | None = None, kind: str = "helicopter", closed: str = "2026-05-01", **other: str
) -> Rows:
    """An invented closed case, proved by a retest."""
    uid = uid_of("case", str(number))
    at = f"{closed}T10:00:00+02:00"
    row = {
        "uid": uid, "name": f"{closed}-{number}", "machine": uid_of("machine", on) if on else None, "kind": kind,
        "opened": at, "closed": at, "how": "found", "confirmed": "retest", "minutes": 30.0, "words": "it hunts",
        "packs": "base 1.0.0", "changed": f"{closed}T08:00:00.000000+00:00",
    }  # fmt: skip
    found = {"machine": kind, "idle": "hunts", **other}
    return {
        "cases": [row],
        "case_findings": [{"case": uid, "finding": name, "answer": answer} for name, answer in found.items()],
        "causes_found": [{"case": uid, "place": 1, "cause": cause}],
        "fixes": [{"case": uid, "place": 1, "cause": cause, "result": "gone", "at": at}],
        "proofs": [{"case": uid, "place": 1, "cause": cause, "says": "a steady idle", "at": at}],
    }


def owner(call_sign: str) -> Row:
    return {"uid": uid_of("owner", call_sign), "call_sign": call_sign, "changed": EARLY}


def fill(book: Book, *rows: Rows) -> None:
    with book.writing() as connection:
        for some in rows:
            take_in(connection, some)


def recounted(connection: Connection) -> dict[tuple[str, str, str], int]:
    """(cause, finding, answer) -> confirmed cases with that one cause, counted one by one."""
    causes: dict[str, list[str]] = {}
    for row in connection.execute(select(causes_found)):
        causes.setdefault(row.case, []).append(row.cause)
    confirmed = {row.uid for row in connection.execute(select(cases)) if row.confirmed != "no"}
    return dict(
        Counter(
            (causes[row.case][0], row.finding, row.answer)
            for row in connection.execute(select(case_findings))
            if row.case in confirmed and len(causes.get(row.case, ())) == 1
        )
    )


def everything(book: Book) -> dict[str, list[Row]]:
    """All rows of a book by table, to compare books."""
    from diagnose.book.rows import rows_of

    whole: dict[str, list[Row]] = {}
    with book.reading() as connection:
        for batch in rows_of(connection):
            for table, rows in batch.items():
                whole.setdefault(table, []).extend(rows)
    return {table: sorted(rows, key=str) for table, rows in whole.items() if rows}
