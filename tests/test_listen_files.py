"""Recordings as files: what cannot be heard is one clear line, and a long one needs no more memory than a short one."""

import json
import os
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile
from engine_sounds import Sound, flight, hover, make

from diagnose.cli import main
from diagnose.listen import envelope
from diagnose.listen.hearing import hear
from diagnose.listen.known import Known
from diagnose.listen.recording import NotHeard, Passed, blocks, find

NOISE = np.random.default_rng(1).standard_normal(4 * 8_000) * 0.1


def spoilt(folder: Path, how: str) -> Path:
    """A file that cannot be heard, or not to its end."""
    path = folder / {"m4a": "it.m4a", "cut flac": "it.flac"}.get(how, "it.wav")
    match how:
        case "missing":
            return folder / "nowhere.wav"
        case "folder":
            return folder
        case "empty":
            path.write_bytes(b"")
        case "text":
            path.write_text("no sound at all\n" * 20)
        case "m4a":
            path.write_bytes(b"\x00\x00\x00\x20ftypM4A " + os.urandom(2_000))
        case "silent":
            soundfile.write(path, np.zeros(4 * 8_000), 8_000)
        case "short":
            soundfile.write(path, NOISE[:4_000], 8_000)
        case "slow":
            soundfile.write(path, NOISE, 4_000)
        case "fast":
            soundfile.write(path, NOISE, 192_000)
        case "many":
            soundfile.write(path, np.stack([NOISE] * 6, axis=1), 8_000)
        case "long":
            soundfile.write(path, np.zeros(62 * 60 * 8_000, dtype=np.int8).astype(np.int16), 8_000, subtype="PCM_U8")
        case "no numbers":
            soundfile.write(path, np.full(4 * 8_000, np.nan), 8_000, subtype="FLOAT")
        case "header only":
            soundfile.write(path, NOISE, 8_000)
            path.write_bytes(path.read_bytes()[:60])
        case "cut flac":
            soundfile.write(path, NOISE, 8_000)
            path.write_bytes(path.read_bytes()[:3_000])
    return path


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("missing", "no such file"), ("folder", "is a folder"), ("empty", "is empty"), ("text", "no sound file"),
        ("m4a", "AAC"), ("silent", "is silent"), ("short", "0.5 seconds"), ("slow", "4000 samples"),
        ("fast", "192000 samples"), ("many", "6 channels"), ("long", "62 minutes"), ("no numbers", "no sound"),
        ("header only", "seconds of sound"), ("cut flac", "seconds of sound"),
    ],
)  # fmt: skip
def test_what_cannot_be_heard_is_one_clear_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], how: str, says: str
) -> None:
    path = spoilt(tmp_path, how)
    assert main(["listen", str(path)]) == 1
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert said[0].startswith(f"{path}: ")
    assert says in said[0]


def test_a_file_that_cannot_be_opened_is_one_clear_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("a\0b.wav", "x" * 300):
        assert main(["listen", name]) == 1
        assert len(capsys.readouterr().err.splitlines()) == 1


