"""Rules are shown with all that touches them, compared on cases, drawn, and printed as pit cards that guard first."""

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from test_report import EVIL, Nesting

from diagnose.cli import MISUSED, WELL, WRONG, main
from diagnose.clubrules import card_order
from diagnose.clubrules import picture as drawing
from diagnose.clubrules import pit_card as cards
from diagnose.clubrules.comparing import Comparison, compare, document
from diagnose.clubrules.comparing import lines as compared_lines
from diagnose.clubrules.in_words import ratios, strength
from diagnose.clubrules.picture import knowledge_for, picture
from diagnose.clubrules.pit_card import LINES_A_PAGE, card, main_symptoms
from diagnose.clubrules.showing import SHELVES, NotFound, lines, roots, sheets
from diagnose.knowledge.advice import STRONG
from diagnose.knowledge.chains import above
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load
from diagnose.knowledge.source import FaultyFiles
from diagnose.planning.examine import examine
from diagnose.report.files import CannotWrite, write_whole

CHROMIUM = shutil.which("chromium")
HERE = Path(__file__).parent
BENCH = HERE / "packs" / "bench"
BENCH_TEXT = (BENCH / "bench.yaml").read_text()
PACK_TEXT = (BENCH / "pack.yaml").read_text()


def pack(folder: Path, text: str, about: str = PACK_TEXT) -> Path:
    folder.mkdir()
    (folder / "pack.yaml").write_text(about)
    (folder / "rules.yaml").write_text(text)
    return folder


def without(entry: str) -> str:
    """The bench pack without one entry."""
    parts = re.split(r"(?m)^(?=- )", BENCH_TEXT)
    kept = [part for part in parts if not part.startswith(f"- {entry}\n")]
    assert len(kept) == len(parts) - 1
    return "".join(kept)


def shown(knowledge: Knowledge, name: str) -> str:
    return "\n".join(line for sheet in sheets(knowledge, name) for line in lines(sheet))


def flat(text: str) -> str:
    return " ".join(text.split())


# Show.


def test_an_entry_is_shown_with_the_place_where_it_is_written(bench: Knowledge) -> None:
    place = bench.rules["sags-is-lean"].id.place
    assert BENCH_TEXT.splitlines()[place.line - 1][place.column - 1 :] == "sags-is-lean"
    assert f"written at {place}" in shown(bench, "sags-is-lean")


def test_a_rule_shows_its_premise_its_reason_and_everything_it_chains_to(bench: Knowledge) -> None:
    text = flat(shown(bench, "sags-is-lean"))
    assert "when How does it pull? [under-load] 'it sags'" in text
    assert "concludes: Lean under load [lean-under-load]" in text
    assert "because: It sags for want of fuel." in text
    for further in ("lean-chain:", "no-power-while-lean:", "tell-of-lean: gives the caution lean-run"):
        assert further in text, further


def test_a_chain_reaches_cautions_two_links_away(bench: Knowledge) -> None:
    assert {rule.id for rule in above(bench, ["lean-under-load"])} == {
        "lean-chain", "no-power-while-lean", "tell-of-lean", "no-closing-until-rich",
    }  # fmt: skip
    assert roots(bench, "lean-possible") == ("idle", "under-load")


def test_a_finding_shows_who_shows_it_with_both_words_and_the_strength(bench: Knowledge) -> None:
    text = flat(shown(bench, "bolts"))
    assert "loose: nearly always here, rarely otherwise; speaks strongly for it, 7.1 times as often" in text
    assert "tight: not named here, usually otherwise; speaks very strongly against it" in text
    assert "bolt-check: Try the bolts" in text
    assert "no-bolts-when-dead: leaves out bolts" in text


def test_the_strength_is_what_ranking_counts(bench: Knowledge, tmp_path: Path) -> None:
    from diagnose.case.casefile import read_case

    (tmp_path / "one.yaml").write_text("findings: {bolts: loose}\n")
    standing = examine(bench, read_case(tmp_path / "one.yaml", bench).state).standing
    (weight,) = standing.trail("bolts-loose")
    assert 10 ** (weight.decibels / 10) == pytest.approx(ratios(bench, "bolts-loose", "bolts")["loose"])


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (1.0, "says next to nothing"),
        (1 / 1.2, "says next to nothing"),
        (1.5, "speaks a little for it, 1.5 times as often"),
        (0.25, "speaks clearly against it, 4.0 times as seldom"),
        (5.0, "speaks strongly for it, 5.0 times as often"),
        (24.0, "speaks very strongly for it, 24 times as often"),
    ],
)
def test_strengths_are_words(ratio: float, words: str) -> None:
    assert strength(ratio) == words


