"""A cause that the rules did not know is written down at the pits: asked in plain words, proved first, and the case that
taught it is its first test. Whoever stops loses nothing, and no pack is ever left broken."""

import shutil
from pathlib import Path

import pytest
from conftest import BENCH
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.case.log import CaseLog
from diagnose.cli import WRONG, main
from diagnose.clubrules import placing
from diagnose.clubrules.drafting import slug, unused
from diagnose.clubrules.trying import try_packs
from diagnose.knowledge.checked import check
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import load
from diagnose.report.files import CannotWrite
from diagnose.shell.console import ScriptedConsole
from diagnose.shell.drafting import draft, offer
from diagnose.shell.sitting import Sitting
from diagnose.testing import DEMO_CLOCK, walk_with

WALKED = ["surges at idle and sags under load", "helicopter", "1 2", "found fuel line kinked in the tank", "1"]

ANSWERS = {
    "pack": [""],
    "name": ["The line folds in the tank"],
    "explains": ["It folds when the tank is full and starves the engine."],
    "family": ["fuel"],
    "how-common": [""],
    "signs": [""],
    "nearly-always": ["2"],
    "sometimes": ["none"],
    "look": ["Take the tank out.", "Look at the line.", ""],
    "look-question": ["Does the line fold?"],
    "look-so": ["it folds"],
    "look-well": ["it hangs free"],
    "look-engine": [""],
    "steps": ["Cut the line shorter.", ""],
    "minutes": ["15"],
    "proof": [""],
    "harm": ["It starves and seizes."],
    "warns": ["1"],
}
WRITE = ["1"]


def lines_of(answers: dict[str, list[str]]) -> list[str]:
    return [line for lines in answers.values() for line in lines] + WRITE


class Typed:
    def __init__(self, lines: list[str]) -> None:
        self._waiting = list(lines)

    def __call__(self, _: list[str]) -> str | None:
        return self._waiting.pop(0) if self._waiting else None


def closed_case(knowledge: Knowledge, folder: Path) -> Path:
    """A walk over the bench pack that was closed with a cause of the owner's own."""
    _, log = walk_with(knowledge, Typed(WALKED), folder)
    assert log.state.closing is not None
    assert log.state.closing.causes == ("fuel line kinked in the tank",)
    return log.path


def drafted(knowledge: Knowledge, log: Path, lines: list[str], width: int = 76) -> ScriptedConsole:
    console = ScriptedConsole(Typed(lines), width)
    with CaseLog.open(log, clock=lambda: DEMO_CLOCK) as opened:
        data = log.parent.parent
        draft(Sitting(knowledge, opened, console, data / "reports"), data / "rules", False)
    return console


def files_of(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): p.read_text() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_the_drafted_cause_leads_in_its_own_case_and_is_proved_both_ways(bench: Knowledge, tmp_path: Path) -> None:
    console = drafted(bench, closed_case(bench, tmp_path), lines_of(ANSWERS))
    assert any("in its own case it stands first" in line for line in console.lines)
    pack = tmp_path / "rules" / "our-club"
    found = check([BENCH, pack])
    assert found.errors == ()
    assert try_packs(found.knowledge, found.knowledge.packs[1:]).well
    cause = found.knowledge.causes["our-club-line-folds-tank"]
    assert cause.name == "The line folds in the tank"
    assert {name: dict(tell.words) for name, tell in cause.shows.items()} == {
        "idle": {"hunts": "nearly-always"}, "under-load": {"sags": "usually"},
        "our-club-line-folds-tank-seen": {"so": "nearly-always"},
    }  # fmt: skip
    assert set(found.knowledge.rules) - set(bench.rules) == {
        "our-club-line-folds-tank-soon", "our-club-line-folds-tank-warns"
    }  # fmt: skip
    assert list(files_of(pack)) == [
        "cases/line-folds-tank-not.yaml", "cases/line-folds-tank.yaml", "line-folds-tank.yaml", "pack.yaml"
    ]  # fmt: skip


def test_only_a_case_closed_with_an_unknown_cause_is_offered(bench: Knowledge, tmp_path: Path) -> None:
    for place, (lines, offered) in enumerate([(WALKED, True), ([*WALKED[:-2], "found bolts-loose", "1"], False)]):
        folder = tmp_path / str(place)
        _, log = walk_with(bench, Typed(lines), folder)
        console = ScriptedConsole(Typed(["2"]))
        with CaseLog.open(log.path) as opened:
            sitting = Sitting(bench, opened, console, folder / "reports")
            assert offer(sitting, folder / "rules", False) is None
        assert bool(console.lines) is offered
        assert not (folder / "rules").exists()
    assert console.lines == []


