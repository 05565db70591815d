"""A book as files: one JSON document, a folder of CSV tables, or a folder of case files in YAML."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from ..knowledge.source import FaultyFiles, Place, Problem
from .access import Book
from .checking import CARRIED, Checked
from .places import BookTrouble
from .rows import Row, Taken, rows_of, take_in
from .schema import SCHEMA, TABLES
from .writing import whole_file

FORMAT = "diagnose-book"
VERSION = 1

ROWS = re.compile(r'"rows"\s*:\s*\[')


def write_json(book: Book, path: Path) -> int:
    """Write the whole book as one JSON document, a row a line. Return how many rows. Raises BookTrouble."""
    written = 0
    with book.reading() as connection, whole_file(path) as sink:
        head = {"format": FORMAT, "version": VERSION, "tables": SCHEMA}
        sink.write(json.dumps(head)[:-1] + ', "rows": [')
        for table, row in _each(connection):
            said = {name: value for name, value in row.items() if value is not None}
            lead = ",\n" if written else "\n"
            sink.write(lead + json.dumps({"table": table, **said}, ensure_ascii=False))
            written += 1
        sink.write("\n]}\n")
    return written


def write_csv(book: Book, folder: Path) -> int:
    """Write every table as `TABLE.csv` in a folder, with the names of the columns first. Return how many rows."""
    written = 0
    texts: dict[str, io.StringIO] = {}
    with book.reading() as connection:
        for table, row in _each(connection):
            if table not in texts:
                texts[table] = io.StringIO(newline="")
                csv.writer(texts[table]).writerow(TABLES.tables[table].columns.keys())
            csv.writer(texts[table]).writerow(_spelt(value) for value in row.values())
            written += 1
    for table, text in texts.items():
        with whole_file(folder / f"{table}.csv") as sink:
            sink.write(text.getvalue())
    return written


def _spelt(value: Any) -> Any:
    """A text that a spreadsheet would take for a formula gets a mark before it; reading takes it off again."""
    return f"'{value}" if isinstance(value, str) and value[:1] in FORMULA else value


FORMULA = ("=", "+", "-", "@", "'", "\t")


def _each(connection: Connection) -> Iterator[tuple[str, Row]]:
    for batch in rows_of(connection):
        for table, rows in batch.items():
            for row in rows:
                yield table, row


def read_into(book: Book, path: Path) -> Taken:
    """Take a JSON document, a CSV table or a folder of them into the book, all or nothing.

    Raises FaultyFiles with everything wrong in them, BookTrouble when they or the book cannot be used.
    """
    checked = Checked()
    for file in _files(path):
        reader: Callable[[Path, Checked], None] = _read_json if file.suffix == ".json" else _read_csv
        reader(file, checked)
    with book.reading() as connection:
        checked.close(connection)
    if checked.problems:
        raise FaultyFiles(checked.problems)
    with book.writing() as connection:
        return take_in(connection, checked.rows)


def _files(path: Path) -> list[Path]:
    if not path.exists():
        raise BookTrouble(f"{path}: there is no such file or folder")
    if not path.is_dir():
        return [path]
    tables = [path / f"{table}.csv" for table in CARRIED]
    found = [table for table in tables if table.is_file()] or sorted(path.glob("*.json"))
    if not found:
        raise BookTrouble(f"{path}: holds neither a table of the book (such as machines.csv) nor a JSON document")
    return found


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise BookTrouble(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise FaultyFiles([Problem(Place(str(path)), "is not UTF-8 text; save it as UTF-8")]) from None


def _read_json(path: Path, checked: Checked) -> None:
    name, text = str(path), _text(path)
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        raise FaultyFiles([Problem(Place(name, error.lineno, error.colno), f"is no JSON: {error.msg}")]) from None
    except RecursionError:
        raise FaultyFiles([Problem(Place(name), "is nested too deep to be a book")]) from None
    if not isinstance(document, dict) or document.get("format") != FORMAT or not isinstance(document.get("rows"), list):
        raise FaultyFiles([Problem(Place(name), f'is no book: it needs "format": "{FORMAT}" and "rows"')])
    if not isinstance(document.get("version"), int) or document["version"] > VERSION:
        raise FaultyFiles([Problem(Place(name), "was written by a newer version of this program; update this one")])
    places = _places_of_rows(text, name, len(document["rows"]))
    for row, place in zip(document["rows"], places, strict=False):
        if not isinstance(row, dict) or not isinstance(row.get("table"), str):
            checked.problems.append(Problem(place, 'a row is {"table": ..., and its columns}'))
            continue
        table = row.pop("table")
        checked.add(table, row, lambda _, place=place: place)  # type: ignore[misc]


def _places_of_rows(text: str, name: str, many: int) -> Iterator[Place]:
    """Where each row of a document begins: it is read once more, row by row."""
    begins = ROWS.search(text)
    decoder, at, line, counted = json.JSONDecoder(), begins.end() if begins else 0, 1, 0
    for _ in range(many):
        while text[at] in " \t\r\n,":
            at += 1
        line += text.count("\n", counted, at)
        counted = at
        yield Place(name, line, at - text.rfind("\n", 0, at))
        _, at = decoder.raw_decode(text, at)


def _read_csv(path: Path, checked: Checked) -> None:
    name, table = str(path), path.stem
    if path.suffix != ".csv":
        raise BookTrouble(f"{path}: is neither .json nor .csv; YAML case files are taken in with their folder")
    reader = csv.reader(io.StringIO(_text(path), newline=""), strict=True)
    try:
        heads = next(reader, [])
        for cells in reader:
            line = reader.line_num
            if not cells:
                continue
            if len(cells) != len(heads):
                says = f"has {len(cells)} cells under {len(heads)} columns"
                checked.problems.append(Problem(Place(name, line), says))
                continue
            row = {head.strip(): _unspelt(cell) for head, cell in zip(heads, cells, strict=True)}
            checked.add(table, row, lambda column, line=line: Place(name, line, _column(heads, column)))  # type: ignore[misc]
    except csv.Error as error:
        raise FaultyFiles([Problem(Place(name, reader.line_num), f"is no CSV: {error}")]) from None


def _unspelt(cell: str) -> str:
    return cell[1:] if cell[:1] == "'" and cell[1:2] in FORMULA else cell


def _column(heads: list[str], column: str) -> int:
    """The number of a cell in its row: what a spreadsheet counts as columns."""
    return heads.index(column) + 1 if column in heads else 1