def test_a_condition_a_check_a_caution_and_a_hold_show_what_touches_them(bench: Knowledge) -> None:
    assert "rules that conclude it lean-chain:" in flat(shown(bench, "lean-possible"))
    assert "causes that it settles bolts-loose:" in flat(shown(bench, "bolt-check"))
    caution = flat(shown(bench, "hot"))
    assert "check bolt-check" in caution
    assert "the fix of cause bolts-loose" in caution
    hold = flat(shown(bench, "close-needle"))
    assert "no-closing-until-rich: puts on hold closing a needle" in hold
    assert "the fix of cause h-too-rich" in hold


def test_every_entry_of_the_base_can_be_shown_within_eighty_columns(base: Knowledge) -> None:
    for shelf in SHELVES.values():
        for name in list(getattr(base, shelf))[::7]:
            for sheet in sheets(base, name):
                assert [line for line in lines(sheet) if len(line) > 80 and "written at" not in line] == []


def test_an_unknown_id_is_one_line_with_what_was_meant(bench: Knowledge) -> None:
    with pytest.raises(NotFound, match="nothing is called 'bolt-lose'; did you mean 'bolts-loose'"):
        sheets(bench, "bolt-lose")


def test_escape_sequences_of_a_pack_reach_no_terminal(tmp_path: Path) -> None:
    text = BENCH_TEXT.replace("because: It sags for want of fuel.", 'because: "red \\e[31m text"')
    with pytest.raises(FaultyFiles) as refused:
        load([pack(tmp_path / "evil", text)])
    assert "a control character" in str(refused.value)
    assert "\x1b" not in str(refused.value)


def test_show_from_the_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    club = pack(tmp_path / "club", CLUB, CLUB_PACK)
    assert main(["rules", "show", "invented-rule", "--rules", str(club)]) == WELL
    assert "gives the caution invented-caution" in capsys.readouterr().out
    assert main(["--rules", str(club), "rules", "show", "invented-rule"]) == WELL
    capsys.readouterr()
    assert main(["rules", "show", "carb-bolt-loose"]) == WRONG
    assert capsys.readouterr().err == "nothing is called 'carb-bolt-loose'; did you mean 'carb-bolts-loose'?\n"


# Compare.

CLUB_PACK = "pack: club\nname: An invented club\nversion: 0.1\nauthor: nobody\n"
CLUB = """\
- caution: invented-caution
  level: care
  says: Mind the invented thing.
  basis: invented for the tests
- rule: invented-rule
  when: {idle: hunts}
  caution: invented-caution
  because: It is invented.
  basis: invented for the tests
- cause: invented-cause
  name: An invented cause
  family: fuel
  how_common: usually
  explains: It is invented.
  shows: {idle: {hunts: nearly-always}}
  settled_by: bolt-check
  fix: {minutes: 5, steps: [Invent it away.]}
  proof: It is gone.
  harm: None.
  basis: invented for the tests
"""

Compared = Callable[[str, str, str], Comparison]


@pytest.fixture
def compared(tmp_path: Path) -> Compared:
    def run(before: str, after: str, case: str) -> Comparison:
        (tmp_path / "case.yaml").write_text(case)
        sides = (load([pack(tmp_path / name, text)]) for name, text in (("before", before), ("after", after)))
        return compare(*sides, [tmp_path / "case.yaml"])

    return run


HUNTS = "title: hunts\nmachine: helicopter\nfindings: {idle: hunts}\n"


def test_the_same_rules_differ_in_nothing(compared: Compared) -> None:
    same = compared(BENCH_TEXT, BENCH_TEXT, HUNTS)
    assert not same.less_safe
    assert not same.cases[0].moves
    assert "none with another order in the first five" in "\n".join(compared_lines(same))


def test_a_weaker_tell_moves_the_cause_down_by_so_much(compared: Compared) -> None:
    weaker = BENCH_TEXT.replace("idle: {hunts: usually}", "idle: {hunts: rarely}")
    result = compared(BENCH_TEXT, weaker, HUNTS)
    assert result.cases[0].changes_rank
    (move,) = [move for move in result.cases[0].moves if move.cause == "bolts-loose"]
    assert move.rank_before == 1
    assert move.rank_after == 4
    assert move.before > move.after
    assert not result.less_safe