def test_whoever_stops_at_any_point_goes_on_there_and_comes_to_the_same(bench: Knowledge, tmp_path: Path) -> None:
    log = closed_case(bench, tmp_path)
    everything = lines_of(ANSWERS)
    drafted(bench, log, everything)
    whole = files_of(tmp_path / "rules" / "our-club")
    starts = []  # the lines after which a new part begins
    for lines in ANSWERS.values():
        starts.append((starts[-1] if starts else 0) + len(lines))
    for stop in starts:
        folder = tmp_path / f"stopped-{stop}"
        log = closed_case(bench, folder)
        console = drafted(bench, log, everything[:stop])
        assert not (folder / "rules").exists()
        assert f"diagnose rules draft {log.stem}" in "\n".join(console.lines)
        drafted(bench, log, everything[stop:])
        assert files_of(folder / "rules" / "our-club") == whole


def test_steps_typed_before_stopping_are_offered_again(bench: Knowledge, tmp_path: Path) -> None:
    log = closed_case(bench, tmp_path)
    upto = lines_of(ANSWERS).index("Look at the line.")
    drafted(bench, log, lines_of(ANSWERS)[: upto + 1])
    console = drafted(bench, log, [])
    assert "[Take the tank out. / Look at the line.]" in " ".join(" ".join(console.lines).split())


def test_a_draft_goes_on_after_a_question_it_rested_on_was_renamed(tmp_path: Path, club: Path) -> None:
    """Those who draft rules are those who rename questions. What rested on the old name is asked again, and only that."""
    question = (
        "- finding: {name}\n  ask: Is there a kink?\n  why: It starves.\n  minutes: 1\n"
        "  answers: {{no: {{say: none, seen: usually}}, yes: {{say: a kink, seen: rarely}}}}\n"
    )
    (club / "line.yaml").write_text(question.format(name="windsock-kink"))
    then = load([BENCH, club])
    _, log = walk_with(then, Typed(WALKED[:3]), tmp_path)
    with CaseLog.open(log.path) as opened:
        opened.append("answer", finding="windsock-kink", answer="yes")
        opened.append("closed", how="found", causes=["fuel line kinked in the tank"])
    upto = [line for key in ("pack", "name", "explains", "family", "how-common") for line in ANSWERS[key]]
    drafted(then, log.path, [*upto, "1 2 3", "3", "none"])
    (club / "line.yaml").write_text(question.format(name="windsock-folded"))
    now = load([BENCH, club])
    begun = ("pack", "name", "explains", "family", "how-common", "sometimes")
    console = drafted(now, log.path, lines_of({key: lines for key, lines in ANSWERS.items() if key not in begun}))
    asked = " ".join(" ".join(console.lines).split())
    assert "Which of these answers come from this fault" in asked
    assert "Which of those would you see nearly every time" in asked
    assert "And which only now and then" not in asked
    assert "What is the cause called" not in asked
    together = load([BENCH, club])
    assert {"idle", "under-load"} < set(together.causes["windsock-line-folds-tank"].shows)
    assert try_packs(together, together.packs[1:]).well


@pytest.mark.parametrize(
    ("part", "says", "asked"),
    [
        ("family", [], "Where does it belong?"),
        ("how-common", ["now and then"], "How common is it"),
        ("minutes", ["about ten"], "About how many minutes"),
        ("settled-by", ["a-check-that-was-renamed"], "What showed that it was this"),
        ("warns", ["a-caution-that-was-renamed"], "Must one of these cautions"),
    ],
)
def test_what_a_draft_cannot_hold_is_asked_again(
    part: str, says: list[str], asked: str, bench: Knowledge, tmp_path: Path
) -> None:
    _, log = walk_with(bench, Typed([*WALKED[:3], "1", "1", "loose", "found the bolt holes are worn", "1"]), tmp_path)
    lines = lines_of(ANSWERS)[: -len(WRITE)]
    look = lines.index("Take the tank out.")
    drafted(bench, log.path, [*lines[:look], "a look of our own", *lines[look:]])
    with CaseLog.open(log.path) as opened:
        opened.append("draft", part=part, says=says)
    console = drafted(bench, log.path, [])
    assert any(line.startswith(asked) for line in console.lines)


