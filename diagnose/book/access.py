"""Opening a book: a file, or a database on a PostgreSQL server. Everything that can go wrong on the way is said in one
line, without a password."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from . import migrations
from .places import BookTrouble, NoBook, on_server
from .schema import SCHEMA, TABLES, book
from .writing import whole

WAITS = 20
"""Seconds a writer waits for another to finish."""

REACHED_WITHIN = 3
"""Seconds to reach a server before the walk goes on without it."""

DRIVER = "postgresql+psycopg"

TURN = 0x646961676E
"""Key of the server's lock that writers hold: they take turns, as they do in a file."""

NEW = 0
"""Version of a book that has no tables yet."""


def utc_now() -> str:
    """Return the time now in UTC, to the microsecond, so that of two changes the later is known."""
    return datetime.now(timezone.utc).isoformat(timespec="microseconds")


def _url(chosen: str) -> URL:
    try:
        url = make_url(chosen)
    except (ArgumentError, ValueError):
        raise BookTrouble("the address of the book is no URL; write for instance postgresql://ROLE@HOST/DATABASE") from None
    if url.get_backend_name() != "postgresql":
        raise BookTrouble(f"a book is a file, or postgresql://ROLE@HOST/DATABASE; not '{url.drivername[:40]}'")
    return url.set(drivername=DRIVER)


@dataclass(frozen=True, eq=False)
class Book:
    """An open book. `place` is its file or address, fit to be shown."""

    engine: Engine
    place: str
    file: Path | None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the book throughout."""
        with _said(self.place), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection whose changes are kept all together at the end, or not at all. Writers take turns."""
        with _said(self.place), self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            yield connection

    def close(self) -> None:
        with suppress(SQLAlchemyError, sqlite3.Error):
            self.engine.dispose()

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def open_book(chosen: str, make: bool = False, password: Callable[[str], str] | None = None) -> Book:
    """Open the book at a file or URL as `where` gives it.

    make: begin a new book where there is none; otherwise NoBook is raised. password: asks the person for the password
    of a role when the server wants one. An older book is migrated, with a copy kept beside it; a newer one is refused.
    """
    opened = _on_server(_url(chosen), password) if on_server(chosen) else _in_file(Path(chosen), make)
    try:
        _ready(opened, make)
    except BaseException:
        opened.close()
        raise
    return opened


def _in_file(path: Path, make: bool) -> Book:
    if path.is_dir():
        raise BookTrouble(f"{path}: is a folder; name the file of the book")
    if not path.exists():
        if not make:
            raise NoBook(f"{path}: there is no book yet; it begins with the first closed case, or with diagnose book add")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BookTrouble(f"{path}: cannot be written: {error.strerror or error}") from None
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": WAITS})

    @event.listens_for(engine, "connect")
    def settle(connection: Any, _: object) -> None:
        connection.isolation_level = None  # Transactions begin where `begin` below says, not where the driver guesses.
        for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL", "secure_delete=ON"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer takes its turn at once: one that first reads and then writes could be refused for having read old rows.
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return Book(engine, str(path), path)


def _on_server(url: URL, password: Callable[[str], str] | None) -> Book:
    try:
        import psycopg  # noqa: F401  # an optional extra: only a club with a server needs it
    except ImportError:
        raise BookTrouble("a book on a server needs one package more: pip install 'diagnose[postgresql]'") from None
    shown = url.set(drivername="postgresql", query={}).render_as_string(hide_password=True)
    engine = _engine_on_server(url)
    try:
        engine.connect().close()
    except SQLAlchemyError as error:
        if password is None or "no password supplied" not in str(error):
            raise BookTrouble(_server_says(shown, error)) from None
        typed = password(f"Password of {url.username or 'the role'} at {url.host or 'this machine'}: ")
        engine = _engine_on_server(url.set(password=typed))
    return Book(engine, shown, None)


def _engine_on_server(url: URL) -> Engine:
    engine = create_engine(
        url, connect_args={"connect_timeout": REACHED_WITHIN, "application_name": "diagnose"}, hide_parameters=True
    )

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # Writers take turns, as in a file; whoever reads sees one state of the book throughout.
        if connection.get_execution_options().get("writes"):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{WAITS}s'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({TURN})")
        else:
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")

    return engine