def test_a_caution_that_goes_away_is_said_first(compared: Compared) -> None:
    result = compared(BENCH_TEXT, without("rule: tell-of-lean"), HUNTS)
    assert result.less_safe
    assert result.cases[0].turnover["cautions"].gone == ("lean-run",)
    assert compared_lines(result)[0] == "GONE: caution lean-run, in 1 case: case"


def test_a_hold_that_goes_away_is_found_where_it_is_written_though_no_case_meets_it(compared: Compared) -> None:
    bare = BENCH_TEXT.replace("  engine: loaded\n  under: [run-at-power]\n", "  engine: loaded\n")
    result = compared(BENCH_TEXT, bare, HUNTS)
    assert result.unwritten == (("hold", "run-at-power", "check richer-check"),)
    assert result.less_safe


def test_a_rule_that_is_only_renamed_takes_no_caution_away(compared: Compared) -> None:
    renamed = BENCH_TEXT.replace("rule: tell-of-lean", "rule: speak-of-lean")
    assert not compared(BENCH_TEXT, renamed, HUNTS).less_safe


def test_conditions_come_and_go_without_alarm(compared: Compared) -> None:
    without_chain = BENCH_TEXT.replace("when: {any: [{is: lean-under-load}, {idle: hunts}]}", "when: {idle: hunts}")
    sags = "title: sags\nfindings: {under-load: sags, idle: steady}\n"
    result = compared(without_chain, BENCH_TEXT, sags)
    assert result.cases[0].turnover["conditions"].come == ("lean-possible",)
    assert result.cases[0].turnover["cautions"].come == ("lean-run",)
    assert not result.less_safe


def test_a_case_may_ask_what_only_one_side_knows(compared: Compared) -> None:
    smell = "\n- finding: smell\n  ask: Does it smell?\n  why: Fuel.\n  minutes: 1\n" + (
        "  answers: {no: {say: nothing, seen: usually}, yes: {say: of fuel, seen: rarely}}\n"
    )
    case = HUNTS.replace("idle: hunts", "idle: hunts, smell: yes")
    assert not compared(BENCH_TEXT, BENCH_TEXT + smell, case).less_safe


def test_compare_from_the_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    club = str(pack(tmp_path / "club", CLUB, CLUB_PACK))
    (tmp_path / "case.yaml").write_text(HUNTS)
    case = str(tmp_path / "case.yaml")
    assert main(["rules", "compare", "--to", club, case]) == WELL
    assert "caution invented-caution comes in 1 case" in capsys.readouterr().out
    assert main(["rules", "compare", "--from", club, case, "--json"]) == WRONG
    found = json.loads(capsys.readouterr().out)
    assert (found["format"], found["version"], found["less_safe"]) == ("diagnose-comparison", 1, True)
    assert found["summed"]["cautions"]["gone"] == {"invented-caution": 1}
    assert found["cases"][0]["cautions"] == {"come": [], "gone": ["invented-caution"]}


def test_the_document_has_rank_and_probability_before_and_after(compared: Compared) -> None:
    weaker = BENCH_TEXT.replace("idle: {hunts: usually}", "idle: {hunts: rarely}")
    (case,) = document(compared(BENCH_TEXT, weaker, HUNTS))["cases"]
    assert set(case["causes"][0]) == {"cause", "rank", "probability"}


# Picture.


def test_the_picture_has_a_line_for_each_rule_and_each_strong_tell(bench: Knowledge) -> None:
    drawn = picture(bench, bench.packs[0])
    said = {(start, end) for start, end, _ in drawn.joins}
    assert ("How does it pull? it sags", "Lean under load") in said
    assert ("Lean under load", "Lean cannot be ruled out") in said
    assert ("Are the carburettor bolts tight? one can be turned", "Carburettor bolts loose") in said
    assert ratios(bench, "bolts-loose", "idle")["hunts"] < STRONG
    assert ("How does it idle? it wanders up and down", "Carburettor bolts loose") not in said