def test_what_is_left_of_a_file_that_was_cut_off_is_heard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = make(Sound(seconds=8, rate=8_000, speed=hover(), seed=2))
    soundfile.write(tmp_path / "it.wav", made.samples, made.rate)
    whole = (tmp_path / "it.wav").read_bytes()
    (tmp_path / "it.wav").write_bytes(whole[: len(whole) // 2])
    assert main(["listen", str(tmp_path / "it.wav"), "--speed", "12000"]) == 0
    assert "cut off after 0:0" in capsys.readouterr().out


@pytest.mark.parametrize(
    "option", [["--gear", "fast"], ["--speed", "70"], ["--load", "9-3"], ["--load", "soon"], ["--machine", "boat"],
               ["--firings", "thrice"], ["--stopped", "maybe"], ["--head-speed", "1500"], ["-o", "it.gif"]],
)  # fmt: skip
def test_options_that_cannot_be_are_one_clear_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], option: list[str]
) -> None:
    made = make(Sound(seconds=3, rate=8_000, seed=2))
    soundfile.write(tmp_path / "it.wav", made.samples, made.rate)
    assert main(["listen", str(tmp_path / "it.wav"), *option]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(("ending", "rate"), [("wav", 8_000), ("flac", 44_100), ("ogg", 48_000), ("wav", 96_000)])
def test_every_kind_and_rate_of_file_gives_the_same_speed(tmp_path: Path, ending: str, rate: int) -> None:
    made = make(Sound(seconds=4, rate=rate, speed=hover(11_000), seed=4))
    soundfile.write(tmp_path / f"it.{ending}", made.samples, rate)
    heard = hear(tmp_path / f"it.{ending}", Known(speed=11_000))
    assert np.median(heard.rpm[heard.running] / made.rpm(heard.at[heard.running])) == pytest.approx(1, abs=0.003)


def test_of_two_channels_the_louder_is_heard(tmp_path: Path) -> None:
    made = make(Sound(seconds=4, rate=16_000, seed=4))
    both = np.stack([0.02 * np.random.default_rng(1).standard_normal(made.samples.size), made.samples], axis=1)
    soundfile.write(tmp_path / "it.wav", both, made.rate)
    assert find(tmp_path / "it.wav").channel == 1
    assert hear(tmp_path / "it.wav").running.mean() > 0.9


def test_blocks_are_all_of_the_sound_and_no_more(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "it.wav", np.tile(NOISE, 6), 8_000, subtype="FLOAT")
    passed = Passed()
    sound = np.concatenate(list(blocks(find(tmp_path / "it.wav"), passed)))
    assert np.allclose(sound, np.tile(NOISE, 6), atol=1e-6)
    assert passed.whole
    assert passed.seconds == pytest.approx(24)


def test_a_long_recording_needs_no_more_memory_than_a_short_one_and_has_no_seams(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(envelope, "PART", 10.0)  # else it takes many minutes of sound to fill the parts that wait
    made = make(Sound(seconds=12, rate=8_000, speed=flight(seconds=12), share=0.2, seed=6))
    used, heard = [], []
    for times in (3, 5):
        path = tmp_path / f"{times}.wav"
        with soundfile.SoundFile(path, "w", samplerate=made.rate, channels=1) as out:
            for _ in range(times):
                out.write(made.samples)
        tracemalloc.start()
        heard.append(hear(path))
        used.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert used[1] < used[0] * 1.2
    assert used[1] < 40e6
    speeds = np.tile(made.truth.speed(np.arange(0.025, 12, 0.05)), 5)
    assert np.mean(np.abs(heard[1].rpm / speeds - 1) < 0.02) > 0.85
    for seam in (20, 30, 40):  # where parts meet, in the middle of the work
        frame = int(seam / 0.05)
        assert np.allclose(heard[1].rpm[frame - 4 : frame + 4] / speeds[frame - 4 : frame + 4], 1, atol=0.02)


# The command.


def test_the_page_the_picture_and_the_document(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = make(Sound(seconds=10, rate=16_000, stretches=((6.5, 6.8),), noise=12, seed=21))
    soundfile.write(tmp_path / "it.wav", made.samples, made.rate)
    asked = ["listen", str(tmp_path / "it.wav"), "--gear", "8", "--load", "0:01-0:05", "--load-off", "6-9.5"]
    assert main([*asked, "-o", str(tmp_path / "it.svg")]) == 0
    shown = capsys.readouterr().out
    assert "behind the safety line" in shown
    assert shown.index("behind the safety line") < shown.index("What is heard in it.wav")
    assert "12,0" in shown
    assert "a light burble" in shown
    assert "not yet on real engines" in " ".join(shown.split())
    assert "four-stroking" in (tmp_path / "it.svg").read_text(encoding="utf-8")
    assert main([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["format"] == "diagnose-listen"
    assert told["speed_certain"]
    assert told["results"]["power-speed"]["value"] == pytest.approx(12_000, rel=0.01)
    assert {one["finding"]: one["answer"] for one in told["answers"]}["load-off-sound"] == "light-burble"
    assert len(told["track"]["burbles"]) == 2


@pytest.mark.parametrize("columns", [40, 80])
def test_no_line_is_wider_than_the_screen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    made = make(Sound(seconds=6, rate=16_000, share=0.3, noise=12, seed=21))
    soundfile.write(tmp_path / "it.wav", made.samples, made.rate)
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.chdir(tmp_path)
    assert main(["--plain", "listen", "it.wav", "--speed", "12000", "--load", "1-4"]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= columns


def test_no_engine_is_an_exit_code_of_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    soundfile.write(tmp_path / "it.wav", NOISE, 8_000)
    assert main(["listen", str(tmp_path / "it.wav")]) == 1
    assert "No engine is heard" in capsys.readouterr().out


def test_a_name_that_would_steer_a_terminal_steers_none(tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[2Jb.wav"
    made = make(Sound(seconds=3, rate=8_000, seed=2))
    soundfile.write(path, made.samples, made.rate)
    assert "\x1b" not in find(path).name
    with pytest.raises(NotHeard):
        find(tmp_path / "none.wav")
