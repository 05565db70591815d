"""The case log loses nothing that was answered: not to a kill, a full disk, a damaged line, or a second walk."""

import json
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.case.log import CaseLog, LogInUse, LogTrouble, logs_in, open_cases, read_log
from diagnose.case.state import replay


def started(folder: Path) -> CaseLog:
    return CaseLog.create(folder, clock=lambda: "2026-05-01T10:00:00+02:00")


def test_every_state_is_recomputed_from_the_events(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        log.append("answer", finding="idle", answer="hunts")
        log.append("answer", finding="idle", answer="steady")
        log.append("unknown", finding="bolts")
        assert log.state.answers == {"idle": "steady"}
        assert log.state.asked_again == {"idle"}
        assert replay(read_log(log.path).events) == log.state


def test_going_back_is_an_event_and_erases_nothing(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        first = log.append("answer", finding="idle", answer="hunts")
        second = log.append("answer", finding="idle", answer="steady")
        log.append("withdraw", numbers=[second.number])
        assert log.state.answers == {"idle": "hunts"}
        log.append("withdraw", numbers=[first.number])
        assert log.state.answers == {}
        assert len(log.path.read_text().splitlines()) == 5


def test_a_verdict_that_is_taken_back_gives_back_what_it_made_forgotten(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        loose = log.append("answer", finding="bolts", answer="loose")
        log.append("fixed", cause="bolts-loose")
        verdict = log.append("repair", cause="bolts-loose", result="same", forgotten=[loose.number])
        assert log.state.answers == {}
        log.append("withdraw", numbers=[verdict.number])
        assert (log.state.answers, log.state.to_retest) == ({"bolts": "loose"}, "bolts-loose")
        assert replay(read_log(log.path).events) == log.state


def test_a_log_of_an_older_version_is_replayed_as_it_was(tmp_path: Path) -> None:
    """There the verdict stands alone, and what it made forgotten was withdrawn by an event of its own."""
    with started(tmp_path) as log:
        loose = log.append("answer", finding="bolts", answer="loose")
        log.append("fixed", cause="bolts-loose")
        log.append("repair", cause="bolts-loose", result="better")
        log.append("withdraw", numbers=[loose.number])
        assert log.state.answers == {}
        assert [(done.cause, done.result) for done in log.state.repairs] == [("bolts-loose", "better")]


def test_a_repair_that_was_not_retested_is_done_and_waits_again_when_that_is_taken_back(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        log.append("fixed", cause="bolts-loose")
        log.append("passed", retest="restrained")
        went_on = log.append("repair", cause="bolts-loose", result="not-proved", forgotten=[])
        assert (log.state.to_retest, log.state.unproved, log.state.put_aside) == ("", {"bolts-loose"}, frozenset())
        log.append("fixed", cause="plug-dead")
        log.append("repair", cause="plug-dead", result="same", forgotten=[])
        log.append("withdraw", numbers=[went_on.number])
        assert (log.state.to_retest, log.state.unproved) == ("bolts-loose", frozenset())
        assert log.state.passed == (), "the engine was worked on since, so it is run restrained again"


def test_what_an_older_log_calls_not_done_after_it_was_done_is_not_proved(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        log.append("fixed", cause="bolts-loose")
        log.append("repair", cause="bolts-loose", result="not-done")
        log.append("repair", cause="plug-dead", result="not-done")
        assert [(done.cause, done.result) for done in log.state.repairs] == [
            ("bolts-loose", "not-proved"),
            ("plug-dead", "not-done"),
        ]


def test_two_walks_at_once_have_a_log_each(tmp_path: Path) -> None:
    with started(tmp_path) as one, started(tmp_path) as two:
        one.append("answer", finding="idle", answer="hunts")
        two.append("answer", finding="idle", answer="steady")
        assert one.path != two.path
        assert (one.state.answers, two.state.answers) == ({"idle": "hunts"}, {"idle": "steady"})


def test_a_log_that_is_open_elsewhere_is_left_alone(tmp_path: Path) -> None:
    with started(tmp_path) as log, pytest.raises(LogInUse, match="open in another walk"):
        CaseLog.open(log.path)


@pytest.mark.parametrize("tail", [b'{"event": "answer", "finding": "x', b'{"event": "answer"}\n', b"\xff\xfe\n", b"\n"])
def test_a_damaged_last_line_is_said_and_cut_off_and_the_rest_kept(tmp_path: Path, tail: bytes) -> None:
    with started(tmp_path) as log:
        log.append("answer", finding="idle", answer="hunts")
        path = log.path
    whole = path.read_bytes()
    path.write_bytes(whole + tail)
    with CaseLog.open(path) as log:
        assert "damaged" in log.repaired
        assert log.state.answers == {"idle": "hunts"}
        log.append("answer", finding="bolts", answer="tight")
    assert tail.strip() in path.with_suffix(".damaged").read_bytes()
    with CaseLog.open(path) as log:
        assert log.repaired == ""
        assert log.state.answers == {"idle": "hunts", "bolts": "tight"}


def test_a_damaged_line_in_the_middle_is_pointed_out_and_nothing_is_touched(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        log.append("answer", finding="idle", answer="hunts")
        path = log.path
    lines = path.read_text().splitlines()
    path.write_text("\n".join([lines[0], "rubbish", lines[1]]) + "\n")
    before = path.read_bytes()
    with pytest.raises(LogTrouble, match=r"\.jsonl:2:1: this line of the case log is damaged"):
        CaseLog.open(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "line",
    [
        '{"event": "repair", "at": "x", "cause": "a", "result": "perhaps"}',
        '{"event": "withdraw", "at": "x", "numbers": ["a"]}',
        '{"event": "note", "at": "x", "text": "\\u001b[2J"}',
        '{"event": "closed", "at": "x", "how": "found", "causes": [1]}',
        '{"event": "needle", "at": "x", "needle": "X", "sixteenths": 1, "moved": true}',
        '{"event": "answer", "at": "x", "finding": "idle", "answer": "hunts", "reading": 7}',
        '{"event": "opened", "at": "x", "case": "../../elsewhere", "format": 1}',
    ],
)
def test_what_this_program_never_writes_is_damage(tmp_path: Path, line: str) -> None:
    with started(tmp_path) as log:
        log.append("answer", finding="idle", answer="hunts")
        path = log.path
    path.write_text(path.read_text() + line + "\n" + path.read_text())
    with pytest.raises(LogTrouble, match=r"\.jsonl:3:1: this line of the case log is damaged"):
        CaseLog.open(path)


def test_a_log_of_a_newer_program_is_not_guessed_at(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_text(json.dumps({"event": "opened", "at": "x", "case": "a", "format": 99}) + "\n")
    with pytest.raises(LogTrouble, match="newer version"):
        CaseLog.open(path)


def test_a_full_disk_is_said_and_what_was_kept_stays_readable(tmp_path: Path) -> None:
    """The size of a file is limited, as a full disk would limit it."""
    child = os.fork()
    if child == 0:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        log = started(tmp_path)
        log.append("answer", finding="idle", answer="hunts")
        size = log.path.stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 20, size + 20))
        try:
            log.append("answer", finding="bolts", answer="tight")
        except LogTrouble as trouble:
            os._exit(0 if "cannot be written" in str(trouble) else 3)
        os._exit(4)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    (path,) = tmp_path.glob("*.jsonl")
    recovered = read_log(path)
    assert recovered.damaged == b""
    assert replay(recovered.events).answers == {"idle": "hunts"}


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(LogTrouble, match="name another folder with --data"):
        CaseLog.create(tmp_path / "file" / "cases")


def test_open_cases_are_listed_newest_first_and_closed_ones_are_not(tmp_path: Path) -> None:
    with started(tmp_path) as one, started(tmp_path) as two, started(tmp_path) as three:
        three.append("closed", how="undecided", causes=[])
        for age, log in enumerate((three, two, one)):
            os.utime(log.path, (1000 - age, 1000 - age))
        assert [path for path, _ in open_cases(tmp_path)] == [two.path, one.path]


def test_a_case_left_open_is_found_however_many_were_closed_since(tmp_path: Path) -> None:
    """For the one whom everybody asks, twenty cases are two weekends."""
    with started(tmp_path) as left:
        left.append("words", text="hunts")
        os.utime(left.path, (1000, 1000))
    for _ in range(25):
        with started(tmp_path) as log:
            log.append("closed", how="undecided", causes=[])
    assert [path for path, _ in open_cases(tmp_path)] == [left.path]


def test_a_closing_in_the_owners_words_closes_nothing(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        log.append("words", text='{"event": "closed"')
        log.append("note", text='{"event": "closed", "how": "undecided"}')
        assert [path for path, _ in open_cases(tmp_path)] == [log.path]


def test_an_empty_log_and_a_link_to_nowhere_stop_no_start(tmp_path: Path) -> None:
    with started(tmp_path) as log:
        (tmp_path / "2026-05-01-7.jsonl").touch()
        (tmp_path / "2026-05-01-8.jsonl").symlink_to(tmp_path / "a stick that is not plugged in")
        assert [path for path, _ in open_cases(tmp_path)] == [log.path]
        assert tmp_path / "2026-05-01-7.jsonl" not in logs_in(tmp_path)


class Disk:
    """Stands for `os` in the log: takes a few bytes at a time, and notes in which order what is done."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.done: list[str] = []
        self.written = b""
        monkeypatch.setattr(os, "write", self._write)
        monkeypatch.setattr(os, "fsync", lambda descriptor: self.done.append("synced"))

    def _write(self, descriptor: int, data: bytes) -> int:
        self.done.append("written")
        self.written += data[:20]
        return len(data[:20])


def test_an_answer_is_kept_only_when_the_disk_has_all_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut takes what was written and not yet synced; the next question comes after both."""
    with started(tmp_path) as log, monkeypatch.context() as patch:
        for finding in ("idle", "bolts"):
            disk = Disk(patch)
            event = log.append("answer", finding=finding, answer="hunts")
            assert disk.done == ["written"] * (len(disk.done) - 1) + ["synced"]
            assert json.loads(disk.written)["finding"] == finding
            assert log.events[-1] == event


def test_what_the_disk_would_not_sync_is_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(descriptor: int) -> None:
        raise OSError(5, "Input/output error")

    with started(tmp_path) as log:
        log.append("answer", finding="idle", answer="hunts")
        with monkeypatch.context() as patch, pytest.raises(LogTrouble, match="cannot be written: Input/output error"):
            patch.setattr(os, "fsync", broken)
            log.append("answer", finding="bolts", answer="tight")
        assert log.state.answers == {"idle": "hunts"}
    assert replay(read_log(log.path).events).answers == {"idle": "hunts"}


KILLED = """
import os, sys, time
from pathlib import Path
from diagnose.case.log import CaseLog

log = CaseLog.create(Path(sys.argv[1]))
log.append("answer", finding="idle", answer="hunts")
os.write(log._descriptor, b'{"event": "answer", "find')
print("half way", flush=True)
time.sleep(60)
"""


def test_a_walk_that_is_killed_leaves_no_lock_and_only_its_half_line_is_lost(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE) as child:
        try:
            assert child.stdout is not None and child.stdout.readline() == b"half way\n"
            (path,) = tmp_path.glob("*.jsonl")
            with pytest.raises(LogInUse):
                CaseLog.open(path)
        finally:
            child.kill()
    with CaseLog.open(path) as log:
        assert "damaged" in log.repaired
        assert log.state.answers == {"idle": "hunts"}
        log.append("answer", finding="bolts", answer="tight")
    assert replay(read_log(path).events).answers == {"idle": "hunts", "bolts": "tight"}