def test_boxes_of_a_column_do_not_overlap(base: Knowledge) -> None:
    drawn = picture(base, base.packs[0], "carb-bolts-loose")
    for x in {box.x for box in drawn.boxes}:
        column = sorted((box.y, box.height) for box in drawn.boxes if box.x == x)
        assert all(y + height <= below for (y, height), (below, _) in zip(column, column[1:], strict=False))
        assert column[-1][0] + column[-1][1] <= drawn.height


def test_no_line_from_symptom_to_cause_runs_behind_a_condition(bench: Knowledge) -> None:
    drawn = picture(bench, bench.packs[0])
    middle = [box for box in drawn.boxes if box.x == drawing.LEFT[drawing.CONDITIONS]]
    levels = [float(found[1]) for curve in drawn.curves if (found := re.search(r"L\d+ ([0-9.]+)", curve.path))]
    assert levels
    assert not [y for y in levels for box in middle if box.y < y < box.y + box.height]


@pytest.mark.parametrize("about", ["carb-bolts-loose", "idle", "lean-possible", "air-after-needles-gasket", "weather"])
def test_a_subject_of_the_base_is_drawn_by_one_id(base: Knowledge, about: str) -> None:
    whole, part = picture(base, base.packs[0]), picture(base, base.packs[0], about)
    assert 0 < len(part.curves) < len(whole.curves) / 4


def test_an_id_that_is_not_in_the_picture_is_said(bench: Knowledge) -> None:
    with pytest.raises(NotFound, match="did you mean 'bolts-loose'"):
        picture(bench, bench.packs[0], "bolts-lose")


def test_a_club_pack_is_drawn_with_what_it_joins_in_the_base(tmp_path: Path) -> None:
    knowledge, club = knowledge_for(pack(tmp_path / "club", CLUB.replace("usually", "often"), CLUB_PACK))
    drawn = picture(knowledge, club)
    assert {box.id: box.elsewhere for box in drawn.boxes} == {"idle?": True, "idle=hunts": True, "invented-cause": False}


EVERY_KIND_OF_TEXT = (
    "it wanders up and down", "How does it idle?", "Lean under load", "Carburettor bolts loose", "Try the bolts",
    "It sags for want of fuel.", "the lean run is cleared up", "Open the needle, unload, stop flying.",
)  # fmt: skip


def assert_needs_nothing(page: str) -> None:
    assert not re.search(r"(src|href)\s*=|url\(|@import|<script", page)
    assert "default-src 'none'" in page
    assert Nesting().check(page) == []


def test_the_pages_need_nothing_and_trust_no_text(tmp_path: Path) -> None:
    quoted = EVIL.replace('"', '\\"')
    text = BENCH_TEXT
    for plain in EVERY_KIND_OF_TEXT:
        text = text.replace(f": {plain}", f': "{quoted}"')
    evil = load([pack(tmp_path / "evil", text)])
    assert_needs_nothing(drawing.as_html(picture(evil, evil.packs[0])))
    assert_needs_nothing(cards.as_html(evil, [card(evil, "idle", "hunts"), card(evil, "under-load", "sags")], EVIL))


def test_picture_from_the_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    page = tmp_path / "new" / "bench.html"
    assert main(["rules", "picture", str(BENCH), "-o", str(page)]) == WELL
    assert "<svg" in page.read_text()
    assert main(["rules", "picture", str(tmp_path), "-o", str(page)]) == WRONG
    assert "no rule pack here" in capsys.readouterr().err
    with pytest.raises(SystemExit) as left:
        main(["rules", "picture", str(BENCH)])
    assert left.value.code == MISUSED


def test_a_page_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotWrite, match="the page cannot be written: .*; name another"):
        write_whole(tmp_path / "file" / "page.html", "", "the page cannot be written", "name another")


# Pit card.


def test_the_main_complaints_are_what_owners_call_and_tell_most(base: Knowledge) -> None:
    chosen = dict(main_symptoms(base))
    assert len(chosen) == 8
    assert {"idle", "starts", "under-load", "pick-up"} <= chosen.keys()
    assert all(base.findings[name].answers[answer].like for name, answer in chosen.items())
    assert not {"what-changed", "came-on", "machine"} & chosen.keys()


def test_a_card_warns_and_holds_before_it_asks(bench: Knowledge) -> None:
    page = card(bench, "under-load", "sags")
    assert {guard.says for guard in page.guards} >= {"Open the needle, unload, stop flying."}
    held = [guard.says for guard in page.guards if guard.level == "hold"]
    assert any(says.startswith("running at power. Until: the lean run is cleared up.") for says in held)
    html = cards.as_html(bench, [page], "diagnose")
    assert html.index("Open the needle, unload") < html.index("In this order") < html.index("Likeliest at the start")


