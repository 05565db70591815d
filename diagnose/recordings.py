"""Recorded walks: played against today's rules, question by question, to say what differs.

A recording is the text of a walk, with what was typed after `> `. Lines that start with # are its title and remarks.
"""

from __future__ import annotations

import difflib
import tempfile
from collections import defaultdict, deque
from dataclasses import dataclass
from pathlib import Path

from .knowledge.model import Knowledge
from .knowledge.source import FaultyFiles, Place, Problem, read_text
from .testing import Prompt, prompt_of, walk_with

PROMPT = "> "

_WITHOUT_A_REPLY = {
    "question": "?",
    "check": "2",
    "repair": "3",
    "retest": "3",
    "minutes": "?",
    "showed": "?",
    "confirm": "none",
    "undecided": "end",
    "closing": "1",
    "needle-found": "2",
    "needle-left": "1",
}
"""What is typed where the recording has nothing to say."""


@dataclass(frozen=True, slots=True)
class Recording:
    """A recorded walk: its remarks, and the lines of the walk."""

    path: str
    remarks: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Replayed:
    """The walk as today's rules make it, and how it differs: prompts only then, prompts only now, changed lines."""

    lines: tuple[str, ...]
    only_then: tuple[str, ...]
    only_now: tuple[str, ...]
    difference: tuple[str, ...]


def read_recording(path: Path) -> Recording:
    """Return a recording. Raises FaultyFiles when there is no typed line in it."""
    lines = read_text(path).splitlines()
    remarks = tuple(line for line in lines if line.startswith("#"))
    body = [line for line in lines if not line.startswith("#")]
    while body and not body[0].strip():
        body.pop(0)
    if not any(line.startswith(PROMPT.rstrip()) for line in body):
        raise FaultyFiles([Problem(Place(str(path)), f"no recorded walk: nothing typed after '{PROMPT}' in it")])
    return Recording(str(path), remarks, tuple(body))


def replay(knowledge: Knowledge, recording: Recording) -> Replayed:
    """Play a recording: each prompt gets what was typed at the same prompt then."""
    replies = _replies(recording.lines, knowledge)
    then = list(dict.fromkeys(replies))
    now: list[str] = []
    before: Prompt | None = None

    def typed(lines: list[str]) -> str | None:
        nonlocal before
        before = prompt_of(lines, knowledge, before)
        now.append(before.key)
        waiting = replies.get(before.key)
        if waiting:
            return waiting.popleft()
        return _WITHOUT_A_REPLY.get(before.kind, "") if len(now) < 500 else None

    with tempfile.TemporaryDirectory() as folder:
        console, _ = walk_with(knowledge, typed, Path(folder))
        said = tuple(line.replace(f"{folder}/", "") for line in _unwrapped_paths(console.lines, folder))
    difference = tuple(difflib.unified_diff(recording.lines, said, recording.path, "today's rules", lineterm="", n=1))
    return Replayed(
        lines=said,
        only_then=tuple(key for key in then if key not in now),
        only_now=tuple(key for key in dict.fromkeys(now) if key not in then),
        difference=difference,
    )


def _unwrapped_paths(lines: list[str], folder: str) -> list[str]:
    """Paths of the temporary folder vary in length, so the lines that hold them are joined before it is taken out."""
    joined: list[str] = []
    for line in lines:
        if joined and folder in joined[-1] and line and not line.startswith((" ", PROMPT)):
            joined[-1] += " " + line
        else:
            joined.append(line)
    return joined


def _replies(lines: tuple[str, ...], knowledge: Knowledge) -> dict[str, deque[str]]:
    replies: dict[str, deque[str]] = defaultdict(deque)
    since: list[str] = []
    before: Prompt | None = None
    for line in lines:
        if line.startswith(PROMPT.rstrip()):
            before = prompt_of(since, knowledge, before)
            replies[before.key].append(line[len(PROMPT) :])
            since = []
        else:
            since.append(line)
    return replies


def text_of(remarks: tuple[str, ...], lines: tuple[str, ...]) -> str:
    """Return a recording as it is kept on disk."""
    return "\n".join([*remarks, "", *lines]) + "\n"
