"""For tests of packs and of the walk: a pack's own cases; what a prompt asks; an owner who hides a fault and answers
honestly."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from .case.casefile import read_pack_case
from .case.log import CaseLog
from .clubrules.trying import case_files, try_case, try_packs, unreached
from .knowledge.model import NORMAL, Knowledge
from .shell.console import ScriptedConsole
from .shell.opening import first_words, greet
from .shell.walk import Walk

DEMO_CLOCK = "2026-05-01T10:00:00+02:00"
WIDTH = 76

LONG_ENOUGH = "120"
"""Minutes that an honest owner runs it for: longer than any retest asks."""

MOST_REPLIES = 1_000
"""A walk that asks more than this asks without end."""


@dataclass(frozen=True, slots=True)
class Prompt:
    """What is being asked: `kind` is question, check, retest, minutes, repair, words, confirm, proof, showed,
    needle, needle-found, needle-left, undecided, closing or other.

    `name` is the id of the finding, check, retest or cause asked about.
    """

    kind: str
    name: str = ""
    choices: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        return f"{self.kind} {self.name}".strip()


_HEADS = {
    "What does it do, in": "words",
    "Which of these are true": "confirm",
    "Which of these are still so": "confirm",
    "Worth putting right now:": "repair",
    "Perhaps nothing is wrong:": "repair",
    "What was found and": "proof",
    "How many minutes did it run": "minutes",
    "After how many minutes of running": "showed",
    "Where does the": "needle",
    "Where did the": "needle",
    "H stands": "needle-found",
    "L stands": "needle-found",
    "H was moved while": "needle-left",
    "L was moved while": "needle-left",
    "Undecided for now": "undecided",
    "Close the case undecided?": "closing",
}
_HANDLE = re.compile(r"\[([a-z0-9-]+)\]$")


def prompt_of(lines: list[str], knowledge: Knowledge, before: Prompt | None = None) -> Prompt:
    """Return what the lines said since the last reply ask for. A prompt asked anew is still the one before."""
    choices = _choices(lines)
    handle = ""
    for line in reversed(lines):
        found = _HANDLE.search(line)
        handle = found[1] if found else handle
        if found:
            for kind, shelf in (
                ("question", knowledge.findings),
                ("check", knowledge.checks),
                ("retest", knowledge.retests),
            ):
                if handle in shelf:
                    return Prompt(kind, handle, choices)
        for head, kind in _HEADS.items():
            if line.startswith(head):
                return Prompt(kind, handle if kind == "repair" else "", choices)
    # A count is typed, so what comes with choices after it is another prompt: whether the repair is done.
    if before and not (before.kind == "needle" and choices):
        return Prompt(before.kind, before.name, choices or before.choices)
    return Prompt("other", "", choices)


def _choices(lines: list[str]) -> tuple[str, ...]:
    """The numbered choices among the lines, each joined to one line."""
    found: list[str] = []
    for line in lines:
        begins = re.match(r"    [0-9a-z?]  (.*)", line)
        if begins:
            found.append(begins[1])
        elif found and line.startswith("       ") and line.strip():
            found[-1] += " " + line.strip()
    return tuple(found)


@dataclass
class Owner:
    """Someone with a machine: what they say, what they can answer, which faults it has, by cause.

    answers: finding -> answer as it would be typed. What is not here is answered with don't know.
    """

    words: str
    answers: Mapping[str, str]
    faults: frozenset[str]
    knowledge: Knowledge
    repaired: set[str] = field(default_factory=set)
    replies: int = 0
    _before: Prompt | None = None
    _repairing: str = ""

    def __call__(self, lines: list[str]) -> str | None:
        """Return what this owner types after these lines."""
        self.replies += 1
        if self.replies > MOST_REPLIES:
            return None
        prompt = prompt_of(lines, self.knowledge, self._before)
        again = self._before is not None and prompt.key == self._before.key and prompt.kind == "repair"
        self._before = prompt
        match prompt.kind:
            case "question":
                return self.answers.get(prompt.name, "?")
            case "words":
                return self.words
            case "confirm":
                return self._confirmed(prompt.choices)
            case "check":
                finds = self.knowledge.checks[prompt.name].finds
                return "1" if any(name in self.answers for name in finds) else "2"
            case "repair":
                self._repairing = prompt.name
                normal = self.knowledge.causes[self._repairing].family == NORMAL
                if again and normal:
                    return "1" if self._repairing in self.faults else "2"
                return "1"
            case "retest":
                self.repaired.add(self._repairing)
                if self.faults <= self.repaired:
                    return "1"
                return "2" if self._repairing in self.faults else "3"
            case "proof":
                return ""
            case "minutes":
                return LONG_ENOUGH
            case "needle" | "showed":
                return "?"
            case "undecided":
                end = next(place for place, choice in enumerate(prompt.choices, 1) if choice.startswith("end here"))
                return str(end)
        return "1"

    def _confirmed(self, choices: tuple[str, ...]) -> str:
        true = []
        for place, choice in enumerate(choices, 1):
            for name, answer in self.answers.items():
                finding = self.knowledge.findings[name]
                if answer in finding.answers and choice == f"{finding.ask} {finding.answers[answer].say}":
                    true.append(str(place))
        return " ".join(true) or "none"


def walk_with(
    knowledge: Knowledge, replies: Callable[[list[str]], str | None], folder: Path, width: int = WIDTH
) -> tuple[ScriptedConsole, CaseLog]:
    """Walk one case with scripted replies in `folder`; return the console with all that was said, and the closed log."""
    console = ScriptedConsole(replies, width)
    with CaseLog.create(folder / "cases", clock=lambda: DEMO_CLOCK) as log:
        greet(console, log.state)
        typed = first_words(console, log)
        Walk(knowledge, log, console, folder / "reports", typed).run()
    return console, log


def pack_cases(pack: Path) -> list[Path]:
    """Return the case files of the pack in this folder, to parametrise a test. Raises FaultyFiles when there is none."""
    return case_files(pack)


def assert_case(knowledge: Knowledge, case: Path) -> None:
    """Fail with every expectation of the case file that is missed. Raises FaultyFiles when it cannot be read."""
    missed = try_case(knowledge, read_pack_case(case, knowledge)).missed
    assert not missed, "\n".join(map(str, missed))


def assert_covered(knowledge: Knowledge, pack: Path) -> None:
    """Fail with every rule of the pack, one of `knowledge`, that its cases do not reach both ways."""
    packs = [one for one in knowledge.packs if Path(one.folder).resolve() == pack.resolve()]
    assert packs, f"{pack} is not among the packs that were loaded"
    lacks = [problem for reached in try_packs(knowledge, packs).rules for problem in unreached(reached)]
    assert not lacks, "\n".join(map(str, lacks))