def _ready(opened: Book, make: bool) -> None:
    """Make the tables of a new book, migrate an old one, refuse a newer one and what is no book."""
    with opened.reading() as connection:
        version = _version(connection, opened.place)
    if version == SCHEMA:
        return
    if version > SCHEMA:
        raise BookTrouble(
            f"{opened.place}: written by a newer version of this program (tables {version}, here {SCHEMA});"
            " update this program to use it"
        )
    if version == NEW and not make:
        raise NoBook(
            f"{opened.place}: there is no book yet; it begins with the first closed case, or with diagnose book add"
        )
    if version != NEW and opened.file is not None:
        keep_aside(opened.file, f"before-tables-{version + 1}")
    with opened.writing() as connection:
        version = _version(connection, opened.place)  # another program may have been faster
        if version == NEW:
            TABLES.create_all(connection)
            connection.execute(book.insert().values(place=1, schema=SCHEMA, made=utc_now()))
        elif version < SCHEMA:
            migrations.migrate(connection, version)
            connection.execute(book.update().values(schema=SCHEMA))


def _version(connection: Connection, place: str) -> int:
    """The version of the tables; NEW where there is no table at all."""
    tables = set(inspect(connection).get_table_names())
    if "book" in tables:
        version = connection.execute(select(book.c.schema)).scalar_one_or_none()
        if version is not None:
            return int(version)
    elif tables.isdisjoint(TABLES.tables) and (not tables or connection.dialect.name == "postgresql"):
        return NEW
    raise BookTrouble(f"{place}: is no book of this program; name another with --book")


def keep_aside(file: Path, ending: str) -> Path:
    """Copy a book in a file, while it is in use, to a file beside it; return that. Raises BookTrouble."""
    kept = free_name(file.with_name(f"{file.name}.{ending}"))
    copy_file(file, kept)
    return kept


def free_name(path: Path) -> Path:
    """Return this path, or the first with a number after it that is not taken."""
    number = 1
    free = path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.name}-{number}")
    return free


def copy_file(file: Path, copy: Path) -> None:
    """Copy a book while others may be writing to it: SQLite's own online copy, whole or not at all. Raises BookTrouble."""
    with whole(copy) as unfinished, _said(str(copy)), _raw(file) as source, _raw(unfinished) as target:
        source.backup(target)
        target.execute("PRAGMA journal_mode=DELETE").close()  # one file, without a write-ahead log beside it


@contextmanager
def _raw(file: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(file, timeout=WAITS)
    try:
        yield connection
    finally:
        connection.close()


@contextmanager
def _said(place: str) -> Iterator[None]:
    """Whatever a database says is said in one line, with what to do."""
    try:
        yield
    except sqlite3.Error as error:
        raise BookTrouble(_file_says(place, str(error))) from None
    except SQLAlchemyError as error:
        cause = getattr(error, "orig", None)
        if isinstance(cause, sqlite3.Error):
            raise BookTrouble(_file_says(place, str(cause))) from None
        raise BookTrouble(_server_says(place, error)) from None


_FILE_TROUBLES = (
    (
        ("malformed", "not a database", "disk image"),
        "is damaged; bring the last copy back with: diagnose book restore COPY; without one, move the file away:"
        " the next start begins a new book from the closed cases on this machine",
    ),
    (("locked", "busy"), "another program is writing in it; try again in a moment"),
    (("full",), "the disk is full; nothing of this was kept, and all that was there before is whole: free some space"),
    (("readonly", "read-only"), "cannot be written: no permission; ask whose file it is, or name another with --book"),
    (("unable to open",), "cannot be opened; look at its folder and permissions, or name another with --book"),
    (("disk I/O",), "the disk cannot keep it; nothing of this was kept, what was there before is whole: free some space"),
)


def _file_says(place: str, error: str) -> str:
    for words, meaning in _FILE_TROUBLES:
        if any(word in error for word in words):
            return f"{place}: {meaning}"
    return f"{place}: {error.splitlines()[0]}"


def _server_says(place: str, error: SQLAlchemyError) -> str:
    """The server's own first line. It names roles and hosts, never a password."""
    cause = getattr(error, "orig", None) or error
    said = [line.strip() for line in str(cause).splitlines() if line.strip()] or [type(cause).__name__]
    return f"{place}: {said[0]}"