def test_back_asks_the_question_before_again_with_what_was_said(bench: Knowledge, tmp_path: Path) -> None:
    console = drafted(bench, closed_case(bench, tmp_path), ["", "Kink", "back", "Fold", "It folds."])
    assert "What is the cause called, in a few words? [Kink]" in console.lines
    assert "What goes wrong there, in a sentence or two? [Fold.]" in console.lines


# A pack of one's own.


@pytest.fixture
def club(tmp_path: Path) -> Path:
    """A pack of the club's own with remarks, a rule and its cases."""
    pack = tmp_path / "rules" / "windsock"
    (pack / "cases").mkdir(parents=True)
    (pack / "pack.yaml").write_text("# ours\npack: windsock\nname: Ours   # invented\nversion: 0.3\nauthor: the tests\n")
    (pack / "own.yaml").write_text(
        "# a remark\n- rule: windsock-sag   # another\n  when: {under-load: sags}\n  caution: [hot]\n"
        "  because: It was run hard.\n  basis: invented\n"
    )
    (pack / "cases" / "sags.yaml").write_text("title: sags\ninput: {under-load: sags}\nfires: [windsock-sag]\n")
    (pack / "cases" / "pulls.yaml").write_text("title: pulls\ninput: {under-load: clean}\nsilent: [windsock-sag]\n")
    return pack


def test_a_draft_is_added_to_a_pack_and_every_letter_of_it_stays(tmp_path: Path, club: Path) -> None:
    knowledge = load([BENCH, club])
    before = files_of(club)
    drafted(knowledge, closed_case(knowledge, tmp_path), lines_of(ANSWERS))
    after = files_of(club)
    assert {name: text for name, text in after.items() if name in before} == before
    assert sorted(set(after) - set(before)) == [
        "cases/line-folds-tank-not.yaml", "cases/line-folds-tank.yaml", "line-folds-tank.yaml"
    ]  # fmt: skip
    together = load([BENCH, club])
    assert try_packs(together, together.packs[1:]).well


def test_the_same_cause_drafted_twice_gets_ids_and_files_of_its_own(tmp_path: Path, club: Path) -> None:
    for _ in range(2):
        knowledge = load([BENCH, club])
        drafted(knowledge, closed_case(knowledge, tmp_path), lines_of(ANSWERS))
    causes = [name for name in load([BENCH, club]).causes if name.startswith("windsock")]
    assert causes == ["windsock-line-folds-tank-2", "windsock-line-folds-tank"]


def test_a_check_of_the_rules_may_settle_it(tmp_path: Path, bench: Knowledge) -> None:
    _, log = walk_with(bench, Typed([*WALKED[:3], "1", "1", "loose", "found the bolt holes are worn", "1"]), tmp_path)
    answers = {
        key: lines for key, lines in ANSWERS.items() if not key.startswith("look")
    } | {"signs": ["1 2"], "settled-by": ["1"]}  # fmt: skip
    order = ["pack", "name", "explains", "family", "how-common", "signs", "nearly-always", "sometimes", "settled-by"]
    answers = {key: answers[key] for key in [*order, *(key for key in answers if key not in order)]}
    drafted(bench, log.path, lines_of(answers))
    knowledge = load([BENCH, tmp_path / "rules" / "our-club"])
    cause = knowledge.causes["our-club-line-folds-tank"]
    assert cause.settled_by == "bolt-check"
    assert dict(cause.shows["bolts"].words) == {"loose": "nearly-always"}
    assert try_packs(knowledge, knowledge.packs[1:]).well


# Nothing unsafe, nothing broken.


def test_no_text_of_a_draft_may_say_to_close_a_needle_and_a_step_that_does_stands_under_its_hold(
    tmp_path: Path, bench: Knowledge
) -> None:
    answers = ANSWERS | {
        "explains": ["Close the H needle an eighth.", "Too rich, and nobody dares."],
        "steps": ["Close the H needle a sixteenth.", ""],
        "needle": ["2"],
    }
    order = [*list(ANSWERS)[: list(ANSWERS).index("minutes") + 1], "needle", "proof", "harm", "warns"]
    console = drafted(bench, closed_case(bench, tmp_path), lines_of({key: answers[key] for key in order}))
    assert "only a step of a fix may" in " ".join(console.lines)
    fix = load([BENCH, tmp_path / "rules" / "our-club"]).causes["our-club-line-folds-tank"].fix
    assert [(step.do, step.under) for step in fix.steps] == [("Close the H needle a sixteenth.", ("close-needle",))]
    assert fix.needle == "H"


