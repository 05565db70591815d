"""The recorded walks are documentation: they must read as today's rules walk."""

from pathlib import Path

import pytest

from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.source import FaultyFiles
from diagnose.recordings import read_recording, replay, text_of

DEMOS = sorted((Path(__file__).parents[1] / "transcripts-demo").glob("*.txt"))


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_recorded_walk_is_todays_walk(base: Knowledge, path: Path) -> None:
    played = replay(base, read_recording(path))
    assert played.difference == (), "\n".join(played.difference)
    assert (played.only_then, played.only_now) == ((), ())


def test_there_are_six_or_more_and_all_are_marked_as_invented() -> None:
    assert len(DEMOS) >= 6
    for path in DEMOS:
        assert "# Invented:" in path.read_text(encoding="utf-8"), path


def test_among_them_are_two_faults_nothing_wrong_and_undecided() -> None:
    endings = "\n".join(path.read_text(encoding="utf-8") for path in DEMOS)
    for ending in ("Closed: nothing is wrong.", "Closed undecided.", " and also: "):
        assert any(ending in line for line in endings.splitlines() if line.startswith("Closed"))


def test_a_recording_that_no_longer_fits_says_what_differs(base: Knowledge, tmp_path: Path) -> None:
    recording = read_recording(DEMOS[0])
    altered = [line.replace("a helicopter", "a balloon").replace("> nothing", "> refit") for line in recording.lines]
    path = tmp_path / "altered.txt"
    path.write_text(text_of(recording.remarks, tuple(altered)), encoding="utf-8")
    assert replay(base, read_recording(path)).difference


def test_a_file_that_is_no_recording_is_said(tmp_path: Path) -> None:
    (tmp_path / "x.txt").write_text("nothing typed\n")
    with pytest.raises(FaultyFiles, match="no recorded walk"):
        read_recording(tmp_path / "x.txt")
