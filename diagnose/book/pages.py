"""What `diagnose book` shows, as lines of text that read well in 80 and in 40 columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import log10

from sqlalchemy import Column, Connection, Table, select

from ..case.readings import count_words, percent, times, turns
from ..knowledge.frequency import FREQUENCY
from ..knowledge.model import Knowledge
from ..reasoning.learned import ANY_KIND, Learned
from ..reasoning.tables import tables_of
from . import asking
from .correcting import SHORTEST_UID, corrections_of
from .entries import NEEDLE_COLUMNS
from .rows import NAMED, Row, called
from .schema import carburettors, cases, engines, machines, notes, owners, recordings, settings


def day(at: str) -> str:
    """A time as people say it at the pits: the day."""
    return at[:10]


def cause_name(knowledge: Knowledge, cause: str) -> str:
    """A cause as the rules call it, or in the words of whoever found it."""
    return str(knowledge.causes[cause].name) if cause in knowledge.causes else cause


def outcome(knowledge: Knowledge, case: asking.FoundCase) -> str:
    """How a case ended, in a few words."""
    names = " and also: ".join(cause_name(knowledge, cause) for cause in case.causes)
    match case.how:
        case "found":
            return names + ("" if case.confirmed != "no" else " (not confirmed)")
        case "normal":
            return f"nothing wrong: {names}"
    return "undecided"


def case_line(knowledge: Knowledge, case: asking.FoundCase) -> str:
    """A case among those of one machine."""
    return f"{day(case.closed)}  {outcome(knowledge, case)} [{case.name}, {case.uid[:SHORTEST_UID]}]"


def found_line(knowledge: Knowledge, case: asking.FoundCase) -> str:
    """A case among those of many machines."""
    return case_line(knowledge, case) + (f" on {case.machine}" if case.machine else "")


def summary(counts: Mapping[str, int], place: str) -> Iterator[str]:
    yield f"The book: {place}"
    yield (
        "    " + ", ".join(_many(count, name) for name, count in counts.items() if count)
        if any(counts.values())
        else ("    nothing in it yet")
    )


def _many(count: int, name: str) -> str:
    return f"{count} {name if count != 1 else name.removesuffix('s')}"


def machine_lines(connection: Connection, knowledge: Knowledge, machine: Row) -> Iterator[str]:
    """All that the book knows of a machine."""
    owner = connection.scalar(select(owners.c.call_sign).where(owners.c.uid == machine["owner"]))
    yield ", ".join(part for part in (machine["name"], machine["kind"], f"of {owner}" if owner else "") if part)
    for engine in connection.execute(select(engines).where(engines.c.machine == machine["uid"])):
        size = f", {engine.cubic_centimetres:g} cc" if engine.cubic_centimetres else ""
        yield f"    engine {engine.name}{size}"
        for carburettor in connection.execute(select(carburettors).where(carburettors.c.engine == engine.uid)):
            yield f"        carburettor {carburettor.name}"
    yield from _headed("Settings", [setting_line(row) for row in asking.of_machine(connection, settings, machine["uid"])])
    closed = asking.found_cases(connection, cases.c.machine == machine["uid"])
    yield from _headed("Cases", [case_line(knowledge, case) for case in closed])
    said = [f"{day(row['at'])}  {row['text']} [{row['uid'][:SHORTEST_UID]}]"
            for row in asking.of_machine(connection, notes, machine["uid"])]  # fmt: skip
    yield from _headed("Notes", said)
    heard = []
    for row in asking.of_machine(connection, recordings, machine["uid"]):
        results = map(result_words, asking.results_of(connection, row["uid"]))
        heard.append(f"{day(row['at'])}  {row['file']}: {', '.join(results)}")
    yield from _headed("Recordings", heard)


def _headed(head: str, lines: Iterable[str]) -> Iterator[str]:
    lines = list(lines)
    if lines:
        yield ""
        yield f"{head}:"
        yield from (f"    {line}" for line in lines)


def setting_line(row: Row) -> str:
    """A setting with the weather of its day, as far as it was written down."""
    said = ", ".join([*map(" ".join, counted(row).items()), *weather(row)])
    return f"{day(row['at'])}  {said} [{row['uid'][:SHORTEST_UID]}]"


def counted(row: Row) -> dict[str, str]:
    """Needle -> its count in words, of those that a setting holds."""
    return {needle: turns(row[column]) for column, needle in NEEDLE_COLUMNS.items() if row[column] is not None}


def result_words(row: Row) -> str:
    """A result of a recording with its unit."""
    return f"{row['name'].replace('-', ' ')} {row['value']:g} {row['unit']}".strip()


def weather(row: Row) -> list[str]:
    """What else stands in a setting, each with its unit."""
    written = (
        ("hours", "{:g} hours"), ("temperature_c", "{:.3g} C"), ("pressure_hpa", "{:g} hPa"),
        ("humidity_percent", "{:g} % humidity"), ("field_height_m", "field at {:g} m"),
        ("density_altitude_m", "density altitude {:.0f} m"), ("head_temperature_c", "head {:.3g} C"), ("remark", "{}"),
    )  # fmt: skip
    return [form.format(row[column]) for column, form in written if row[column] is not None]


def owner_lines(connection: Connection, owner: Row) -> Iterator[str]:
    yield f"{owner['call_sign']}:"
    for machine in asking.machines_of(connection, owner["uid"]):
        yield f"    {machine['name']}" + (f", {machine['kind']}" if machine["kind"] else "")


def case_lines(connection: Connection, knowledge: Knowledge, case: Row) -> Iterator[str]:
    """All that the book knows of a case."""
    (found,) = asking.found_cases(connection, cases.c.uid == case["uid"])
    parts = asking.parts_of_case(connection, case["uid"])
    yield f"Case {found.name} [{found.uid[:SHORTEST_UID]}], closed {found.closed[:16].replace('T', ' ')}"
    if found.machine or case["kind"]:
        yield f"    machine: {', '.join(part for part in (found.machine, case['kind']) if part)}"
    yield f"    it was: {outcome(knowledge, found)}"
    if found.minutes is not None:
        yield f"    minutes: {found.minutes:g}"
    if found.words:
        yield f"    the owner said: {found.words}"
    answers = []
    for row in parts["case_findings"]:
        finding = knowledge.findings.get(row["finding"])
        said = finding.answers[row["answer"]].say if finding and row["answer"] in finding.answers else row["answer"]
        asked = finding.ask if finding else row["finding"]
        answers.append(f"{asked} {row['reading'] + ', ' if row['reading'] else ''}{said}")
    yield from _headed("Found", answers)
    done = [f"{day(row['at'])}  {cause_name(knowledge, row['cause'])}: {row['result']}" for row in parts["fixes"]]
    yield from _headed("Put right", done)
    yield from _headed("Proved", [row["says"] for row in parts["proofs"]])
    yield from _headed("Notes", [row["text"] for row in parts["notes"]])
    changed = [f"{day(row['at'])}  {row['of_column']}: {row['was']} -> {row['became']}"
               for row in corrections_of(connection, case["uid"])]  # fmt: skip
    yield from _headed("Corrected", changed)


def learned_lines(knowledge: Knowledge, learned: Learned | None) -> Iterator[str]:
    """What the confirmed cases have taught: the faults they moved most, and what the words mean here."""
    if learned is None:
        yield "No confirmed case in the book tells these rules anything yet."
        return
    yield f"From {learned.cases} confirmed cases, how common a fault is in this club:"
    written = tables_of(knowledge).how_common
    shares = learned.weights(tables_of(knowledge).causes, ANY_KIND)
    moved = dict(zip(tables_of(knowledge).causes, shares / (written / written.sum()), strict=True))
    for cause in sorted(learned.seen, key=lambda cause: -moved[cause])[:15]:
        seen = f"{cause_name(knowledge, cause)}, seen {count_words(learned.seen[cause])}"
        yield f"    {times(10 * log10(moved[cause]))}: {seen}"
    unseen = [factor for cause, factor in moved.items() if cause not in learned.seen]
    if unseen:
        yield f"    {times(10 * log10(min(unseen)))}: what was not seen yet"
    yield "What the words of the rules mean here:"
    for word, share in learned.words.items():
        yield f"    {word.replace('-', ' ')}: {percent(share)}, written {percent(FREQUENCY[word])}"


def named_so(connection: Connection, name: str) -> list[tuple[str, Row]]:
    """Return the machines, owners and cases called exactly so, whatever the capitals, and a case with this mark."""
    found: list[tuple[str, Row]] = []
    for what, table, column in _NAMED:
        exact = called(table, " ".join(name.split())) if table.name in NAMED else column == name
        found += [(what, row._asdict()) for row in connection.execute(select(table).where(exact).limit(20))]
    if len(name) >= SHORTEST_UID:
        marked = cases.c.uid.startswith(name, autoescape=True)
        found += [("case", row._asdict()) for row in connection.execute(select(cases).where(marked).limit(2))]
    return found


def nearly_called(connection: Connection, name: str) -> list[str]:
    """Return a few names of machines and owners with these letters in them."""
    found: list[str] = []
    for _, table, column in _NAMED[:2]:
        found += connection.scalars(
            select(column).select_from(table).where(column.icontains(name, autoescape=True)).limit(5)
        )
    return found


_NAMED: tuple[tuple[str, Table, Column[str]], ...] = (
    ("machine", machines, machines.c.name),
    ("owner", owners, owners.c.call_sign),
    ("case", cases, cases.c.name),
)