def test_a_card_leaves_out_what_was_ever_on_hold(bench: Knowledge) -> None:
    page = card(bench, "under-load", "sags")
    assert "Richer for a moment" not in {step.name for step in page.steps}
    assert "Try the bolts" in {step.name for step in page.steps}
    assert {c.name: c.settled_by for c in page.causes}["H needle too lean"] == "a check that is on hold"


def test_no_card_of_the_base_tells_anybody_to_do_what_is_on_hold(base: Knowledge) -> None:
    for finding, answer in (("idle", "hunts"), ("under-load", "sags"), ("top-end", "lazy")):
        page = card(base, finding, answer)
        held = {guard.says.partition(".")[0] for guard in page.guards if guard.level == "hold"}
        checks = {str(check.name): check for check in base.checks.values()}
        for step in page.steps:
            if step.name:
                under = {str(base.holds[hold].name) for hold in checks[step.name].under}
                assert not under & held, step.name


def test_a_card_goes_on_where_an_answer_settles_nothing(bench: Knowledge) -> None:
    page = card(bench, "idle", "hunts")
    assert page.opening == ("What is it?", "Does it start?")
    assert [step.name or step.results[0].ask for step in page.steps][0] == "Try the bolts"
    (result,) = page.steps[0].results
    assert [(point.says, point.cause) for point in result.points] == [("one can be turned", "Carburettor bolts loose")]
    assert page.causes[0].name == "Carburettor bolts loose"


def test_a_card_guesses_nothing_of_the_machine(bench: Knowledge) -> None:
    """A stand has no governor, but nobody said that this is a stand."""
    asked = {result.ask for step in card(bench, "idle", "hunts").steps for result in step.results}
    assert "What is it?" not in asked
    assert "Does it surge with the governor off?" in asked


def test_a_card_that_would_not_fit_gives_up_steps_and_never_a_caution(base: Knowledge) -> None:
    page = card(base, "plug-after-cranking", "soaked")
    assert cards._lines(page) <= LINES_A_PAGE
    assert len(page.guards) > 10
    assert len(page.steps) < card_order.STEPS


def test_each_card_is_one_sheet_of_a4(bench: Knowledge) -> None:
    html = cards.as_html(bench, [card(bench, *one) for one in main_symptoms(bench)], "diagnose")
    assert html.count("<section>") == len(main_symptoms(bench)) > 1
    assert "@page { size: A4" in html
    assert "break-after: page" in html


@pytest.mark.skipif(not CHROMIUM, reason="no Chromium on this machine")
def test_the_fullest_cards_of_the_base_print_on_one_page_each(base: Knowledge, tmp_path: Path) -> None:
    pages = [card(base, *one) for one in (("idle", "hunts"), ("plug-after-cranking", "soaked"), ("starts", "hard"))]
    (tmp_path / "card.html").write_text(cards.as_html(base, pages, "diagnose"))
    subprocess.run(
        [str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={tmp_path / 'card.pdf'}",
         (tmp_path / "card.html").as_uri()],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / "card.pdf").read_bytes())) == len(pages)


def test_card_from_the_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    page = tmp_path / "card.html"
    assert main(["rules", "card", "-o", str(page), "--symptom", "idle=hunts"]) == WELL
    assert page.read_text().count("<section>") == 1
    assert main(["rules", "card", "-o", str(page), "--symptom", "idle=hunting"]) == WRONG
    assert "'hunting' is no answer of 'idle'; it takes steady, hunts" in capsys.readouterr().err
    assert main(["rules", "card", "-o", str(page), "--symptom", "idel=hunts"]) == WRONG
    assert "did you mean 'idle'?" in capsys.readouterr().err


def test_the_base_is_drawn_alone(tmp_path: Path) -> None:
    knowledge, own = knowledge_for(base_pack())
    assert own.id == "base"
    assert len(knowledge.packs) == 1


def test_a_card_goes_on_with_the_likeliest_answer_that_does_not_settle_it(bench: Knowledge) -> None:
    way = card_order._further(bench, card_order.Way({"idle": "hunts"}, unknown=frozenset({"machine", "starts"})))
    assert way is not None
    assert way.answers["bolts"] == "tight"
