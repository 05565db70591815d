"""A machine's whole history on paper: as Markdown, HTML and PDF; for the workshop without personal data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from sqlalchemy import Connection, select

from .. import __version__
from ..case.casefile import MACHINE
from ..drawing.chart import Chart
from ..knowledge.model import Knowledge
from ..report.fault_report import is_of_the_rules
from ..report.files import filled, write_whole
from . import asking
from .access import utc_now
from .charts import head_temperature, needles_over_time
from .history import History, how_often
from .pages import cause_name, counted, day, outcome, result_words, weather
from .places import BookTrouble
from .schema import carburettors, engines

_TROUBLE = ("the report cannot be written", "the book itself is kept")


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One setting: its day, both needles, and what else stands with it."""

    day: str
    h: str
    l: str  # noqa: E741  # the needle's own name
    rest: str


@dataclass(frozen=True, slots=True)
class CaseLine:
    """One case: its day, what it was, how each repair was proved, and what the owner said."""

    day: str
    was: str
    proofs: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class RecordingLine:
    """One recording: its day, its file, and what it said."""

    day: str
    file: str
    says: str


@dataclass(frozen=True, slots=True)
class MachineReport:
    """Everything on the page, in the order it is read."""

    machine: str
    kind: str
    owner: str
    hours: str
    parts: tuple[str, ...]
    comes_back: tuple[str, ...]
    settings: tuple[SettingLine, ...]
    cases: tuple[CaseLine, ...]
    notes: tuple[str, ...]
    recordings: tuple[RecordingLine, ...]
    program: str
    charts: tuple[Chart, ...] = ()


def file_name(machine: str) -> str:
    """Return the name under which the report of a machine is written, out of its uid."""
    return f"machine-{machine[:6]}"


def machine_report(connection: Connection, knowledge: Knowledge, known: History) -> MachineReport:
    """Gather the report of a machine."""
    machine = known.machine
    kinds = knowledge.findings[MACHINE].answers if MACHINE in knowledge.findings else {}
    return MachineReport(
        machine=machine["name"],
        kind=str(kinds[machine["kind"]].say) if machine["kind"] in kinds else machine["kind"] or "not said",
        owner=known.owner,
        hours=f"{known.hours:g}" if known.hours is not None else "not written down",
        parts=tuple(_parts(connection, machine["uid"])),
        comes_back=tuple(f"{cause_name(knowledge, one.cause)}: {how_often(one)}" for one in known.recurring),
        settings=tuple(
            SettingLine(day(row["at"]), counts.get("H", ""), counts.get("L", ""), ", ".join(weather(row)))
            for row, counts in zip(known.settings, map(counted, known.settings), strict=True)
        ),
        cases=tuple(_case_line(connection, knowledge, case) for case in known.cases),
        notes=tuple(f"{day(row['at'])}: {row['text']}" for row in known.notes),
        recordings=tuple(
            RecordingLine(
                day(row["at"]), row["file"], ", ".join(map(result_words, asking.results_of(connection, row["uid"])))
            )
            for row in known.recordings
        ),
        program=f"diagnose {__version__}",
        charts=_charts(connection, knowledge, known),
    )


def _parts(connection: Connection, machine: str) -> list[str]:
    said = []
    for engine in connection.execute(select(engines).where(engines.c.machine == machine)):
        size = f", {engine.cubic_centimetres:g} cc" if engine.cubic_centimetres else ""
        fitted = connection.scalars(select(carburettors.c.name).where(carburettors.c.engine == engine.uid))
        said.append(f"engine {engine.name}{size}" + "".join(f", carburettor {name}" for name in fitted))
    return said


def _case_line(connection: Connection, knowledge: Knowledge, case: asking.FoundCase) -> CaseLine:
    proofs = asking.parts_of_case(connection, case.uid)["proofs"]
    said = tuple(dict.fromkeys(row["says"] for row in proofs if row["cause"] in case.causes))
    return CaseLine(day(case.closed), outcome(knowledge, case), said, case.words)


def _charts(connection: Connection, knowledge: Knowledge, known: History) -> tuple[Chart, ...]:
    """What can be drawn of it; a machine with one setting has nothing to draw."""
    drawn: list[Chart] = []
    for draws in (needles_over_time, head_temperature):
        try:
            charts = draws(connection, knowledge, known.machine)
        except BookTrouble:
            continue
        drawn += [chart for chart in charts if max(len(trace.x) for trace in chart.traces) > 1]
    return tuple(drawn)


def for_the_workshop(report: MachineReport, knowledge: Knowledge, known: History) -> MachineReport:
    """The same report without personal data: no call sign or name, nothing a person typed in their own words, no file.

    Causes and proofs are kept where they are the rules' own.
    """
    causes = [all(cause in knowledge.causes for cause in case.causes) for case in known.cases]
    bare = [", ".join(weather({**row, "remark": None})) for row in known.settings]
    return replace(
        report,
        machine="The machine",
        owner="",
        parts=(),
        comes_back=tuple(
            said for said, one in zip(report.comes_back, known.recurring, strict=True) if one.cause in knowledge.causes
        ),
        settings=tuple(replace(line, rest=rest) for line, rest in zip(report.settings, bare, strict=True)),
        cases=tuple(
            replace(
                line,
                words="",
                proofs=tuple(says for says in line.proofs if is_of_the_rules(says, knowledge)),
                was=line.was if ours else "found; not in these rules",
            )
            for line, ours in zip(report.cases, causes, strict=True)
        ),
        notes=(),
        recordings=tuple(replace(line, file="") for line in report.recordings),
        charts=tuple(replace(chart, title=chart.title.split(": ", 1)[1].capitalize()) for chart in report.charts),
    )


def write_machine_report(folder: Path, name: str, report: MachineReport) -> Sequence[Path]:
    """Write all three forms, each whole or not at all; return their paths. Raises CannotWrite."""
    from ..drawing.picture import svg
    from ..report.pdf import as_pdf

    content = asdict(replace(report, charts=()))
    pictures = [svg(chart) for chart in report.charts]
    texts: dict[str, str | bytes] = {
        "md": filled("machine-history.md.j2", content),
        "html": filled("machine-history.html.j2", {**content, "pictures": pictures}),
        "pdf": as_pdf(
            filled("machine-history.pdf.html.j2", content), f"History: {report.machine}", utc_now()[:10], report.charts
        ),
    }
    written = []
    for ending, text in texts.items():
        path = folder / f"{name}.{ending}"
        write_whole(path, text, *_TROUBLE)
        written.append(path)
    return written