@pytest.mark.parametrize("new", [True, False])
def test_a_disk_that_takes_no_more_leaves_the_rules_as_they_were(
    tmp_path: Path, club: Path, monkeypatch: pytest.MonkeyPatch, new: bool
) -> None:
    if new:
        shutil.rmtree(club.parent)
    knowledge = load([BENCH] if new else [BENCH, club])
    log = closed_case(knowledge, tmp_path)
    before = files_of(tmp_path / "rules") if not new else {}
    written = []

    write_bytes = Path.write_bytes

    def write(path: Path, content: bytes) -> int:
        if "tmp" not in path.parts[1] or len(written) > 1 and str(path).startswith(str(tmp_path / "rules")):
            raise OSError(28, "No space left on device")
        if str(path).startswith(str(tmp_path / "rules")):
            written.append(path)
        return write_bytes(path, content)

    monkeypatch.setattr(Path, "write_bytes", write)
    with pytest.raises(CannotWrite, match="No space left on device; nothing was changed"):
        drafted(knowledge, log, lines_of(ANSWERS))
    assert (files_of(tmp_path / "rules") if (tmp_path / "rules").exists() else {}) == before


def test_a_draft_that_does_not_prove_right_is_not_written(
    tmp_path: Path, bench: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were the drafting itself at fault, the proof in the temporary place would stop it."""
    monkeypatch.setattr(placing, "pack_file", lambda pack, knowledge: "pack: nonsense and more\n")
    console = drafted(bench, closed_case(bench, tmp_path), [*lines_of(ANSWERS)[:-1], "2"])
    assert "It cannot be put in like this:" in console.lines
    assert not (tmp_path / "rules").exists()


REPLY = st.one_of(
    st.sampled_from(["", "", "", "1", "2", "3", "1 2", "none", "back", "help", "leave", "15", "-1", "nan", "fuel"]),
    st.text(max_size=12),
    st.sampled_from(["Close the H needle an eighth.", "no", "~", "# a", "a: b", "'", "{x", "- y", "&a", "Spill the fuel."]),
)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), database=None, derandomize=True)
@given(st.lists(REPLY, min_size=10, max_size=45))
def test_whatever_is_typed_the_pack_is_whole_or_not_there(tmp_path_factory: pytest.TempPathFactory, typed: list) -> None:
    knowledge = load([BENCH])
    folder = tmp_path_factory.mktemp("draft")
    console = drafted(knowledge, closed_case(knowledge, folder), [*typed, *["1"] * 12], 40)
    assert all(line.isprintable() and len(line) <= 60 for line in console.lines)
    for pack in (folder / "rules").glob("*") if (folder / "rules").exists() else ():
        together = load([BENCH, pack])
        assert try_packs(together, together.packs[1:]).well


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("The line folds in the tank", "line-folds-tank"),
        ("Motör läuft!", "motor-lauft"),
        ("发动机", ""),
        ("it is on", "it-is-on"),
        ("a " * 40 + "supercalifragilisticexpialidocious", "supercalifragilisticexpialid"),
    ],
)
def test_ids_are_made_of_words(words: str, name: str) -> None:
    assert slug(words) == name


def test_an_id_that_is_taken_gets_a_number() -> None:
    assert unused("kink", {"kink", "kink-2"}) == "kink-3"


def test_a_case_that_has_nothing_to_draft_gets_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with CaseLog.create(tmp_path / "cases") as log:
        path = log.path
    assert main(["--data", str(tmp_path), "rules", "draft", path.stem]) == WRONG
    assert "only a case closed with a cause that the rules do not know" in capsys.readouterr().err
    assert main(["--data", str(tmp_path), "rules", "draft", "never-was"]) == WRONG
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_new_pack_that_cannot_be_written_says_so(tmp_path: Path, bench: Knowledge) -> None:
    (tmp_path / "rules").write_text("in the way")
    with pytest.raises(CannotWrite, match="nothing was changed"):
        placing.put_in_place(tmp_path / "rules" / "our-club", "our-club", {}, bench)
