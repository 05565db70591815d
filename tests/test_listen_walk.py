"""A recording in the walk: what it answers goes into the case, a person says which, and the report shows it."""

import random
from pathlib import Path

import pytest
import soundfile
from engine_sounds import Sound, make

from diagnose.book.closed import rows_of_case
from diagnose.case.log import CaseLog, LogTrouble, read_log
from diagnose.case.state import CaseState, Given, RecordingHeard, replay
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, read_packs
from diagnose.listen.record import chart
from diagnose.planning.examine import examine
from diagnose.reasoning.reason import reason
from diagnose.report.fault_report import fault_report, for_the_workshop
from diagnose.report.files import as_html, as_markdown
from diagnose.shell.console import ScriptedConsole
from diagnose.shell.walk import Walk


@pytest.fixture(scope="module")
def burbling(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten seconds under load and after it, with a light burble as it comes off."""
    made = make(Sound(seconds=10, rate=16_000, stretches=((6.5, 6.8),), noise=12, seed=21))
    path = tmp_path_factory.mktemp("sound") / "let off.wav"
    soundfile.write(path, made.samples, made.rate)
    return path


def walked(knowledge: Knowledge, folder: Path, *replies: str) -> tuple[str, CaseState, Path]:
    console = ScriptedConsole(replies)
    with CaseLog.create(folder) as log:
        log.append("words", text="it burbles as I let off")
        Walk(knowledge, log, console, folder, None).run()
        return "\n".join(console.lines), log.state, log.path


TYPED = ("1", "none", "listen {}", "8", "", "", "", "0:01-0:05", "6-9.5")
"""A helicopter; then the recording, its gear ratio, and when the load was on and off."""


def test_what_a_recording_answers_goes_into_the_case_with_its_name(base: Knowledge, tmp_path: Path, burbling: Path) -> None:
    typed = [line.format(f"'{burbling}'") for line in TYPED]
    said, state, _ = walked(base, tmp_path, *typed, "1 2", "leave")
    assert said.index("behind the safety line") < said.index("What is heard in let off.wav")
    heard = {name: given for name, given in state.findings.items() if given.reading}
    assert set(heard) == {"four-strokes", "load-off-sound"}
    assert heard["load-off-sound"].answer == "light-burble"
    assert heard["load-off-sound"].reading is not None
    assert heard["load-off-sound"].reading.endswith("in let off.wav")
    assert "burble-under-load" not in state.findings  # it was offered, and not taken
    assert [kept.name for kept in state.recordings] == ["let off.wav"]


def test_nothing_goes_into_the_case_that_nobody_took(base: Knowledge, tmp_path: Path, burbling: Path) -> None:
    typed = [line.format(burbling) for line in TYPED]
    _, state, _ = walked(base, tmp_path, *typed, "none", "leave")
    assert not any(given.reading for given in state.findings.values())
    assert len(state.recordings) == 1


def test_what_was_taken_can_be_taken_back(base: Knowledge, tmp_path: Path, burbling: Path) -> None:
    typed = [line.format(burbling) for line in TYPED]
    _, state, _ = walked(base, tmp_path, *typed, "1 2", "back 2", "leave")
    assert not any(given.reading for given in state.findings.values())


def test_a_recording_that_cannot_be_heard_is_one_line_and_the_walk_goes_on(base: Knowledge, tmp_path: Path) -> None:
    (tmp_path / "bad.wav").write_text("no sound")
    said, state, _ = walked(base, tmp_path, "listen", f"listen {tmp_path}/bad.wav", "listen none.wav", "1", "leave")
    assert "listen hover.wav" in said
    assert "no sound file" in " ".join(said.split())
    assert "no such file" in said
    assert state.findings["machine"].answer == "helicopter"
    assert state.recordings == ()


KEPT = RecordingHeard(
    "it <script>.wav", "", ("Speed at power: 12,000 rpm",), 500, (9_000, 0, 12_000, 12_100), (500, 900), ("misses",), (700,)
)


def test_the_report_holds_the_picture_and_trusts_no_name(base: Knowledge) -> None:
    state = CaseState(case="2026-05-01-1", opened="2026-05-01T10:00:00", recordings=(KEPT,))
    report = fault_report(base, state, examine(base, state), "diagnose")
    page = as_html(report)
    assert page.count("<svg") > 1
    assert "four-stroking" in page
    assert "<script" not in page
    markdown = as_markdown(report)
    assert "Speed of the engine in it" in markdown
    assert "Speed at power: 12,000 rpm" in markdown


def test_the_picture_leaves_a_gap_where_the_engine_was_not_heard() -> None:
    drawn = chart(KEPT)
    assert drawn.traces[0].y[0] == 9_000
    assert drawn.traces[0].y[1] != drawn.traces[0].y[1]  # not a number
    assert [(band.start, band.end) for band in drawn.bands] == [(0.5, 0.9)]
    assert [mark.says for mark in drawn.marks] == ["misses"]


PARTICULARS = {
    "name": "it.wav", "reading": "", "said": ["a: b"], "step": 50, "speeds": [1, 2], "burbles": [], "marks": ["x"],
    "marked": [7], "results": ["power-speed=1 rpm"],
}  # fmt: skip


def test_a_recording_in_the_log_comes_back_as_it_was_and_a_spoilt_one_is_pointed_out(tmp_path: Path) -> None:
    with CaseLog.create(tmp_path) as log:
        log.append("recording", **PARTICULARS)
        log.append("words", text="w")
        path = log.path
    assert replay(read_log(path).events).recordings[0].speeds == (1, 2)
    for good, bad in (('"speeds": [1, 2]', '"speeds": ["1"]'), ('"marks": ["x"]', '"marks": [3]'), ('"name"', '"named"')):
        spoilt = path.with_name("spoilt.jsonl")
        spoilt.write_text(path.read_text(encoding="utf-8").replace(good, bad), encoding="utf-8")
        with pytest.raises(LogTrouble, match="spoilt.jsonl:2:1"):
            read_log(spoilt)


def test_a_report_for_the_workshop_names_no_file(base: Knowledge) -> None:
    heard = {"load-off-sound": Given("light-burble", "four-stroking, load off 5 % (4 to 6) in it <script>.wav")}
    state = CaseState(findings=heard, answered=((1, "load-off-sound"),), recordings=(KEPT,))
    report = fault_report(base, state, examine(base, state), "diagnose")
    page = as_markdown(for_the_workshop(report, base, state))
    assert "script" not in page
    assert "in recording 1" in page


def test_a_closed_case_takes_its_recordings_into_the_book(base: Knowledge, tmp_path: Path) -> None:
    with CaseLog.create(tmp_path) as log:
        log.append("recording", **{**PARTICULARS, "results": ["power-speed=12000.00 rpm", "share-power=7.50 percent"]})
        log.append("closed", how="undecided", causes=[])
        rows = rows_of_case(log.state, log.events, "0" * 20, base)
    assert [row["file"] for row in rows["recordings"]] == ["it.wav"]
    told = {row["name"]: (row["value"], row["unit"]) for row in rows["recording_results"]}
    assert told == {"power-speed": (12_000, "rpm"), "share-power": (7.5, "percent")}


def test_nothing_a_recording_answers_lifts_a_hold(base: Knowledge) -> None:
    says: dict[str, set[str]] = {}
    for hearing in base.hearings.values():
        for finding, answer in hearing.says.items():
            known = base.findings[finding].answers
            says.setdefault(finding, set()).update([str(answer)] if answer in known else map(str, known))
    chance = random.Random(4)
    for machine in ("helicopter", "aeroplane"):
        before = set(reason(base, {"machine": machine}).holds)
        assert "close-needle" in before
        for _ in range(40):
            heard = {name: chance.choice(sorted(several)) for name, several in says.items() if chance.random() < 0.7}
            assert before <= set(reason(base, {"machine": machine, **heard}).holds), heard


# Hearings in packs.

PACK = "pack: mine\nname: Mine\nversion: 1.0.0\nauthor: me\nneeds: [base]\n"


def said_of(folder: Path, hearing: str) -> str:
    (folder / "pack.yaml").write_text(PACK)
    (folder / "mine.yaml").write_text(hearing)
    return "\n".join(str(problem) for problem in read_packs([base_pack(), folder]).problems)


@pytest.mark.parametrize(
    ("measured", "says", "wrong"),
    [
        ("{idle-swng: over 3}", "{idle: hunts}", "'measured' takes"),
        ("{idle-swing: more than 3}", "{idle: hunts}", "'under 2', 'over 8' or '1 to 12'"),
        ("{idle-swing: 5 to 2}", "{idle: hunts}", "'under 2', 'over 8' or '1 to 12'"),
        ("{idle-swing: over 30}", "{idle: wobbles}", "no answer of 'idle'"),
        ("{idle-swing: over 30}", "{idles: hunts}", "no finding is called 'idles'"),
        ("{idle-swing: over 30}", "{surge-period: idle-swing}", "in its unit, second"),
        ("{idle-drift: over 30}", "{idle: hunts}", "can answer 'idle' differently"),
    ],
)
def test_a_hearing_that_cannot_be_is_pointed_out(tmp_path: Path, measured: str, says: str, wrong: str) -> None:
    text = f"- hearing: mine\n  measured: {measured}\n  says: {says}\n  because: I say so.\n  basis: common practice\n"
    assert wrong in said_of(tmp_path, text)


def test_a_club_may_add_a_hearing(tmp_path: Path) -> None:
    text = (
        "- hearing: mine\n  measured: {idle-swing: over 30}\n  says: {idle: hunts}\n"
        "  because: Ours hunts like that.\n  basis: common practice\n"
    )
    assert said_of(tmp_path, text) == ""
