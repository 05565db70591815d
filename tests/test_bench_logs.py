"""Logs as loggers write them, and calculators at the command line."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from diagnose.bench.calculator import NotPossible
from diagnose.bench.log_file import Log, Wanted, read_log
from diagnose.cli import main


def _read(path: Path, text: str | bytes, time: str = "", heat: str = "", speed: str = "") -> Log:
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(
        str(path),
        (
            Wanted("time", time, ("time",), "second", -1e12, 1e12),
            Wanted("temperature", heat, ("cht",), "degC", -40, 500),
            Wanted("speed", speed, ("rpm",), "rpm", 0, 40_000, needed=False),
        ),
    )


FILES = {
    "commas": "time,CHT [C],rpm\n0,100,12000\n1.5,101.5,12100\n",
    "semicolons and decimal commas": "time;CHT [C];rpm\n0;100;12000\n1,5;101,5;12100\n",
    "tabs": "time\tCHT [C]\trpm\n0\t100\t12000\n1.5\t101.5\t12100\n",
    "a heading, quotes, an empty line": 'made by,nobody\n\n"time","CHT [C]","rpm"\n"0","100","12000"\n\n1.5,101.5,12100\n',
    "fahrenheit, milliseconds and other order": "rpm,CHT (F),time [ms],x\n12000,212,0,9\n12100,214.7,1500,9\n",
    "units in the cells": "time,CHT C,rpm\n0 s,212 F,12 krpm\n1.5 s,374.65 K,12100\n",
    "clock": "time,CHT [C],rpm\n0:00:00,100,12000\n0:00:01.5,101.5,12100\n",
    "dates": "time,CHT [C],rpm\n2026-05-01T10:00:00+00:00,100,12000\n2026-05-01T10:00:01.500+00:00,101.5,12100\n",
    "utf-16": "time,CHT [°C],rpm\n0,100,12000\n1.5,101.5,12100\n".encode("utf-16"),
    "windows letters": "time,CHT [°C],rpm\n0,100,12000\n1.5,101.5,12100\n".encode("cp1252"),
    "old line ends and a mark at the start": "\ufefftime,CHT [C],rpm\r0,100,12000\r1.5,101.5,12100\r",
}


@pytest.mark.parametrize("kind", FILES)
def test_the_same_log_is_read_in_any_dress(tmp_path: Path, kind: str) -> None:
    log = _read(tmp_path / "log.csv", FILES[kind])
    first = log.columns["time"][0]
    assert [time - first for time in log.columns["time"]] == pytest.approx([0, 1.5])
    assert log.columns["temperature"] == pytest.approx((100, 101.5), abs=0.01)
    assert log.columns["speed"] == pytest.approx((12_000, 12_100))
    assert log.junk == ()


def test_a_column_may_be_named_by_its_place_where_there_is_no_heading(tmp_path: Path) -> None:
    log = _read(tmp_path / "log.csv", "7,0,100\n7,1,101\n", time="2", heat="3 in C")
    assert (log.columns["time"], log.columns["temperature"]) == ((0, 1), (100, 101))
    assert "speed" not in log.columns


def test_what_cannot_be_read_is_named_by_line_and_column_and_left_out(tmp_path: Path) -> None:
    text = "time;CHT [C];rpm\n0;100;12000\n1;;12000\n2;9999;12000\n3;101;fast\nNOISE\n5;102;12000\n"
    log = _read(tmp_path / "log.csv", text)
    assert log.lines == (2, 5, 7)
    assert math.isnan(log.columns["speed"][1])
    assert log.left_out == 3
    assert [line.removeprefix(str(tmp_path)) for line in log.junk] == [
        "/log.csv:3:3: no temperature",
        "/log.csv:4:3: '9999' is no temperature that can be (-40 to 500 degrees C)",
        "/log.csv:5:7: 'fast' is no speed",
        "/log.csv:6:1: 'NOISE' is no time",
    ]


@pytest.mark.parametrize(
    "text, named, says",
    [
        ("time,CHT [C]\n0,1\n", {"heat": "EGT"}, "no column is called 'EGT'; the columns are time, CHT .C.; name one with"),
        ("a,b\n0,1\n", {}, "which column is the time.; the columns are a, b; name one with --time"),
        ("time,CHT\n0,1\n", {"heat": "CHT in rpm"}, "'rpm' is no unit of temperature"),
        ("just words\n", {}, "no columns are found"),
        (bytes(range(256)) * 20, {}, "no columns are found|which column"),
    ],
)
def test_a_log_that_cannot_be_meant_is_one_line(
    tmp_path: Path, text: str | bytes, named: dict[str, str], says: str
) -> None:
    with pytest.raises(NotPossible, match=says) as caught:
        _read(tmp_path / "log.csv", text, **named)
    assert str(caught.value).isprintable()


def test_a_folder_or_a_missing_file_is_one_line(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.csv", "a\0b"):
        with pytest.raises(NotPossible):
            read_log(str(path), (Wanted("time", "", ("time",), "second", 0, 1),))


@settings(max_examples=150, deadline=None)
@given(some.text(some.sampled_from('0123456789.,;:-\t\n"ab[]() \x1b\x00é'), max_size=120))
def test_no_file_brings_it_down(tmp_path_factory: pytest.TempPathFactory, rest: str) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    try:
        log = _read(path, "time,CHT [C],rpm\n1,100,9\n" + rest)
    except NotPossible as error:
        assert "\n" not in str(error)
    else:
        assert all(line.isprintable() for line in log.junk)


def test_the_bench_answers_at_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points = ["--point", "0, 8", "--point", "25 22", "--point", "50;38", "--point", "75 %, 58 %, 1500 rpm"]
    assert main(["bench", "curve", *points, "-o", str(tmp_path / "curve.svg")]) == 0
    said = capsys.readouterr().out
    assert (
        "Stick 25 %" in said and "NOT measured" in said and "low governed head speed on a switch" in " ".join(said.split())
    )
    assert "Throttle over stick" in (tmp_path / "curve.svg").read_text(encoding="utf-8")
    assert main(["bench", "leak", "--reading", "0, 0.4 bar", "--reading", "1 min, 3 psi", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["findings"] == {"leak-down": "slow"}
    assert document["inputs"]["reading"] == {"value": [[0.0, 0.4], [60.0, pytest.approx(0.2068, abs=1e-4)]],
                                             "unit": ["second", "bar"]}  # fmt: skip


@pytest.mark.parametrize(
    "words, says",
    [
        (["curve", "--point", "50"], "point: '50' is not 2 to 3 numbers; write stick (%), throttle (%), speed (rpm)"),
        (["curve", "--point", "50, 130"], "throttle: 130 cannot be: from 0 to 100 % is possible here"),
        (["heat", "--temperature", "CHT"], "heat needs --file"),
        (["leak", "--reading", "0, -1"], "pressure: -1 cannot be"),
        (["curve", "--file", "", "--point", "1 2"], "file: write the path of a file"),
    ],
)
def test_a_wrong_option_is_one_line_and_exit_code_2(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["bench", *words]) == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1
