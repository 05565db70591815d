"""The tables of the book, column by column. `diagnose book schema` prints this page; PostgreSQL keeps the comments.

Rows are named by a `uid` that two books give to the same thing: a hash of what it is called, of the case's log, or a
number by chance. So rows travel between books as they are, and taking them in twice makes no double.
Times are as people write them, `2026-05-01T10:00:00+02:00`; `changed` is in UTC, so that the later of two is known.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Column, Float, ForeignKey, Index, Integer, MetaData, Table, Text

SCHEMA = 2
"""Version of these tables. A change wants a migration in `migrations`, and a new number here."""

CONFIRMED = ("retest", "person", "no")
"""How the cause of a case was confirmed. Only what is confirmed is learnt from."""

TABLES = MetaData()


def _uid(comment: str) -> Column[str]:
    return Column("uid", Text, primary_key=True, comment=comment)


def _changed() -> Column[str]:
    return Column("changed", Text, nullable=False, comment="when this row was last written or corrected, UTC")


def _of(name: str, table: str, comment: str, needed: bool = True) -> Column[str]:
    return Column(name, Text, ForeignKey(f"{table}.uid"), nullable=not needed, comment=comment)


def _part_of(table: str) -> Column[str]:
    """The key of a row that lives and dies with its case or recording."""
    return Column(
        table.removesuffix("s"),
        Text,
        ForeignKey(f"{table}.uid", ondelete="CASCADE"),
        primary_key=True,
        comment=f"the {table.removesuffix('s')} it is part of",
    )


def _place() -> Column[int]:
    return Column("place", Integer, primary_key=True, autoincrement=False, comment="order within the case, from 1")


book = Table(
    "book",
    TABLES,
    Column("place", Integer, primary_key=True, autoincrement=False, comment="always 1: there is one such row"),
    Column("schema", Integer, nullable=False, comment="version of the tables"),
    Column("made", Text, nullable=False, comment="when the book was begun, UTC"),
    comment="The book itself",
)

owners = Table(
    "owners",
    TABLES,
    _uid("hash of the call sign in small letters"),
    Column(
        "call_sign", Text, nullable=False, unique=True, comment="what the person chose to be called; no real name is asked"
    ),
    _changed(),
    comment="People, under a name or call sign they choose",
)

machines = Table(
    "machines",
    TABLES,
    _uid("hash of the name in small letters"),
    Column("name", Text, nullable=False, unique=True, comment="what the club calls it"),
    Column("kind", Text, comment="what the engine is in: an answer of the rules' first question; empty when not said"),
    _of("owner", "owners", "whose it is", needed=False),
    _changed(),
    comment="Machines that come to the pits",
)

engines = Table(
    "engines",
    TABLES,
    _uid("hash of its machine and name"),
    Column("name", Text, nullable=False, comment="what it is called or what is stamped on it"),
    _of("machine", "machines", "the machine it is in"),
    Column("cubic_centimetres", Float, comment="its size"),
    _changed(),
    comment="Engines",
)

carburettors = Table(
    "carburettors",
    TABLES,
    _uid("hash of its engine and name"),
    Column("name", Text, nullable=False, comment="what it is called or what is stamped on it"),
    _of("engine", "engines", "the engine it is on"),
    _changed(),
    comment="Carburettors",
)

cases = Table(
    "cases",
    TABLES,
    _uid("hash of its log, so that a log taken in twice is one case"),
    Column("name", Text, nullable=False, comment="name of the case, such as 2026-05-01-1"),
    _of("machine", "machines", "the machine, where it was named", needed=False),
    Column("kind", Text, comment="what kind of machine it was, where it was said"),
    Column("opened", Text, nullable=False, comment="when the case was opened"),
    Column("closed", Text, nullable=False, comment="when it was closed"),
    Column("how", Text, nullable=False, comment="found, normal (nothing was wrong) or undecided"),
    Column("confirmed", Text, nullable=False, comment="retest: proved by one; person: confirmed by hand; no: not counted"),
    Column("minutes", Float, comment="minutes at work until it was closed, long pauses left out"),
    Column("words", Text, nullable=False, comment="the owner's words"),
    Column("packs", Text, nullable=False, comment="rule packs and versions it was walked with"),
    _changed(),
    comment="Closed cases",
)

case_findings = Table(
    "case_findings",
    TABLES,
    _part_of("cases"),
    Column("finding", Text, primary_key=True, comment="id of the question"),
    Column("answer", Text, nullable=False, comment="id of the answer"),
    Column("reading", Text, comment="the number as it was given, with its unit"),
    Column("value", Float, comment="the same number in the unit of the question"),
    comment="What was found in a case",
    sqlite_with_rowid=False,
)

causes_found = Table(
    "causes_found",
    TABLES,
    _part_of("cases"),
    _place(),
    Column("cause", Text, nullable=False, comment="id of a cause of the rules, or a person's own words"),
    comment="What it was",
)

fixes = Table(
    "fixes",
    TABLES,
    _part_of("cases"),
    _place(),
    Column("cause", Text, nullable=False, comment="the cause that was put right"),
    Column("result", Text, nullable=False, comment="gone, better, same, sound, not-done or not-proved"),
    Column("at", Text, nullable=False, comment="when"),
    comment="What was put right, and what the retest showed",
)

proofs = Table(
    "proofs",
    TABLES,
    _part_of("cases"),
    _place(),
    Column("cause", Text, nullable=False, comment="the cause it proves"),
    Column("says", Text, nullable=False, comment="how it was proved"),
    Column("at", Text, nullable=False, comment="when"),
    comment="How fixes were proved",
)

settings = Table(
    "settings",
    TABLES,
    _uid("by chance, or hash of the case it was kept in"),
    _of("machine", "machines", "the machine"),
    _of("carburettor", "carburettors", "the carburettor, where it was named", needed=False),
    _of("case", "cases", "the case whose needle ledger it comes from", needed=False),
    Column("at", Text, nullable=False, comment="when it was set"),
    Column("h_sixteenths", Integer, comment="H needle, sixteenths of a turn out from lightly seated"),
    Column("l_sixteenths", Integer, comment="L needle, sixteenths of a turn out from lightly seated"),
    Column("hours", Float, comment="hours on the engine"),
    Column("temperature_c", Float, comment="air temperature, degrees C"),
    Column("pressure_hpa", Float, comment="air pressure at the field, not reduced to sea level, hPa"),
    Column("humidity_percent", Float, comment="relative humidity, percent"),
    Column("field_height_m", Float, comment="height of the field above sea level, m"),
    Column("air_density", Float, comment="density of the air worked out from these, kg/m3"),
    Column("density_altitude_m", Float, comment="density altitude worked out from these, m"),
    Column("head_temperature_c", Float, comment="highest cylinder head temperature with this setting, degrees C"),
    Column("remark", Text, comment="anything else worth knowing"),
    _changed(),
    comment="Needle settings that were in use, with the weather of the day",
)

recordings = Table(
    "recordings",
    TABLES,
    _uid("hash of the file's name and time, or by chance"),
    _of("machine", "machines", "the machine that was recorded", needed=False),
    _of("case", "cases", "the case it was made for", needed=False),
    Column("at", Text, nullable=False, comment="when it was recorded or listened to"),
    Column("file", Text, nullable=False, comment="name of the sound file, without its folder"),
    _changed(),
    comment="Sound recordings that were listened to; the sound itself is not kept",
)

recording_results = Table(
    "recording_results",
    TABLES,
    _part_of("recordings"),
    Column("name", Text, primary_key=True, comment="what was measured, such as four-stroking-share"),
    Column("value", Float, nullable=False, comment="the number"),
    Column("unit", Text, nullable=False, comment="its unit, empty for a plain number"),
    comment="What a recording said",
)

notes = Table(
    "notes",
    TABLES,
    _uid("by chance, or hash of the case and the note's place in it"),
    _of("machine", "machines", "the machine it is about", needed=False),
    _of("case", "cases", "the case it was written in", needed=False),
    Column("at", Text, nullable=False, comment="when"),
    Column("text", Text, nullable=False, comment="the note"),
    _changed(),
    comment="Notes",
)

answer_tallies = Table(
    "answer_tallies",
    TABLES,
    Column("cause", Text, primary_key=True, comment="id of the cause"),
    Column("finding", Text, primary_key=True, comment="id of the question"),
    Column("answer", Text, primary_key=True, comment="id of the answer"),
    Column("cases", Integer, nullable=False, comment="confirmed cases of this one cause with this answer"),
    comment="Answers counted by cause, kept in step with the cases, so that learning need not read them all",
    sqlite_with_rowid=False,
)

corrections = Table(
    "corrections",
    TABLES,
    _uid("by chance"),
    Column("of_table", Text, nullable=False, comment="table of the row that was corrected"),
    Column("of_uid", Text, nullable=False, comment="uid of that row"),
    Column("of_column", Text, nullable=False, comment="column, or 'cause' of a case"),
    Column("was", Text, comment="what stood there"),
    Column("became", Text, comment="what stands there now"),
    Column("at", Text, nullable=False, comment="when, UTC"),
    comment="What was corrected, so that a correction can be taken back and two writers lose nothing",
)

removed = Table(
    "removed",
    TABLES,
    _uid("uid of a row that was removed on request; nothing else of it is kept"),
    Column("at", Text, nullable=False, comment="when, UTC"),
    comment="What must not come back with an import or a merge",
)

PARTS = {
    "cases": ("case_findings", "causes_found", "fixes", "proofs"),
    "recordings": ("recording_results",),
}
"""Table -> the tables whose rows are part of its rows and travel with them."""

THINGS = ("owners", "machines", "engines", "carburettors", "cases", "settings", "recordings", "notes")
"""The tables of rows with a uid and a time of change, each after those it points to."""

Index("machines_by_owner", machines.c.owner)
Index("cases_by_machine", cases.c.machine, cases.c.closed)
Index("cases_by_closing", cases.c.closed)
Index("cases_by_name", cases.c.name)
Index("findings_by_answer", case_findings.c.finding, case_findings.c.answer)
Index("causes_found_by_cause", causes_found.c.cause)
Index("settings_by_machine", settings.c.machine, settings.c.at)
Index("recordings_by_machine", recordings.c.machine)
Index("notes_by_machine", notes.c.machine)
Index("notes_by_case", notes.c.case)
Index("corrections_by_row", corrections.c.of_uid)


def described() -> Iterator[str]:
    """Return every table and column with what it holds, as lines."""
    yield f"The tables of the book, version {SCHEMA}."
    for table in TABLES.sorted_tables:
        yield ""
        yield f"{table.name}: {table.comment}"
        for column in table.columns:
            points = "".join(f" -> {key.column.table.name}" for key in column.foreign_keys)
            needed = "" if column.nullable else ", always there"
            yield f"    {column.name}{points}: {column.comment}{needed}"
