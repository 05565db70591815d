"""The program as it is started: first question, batch ranking, bad input, and exit codes."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.case.log import CaseLog
from diagnose.cli import MISUSED, WELL, WRONG, main
from diagnose.knowledge.packs import base_pack

HERE = Path(__file__).parent


def run(*arguments: str, typed: str = "", data: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "DIAGNOSE_DATA": str(data or "/nonexistent"), "COLUMNS": "80", **more}
    return subprocess.run(
        [sys.executable, "-m", "diagnose", *arguments],
        input=typed, capture_output=True, text=True, env=environment, timeout=60,
    )  # fmt: skip


def case_file(folder: Path, text: str) -> Path:
    path = folder / "case.yaml"
    path.write_text(text)
    return path


LOOSE = "title: loose\nmachine: helicopter\nfindings: {idle: hunts, bolts: loose}\n"


def test_a_walk_from_a_pipe_keeps_what_was_answered(tmp_path: Path) -> None:
    done = run("--plain", typed="surges at idle\n1\nnone\n", data=tmp_path)
    assert done.returncode == WELL, done.stderr
    assert "What does it do, in the owner's words?" in done.stdout
    assert "What is the engine in?" in done.stdout
    assert "Kept: 1 answers" in done.stdout
    assert "\x1b" not in done.stdout
    (log,) = (tmp_path / "cases").glob("*.jsonl")
    assert '"surges at idle"' in log.read_text()


def test_the_next_start_offers_to_go_on(tmp_path: Path) -> None:
    run("--plain", typed="surges at idle\n1\n", data=tmp_path)
    again = run("--plain", typed="1\n", data=tmp_path)
    assert "go on with" in again.stdout
    assert "The owner said: surges at idle" in again.stdout


def test_an_open_case_is_gone_on_with_by_its_name(tmp_path: Path) -> None:
    run("--plain", typed="surges at idle\n1\n", data=tmp_path)
    (log,) = (tmp_path / "cases").glob("*.jsonl")
    run("--plain", "--new", typed="it will not start\n1\n", data=tmp_path)
    again = run("--plain", "--case", log.stem, data=tmp_path)
    assert again.returncode == WELL, again.stderr
    assert f"Going on with case {log.stem}" in again.stdout and "The owner said: surges at idle" in again.stdout


def test_a_case_that_cannot_be_gone_on_with_is_said_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with CaseLog.create(tmp_path / "cases") as log:
        log.append("closed", how="undecided", causes=[])
    assert main(["--data", str(tmp_path), "--plain", "--case", log.path.stem]) == WRONG
    assert f"this case is closed; 'diagnose report {log.path.stem}'" in capsys.readouterr().err
    assert main(["--data", str(tmp_path), "--plain", "--case", "2026-05-01-99"]) == WRONG
    assert "there is no such case; 'diagnose cases' lists" in capsys.readouterr().err


def test_a_set_up_is_gone_on_with_by_its_name(tmp_path: Path) -> None:
    first = run("--plain", "setup", data=tmp_path)
    (log,) = (tmp_path / "cases").glob("*.jsonl")
    again = run("--plain", "--case", log.stem, data=tmp_path)
    assert (first.returncode, again.returncode) == (WELL, WELL), again.stderr
    assert "Set-up, from the bare carburettor" in again.stdout
    assert len(list((tmp_path / "cases").iterdir())) == 1


def test_an_empty_log_left_by_a_start_that_was_cut_off_is_no_case(tmp_path: Path) -> None:
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "2026-05-01-1.jsonl").touch()
    listed = run("cases", data=tmp_path)
    assert (listed.returncode, listed.stderr) == (WELL, "")
    assert "No cases in" in listed.stdout


@pytest.mark.parametrize("width", ["40", "80"])
def test_the_walk_fits_narrow_screens(tmp_path: Path, width: str) -> None:
    done = run("--plain", typed="surges at idle\n1\nnone\n1\n1\n", data=tmp_path, COLUMNS=width)
    wide = [line for line in done.stdout.splitlines() if len(line) > int(width) and "/" not in line]
    assert wide == []


def test_rank_gives_a_document_with_its_version(tmp_path: Path) -> None:
    done = run("rank", str(case_file(tmp_path, LOOSE)), "--json")
    assert done.returncode == WELL, done.stderr
    document = json.loads(done.stdout)
    assert (document["format"], document["version"]) == ("diagnose-standing", 1)
    (case,) = document["cases"]
    assert set(case) == {
        "title", "packs", "findings", "causes", "pairs", "other", "conditions", "cautions", "holds", "clashes", "next",
        "questions",
    }  # fmt: skip
    assert case["causes"][0]["cause"] == "carb-bolts-loose"
    evidence = case["causes"][0]["evidence"]
    assert all(set(entry) == {"of", "decibels", "undamped_decibels", "because"} for entry in evidence)


def test_rank_takes_many_files_and_folders(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.yaml").write_text(LOOSE)
    done = run("rank", str(tmp_path), str(tmp_path / "a.yaml"), "--json")
    assert len(json.loads(done.stdout)["cases"]) == 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "machine: helicopter\nfindings: {idel: hunts}\n",
            "case.yaml:2:12: no finding is called 'idel'; did you mean 'idle'?",
        ),
        ("machine: helicopter\nfindings: {idle: hunt}\n", "case.yaml:2:18: 'hunt' is no answer of 'idle'"),
        ("machine: helicopter\nfindings: {head-temperature: 5000 C}\n", "case.yaml:2:30: 5000 C cannot be"),
        ("machine: boat\nfindings: {}\n", "case.yaml:1:10: 'boat' is no answer of 'machine'"),
        ("findings: {}\nfindings: {}\n", "case.yaml:2:1: 'findings' is written twice"),
        ("- a\n", "case.yaml:1:1: a case file takes machine: and findings:"),
        ("{", "case.yaml:1:2: not readable as YAML"),
        ("machine: [a]\nfindings: {}\n", "case.yaml:1:10: 'machine' takes one text"),
        (
            "machine: helicopter\nfindings: {}\nrepairs: {nothing: same}\n",
            "case.yaml:3:11: no cause is called 'nothing'",
        ),
    ],
)
def test_a_bad_case_file_gets_one_clear_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, says: str
) -> None:
    assert main(["rank", str(case_file(tmp_path, text))]) == WRONG
    errors = capsys.readouterr().err
    assert says in errors
    assert "Traceback" not in errors


def test_files_that_are_missing_or_empty_are_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rank", str(tmp_path / "none.yaml")]) == WRONG
    assert "none.yaml:1:1: cannot be read: No such file or directory" in capsys.readouterr().err
    assert main(["rank", str(tmp_path)]) == WRONG
    assert "no case file" in capsys.readouterr().err


def test_wrong_use_exits_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["--no-such-option"])
    assert left.value.code == MISUSED


def test_a_pack_that_is_not_yaml_gets_one_line_and_keeps_what_was_typed(tmp_path: Path) -> None:
    pack = tmp_path / "pack"
    pack.mkdir()
    (pack / "pack.yaml").write_text("pack: [\n")
    done = run("--plain", "--rules", str(pack), typed="surges at idle\n", data=tmp_path / "data")
    assert done.returncode == WRONG
    assert "pack.yaml:2:1: not readable as YAML: a quote or bracket is opened and never closed" in done.stderr
    assert "Traceback" not in done.stderr
    (log,) = (tmp_path / "data" / "cases").glob("*.jsonl")
    assert "surges at idle" in log.read_text()
    assert f'Without club packs it goes on with: diagnose --rules "{base_pack()}"' in done.stderr
    on = run("--plain", "--rules", str(base_pack()), typed="\n", data=tmp_path / "data")
    assert on.returncode == WELL, on.stderr
    assert "surges at idle" in on.stdout


def test_a_data_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    done = run("--plain", typed="x\n", data=tmp_path / "file")
    assert done.returncode == WRONG
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_report_that_cannot_be_written_is_said_and_the_case_kept(tmp_path: Path) -> None:
    (tmp_path / "reports").write_text("in the way")
    done = run("--plain", typed="x\n1\nreport\nnote the line is old\n", data=tmp_path)
    said = " ".join(done.stdout.split())
    assert "the report cannot be written" in said and "the case itself is kept" in said
    assert "Noted." in said.partition("the case itself is kept")[2]  # it asks on
    (log,) = (tmp_path / "cases").glob("*.jsonl")
    assert "the line is old" in log.read_text()


def test_a_case_that_closes_without_its_report_is_in_the_book_and_its_cause_is_offered_to_the_rules(tmp_path: Path) -> None:
    (tmp_path / "reports").write_text("in the way")
    done = run("--plain", typed="x\n1\nfound a mouse in the muffler\n1\n?\n2\n", data=tmp_path)
    said = " ".join(done.stdout.split())
    assert done.returncode == WRONG
    assert said.index("Closed: a mouse") < said.index("the report cannot be written") < said.index("Kept in the book.")
    assert "These rules do not know" in said.partition("Kept in the book.")[2]


def test_a_set_up_asks_on_when_its_record_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "reports").write_text("in the way")
    done = run("--plain", "setup", typed="1\nreport\nnote the line is old\n", data=tmp_path)
    said = " ".join(done.stdout.split())
    assert "Noted." in said.partition("the set-up itself is kept")[2]


def test_a_closed_terminal_loses_nothing(tmp_path: Path) -> None:
    """The reader of the output goes away in the middle of the walk."""
    environment = {**os.environ, "DIAGNOSE_DATA": str(tmp_path)}
    walk = subprocess.Popen(
        [sys.executable, "-m", "diagnose", "--plain"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment,
    )  # fmt: skip
    assert walk.stdin and walk.stdout and walk.stderr
    walk.stdin.write("surges at idle\n1\n")
    walk.stdin.flush()
    while "Which of these are true" not in walk.stdout.readline():
        pass
    walk.stdout.close()
    walk.stdin.write("none\n1\n1\n1\n")
    walk.stdin.close()
    assert "Traceback" not in walk.stderr.read()
    assert walk.wait(timeout=30) == WRONG
    (log,) = (tmp_path / "cases").glob("*.jsonl")
    assert '"finding": "machine"' in log.read_text()


def test_no_input_at_all_leaves_in_peace(tmp_path: Path) -> None:
    done = subprocess.run(
        f"{sys.executable} -m diagnose --plain <&-", shell=True, capture_output=True, text=True,
        env={**os.environ, "DIAGNOSE_DATA": str(tmp_path)}, timeout=60,
    )  # fmt: skip
    assert done.returncode == WELL
    assert "Traceback" not in done.stderr
    assert "Kept:" in done.stdout


def test_an_output_that_takes_no_more_is_said(tmp_path: Path) -> None:
    done = subprocess.run(
        f"printf 'x\\n' | {sys.executable} -m diagnose --plain >/dev/full", shell=True, capture_output=True, text=True,
        env={**os.environ, "DIAGNOSE_DATA": str(tmp_path)}, timeout=60,
    )  # fmt: skip
    assert "No space left on device" in done.stderr
    assert "Traceback" not in done.stderr


def test_report_writes_the_report_of_a_kept_case(tmp_path: Path) -> None:
    run("--plain", typed="surges at idle\n1\nnone\n", data=tmp_path)
    (log,) = (tmp_path / "cases").glob("*.jsonl")
    done = run("report", log.stem, data=tmp_path)
    assert done.returncode == WELL, done.stderr
    assert all(Path(line).is_file() for line in done.stdout.splitlines())
    missing = run("report", "2020-01-01-1", data=tmp_path)
    assert missing.returncode == WRONG
    assert "cannot be read" in missing.stderr


def test_cases_lists_what_is_kept(tmp_path: Path) -> None:
    assert "No cases" in run("cases", data=tmp_path).stdout
    run("--plain", typed="surges at idle\n1\n", data=tmp_path)
    assert "open  surges at idle" in run("cases", data=tmp_path).stdout


def test_the_first_question_needs_neither_numpy_nor_the_rule_engine() -> None:
    """What takes long to load is loaded while the first question is read."""
    program = (
        "import sys\n"
        "import diagnose.cli, diagnose.shell.console, diagnose.shell.opening\n"
        "print(sorted({'numpy', 'experta', 'pint', 'jinja2', 'prompt_toolkit'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
