"""Whoever leaves, or loses power, before any reply comes back to the same end: everything before a prompt is in the log,
and the log is all there is."""

import copy
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from test_random_walks import LOOSE_BOLTS
from test_setup import ENGINE, Builder

from diagnose.case.log import CaseLog
from diagnose.case.state import CaseState
from diagnose.knowledge.model import Knowledge
from diagnose.shell.console import Left, ScriptedConsole
from diagnose.shell.opening import first_words, greet
from diagnose.shell.setup import SetUp
from diagnose.shell.walk import Walk
from diagnose.testing import DEMO_CLOCK, Owner, prompt_of

pytestmark = pytest.mark.usefixtures("examined_once")

Reply = Callable[[list[str]], str | None]
Sitting = Callable[[CaseLog, ScriptedConsole], object]


def over_a_fault(knowledge: Knowledge, folder: Path) -> Sitting:
    def sit(log: CaseLog, console: ScriptedConsole) -> None:
        greet(console, log.state)
        try:
            typed = first_words(console, log)
        except Left:
            return
        Walk(knowledge, log, console, folder / "reports", typed).run()

    return sit


def over_the_list(knowledge: Knowledge, folder: Path) -> Sitting:
    def sit(log: CaseLog, console: ScriptedConsole) -> None:
        if not log.state.setting_up:
            log.append("set-up")
        SetUp(knowledge, log, console, folder / "reports").run()

    return sit


@dataclass(frozen=True)
class LeftAt:
    """The log as it stood at a prompt, who was to answer there, after how many replies, and whether a check was half
    done."""

    written: bytes
    person: Reply
    replies: int
    half_done: bool


class Counting:
    """Counts the replies of somebody."""

    def __init__(self, person: Reply) -> None:
        self.person, self.replies = person, 0

    def __call__(self, lines: list[str]) -> str | None:
        self.replies += 1
        return self.person(lines)


def kept(log: CaseLog) -> tuple[object, ...]:
    """What the log holds, whatever was asked first: a check that is begun once more shifts the numbers of what follows."""
    shifted = {"numbers": "", "forgotten": ""}
    events = {(event.what, json.dumps({**event.data, **shifted}, sort_keys=True)) for event in log.events}
    return events, log.state.findings, log.state.unknown


def what_came_of_it(log: CaseLog) -> tuple[object, ...]:
    return log.state.closing, log.state.repairs, log.state.put_aside, log.state.passed


def half_done(knowledge: Knowledge, lines: list[str], state: CaseState) -> bool:
    """True where a check has one result and is asked for the next: what is left of it is asked later if it still pays."""
    asked = knowledge.findings.get(prompt_of(lines, knowledge).name)
    finds = knowledge.checks[asked.check].finds if asked and asked.check in state.checks else ()
    return any(name in state.findings or name in state.unknown for name in finds)


def taken_up_at_every_prompt(knowledge: Knowledge, sit: Sitting, person: Reply, folder: Path) -> tuple[CaseState, int]:
    """Sit once without leaving. Then, for every prompt, take up the log as it stood there, leave, and take it up again with
    the same person, who answers to the end and is asked nothing twice. Return that end and how many prompts there were."""
    left: list[LeftAt] = []
    once = Counting(person)

    def noting(lines: list[str]) -> str | None:
        who = copy.deepcopy(person, {id(knowledge): knowledge})
        left.append(LeftAt(log.path.read_bytes(), who, once.replies, half_done(knowledge, lines, log.state)))
        return once(lines)

    with CaseLog.create(folder, clock=lambda: DEMO_CLOCK) as log:
        sit(log, ScriptedConsole(noting))
    for place, at in enumerate(left):
        path = folder / str(place) / log.path.name
        path.parent.mkdir()
        path.write_bytes(at.written)
        again = Counting(at.person)
        for replies in ([], again):
            with CaseLog.open(path, clock=lambda: DEMO_CLOCK) as resumed:
                sit(resumed, ScriptedConsole(replies))
        where = f"left at prompt {place + 1}, after {at.written.splitlines()[-1]!r}"
        if at.half_done:
            assert what_came_of_it(resumed) == what_came_of_it(log), where
        else:
            assert kept(resumed) == kept(log), where
            # That a check or a repair is begun may be said once more; no answer is asked for twice.
            assert 0 <= again.replies - (once.replies - at.replies) <= 1, where
    return log.state, len(left)


class CountsNeedles(Owner):
    """An owner who counts a needle wherever the count is asked for."""

    def __call__(self, lines: list[str]) -> str | None:
        reply = super().__call__(lines)
        return "1 1/4" if prompt_of(lines, self.knowledge).kind == "needle" else reply


ANSWERS = {"machine": "helicopter", "starts": "easily", "idle": "hunts", "under-load": "sags", "bolts": "loose"}


@pytest.mark.parametrize("fault", ["bolts-loose", "h-too-lean", "h-too-rich", "gain-too-high"])
def test_a_walk_left_before_any_reply_comes_to_the_same_end(bench: Knowledge, tmp_path: Path, fault: str) -> None:
    owner = CountsNeedles("surges at idle", ANSWERS, frozenset({fault}), bench)
    end, prompts = taken_up_at_every_prompt(bench, over_a_fault(bench, tmp_path), owner, tmp_path)
    assert end.closing is not None
    assert prompts > 5


STUCK = {
    "machine": "aeroplane", "fit-to-run": "fit", "what-changed": "tank-or-airframe", "starts": "easily",
    "after-fade": "does-not-fade", "under-load": "pulls", "attitude": "nose-down", "pickup": "stuck", "tank-line": "whole",
}  # fmt: skip
FOAMS = {
    "machine": "aeroplane", "fit-to-run": "fit", "vibration": "more", "what-changed": "crash-or-hard-landing",
    "starts": "easily", "bubbles": "stream", "line-fittings": "plain", "fuel-foams": "froths",
}  # fmt: skip


@pytest.mark.parametrize(
    ("answers", "fault"), [(LOOSE_BOLTS, "carb-bolts-loose"), (STUCK, "pickup-stuck"), (FOAMS, "fuel-foaming")]
)
def test_a_walk_over_the_base_rules_left_before_any_reply_comes_to_the_same_end(
    base: Knowledge, tmp_path: Path, answers: dict[str, str], fault: str
) -> None:
    owner = CountsNeedles("it does not run right", answers, frozenset({fault}), base)
    end, prompts = taken_up_at_every_prompt(base, over_a_fault(base, tmp_path), owner, tmp_path)
    assert end.closing is not None
    assert prompts > 10


def test_a_set_up_left_before_any_reply_comes_to_the_same_end(base: Knowledge, tmp_path: Path) -> None:
    end, prompts = taken_up_at_every_prompt(base, over_the_list(base, tmp_path), Builder(ENGINE, {"choke": "3"}), tmp_path)
    assert len(end.steps) == 20
    assert prompts > 30
