"""Events -> the state of a case. Going back is an event too: it withdraws earlier ones, and nothing is erased."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from .ledger import NeedleEntry

FORMAT = 1
"""Version of the events in a case log."""

REPAIR_RESULTS = ("gone", "better", "same", "not-done")
ENDINGS = ("found", "normal", "undecided")


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the log: its number, when, what, and the particulars."""

    number: int
    at: str
    what: str
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Given:
    """An answer as the rules see it, and as it was given when it was a number."""

    answer: str
    reading: str | None = None


@dataclass(frozen=True, slots=True)
class RepairDone:
    """A fix that was tried and what the retest showed: gone, better, same, or not-done."""

    cause: str
    result: str
    at: str
    proof: str = ""


@dataclass(frozen=True, slots=True)
class Closing:
    """How the case ended: `found` with causes, `normal` (nothing wrong), or `undecided`."""

    how: str
    causes: tuple[str, ...]
    at: str


@dataclass(frozen=True, slots=True)
class Reckoned:
    """What a calculator of the bench said, in words: inputs, numbers, what they mean, what the rules would hear."""

    at: str
    calculator: str
    title: str
    inputs: Mapping[str, str]
    results: tuple[str, ...]
    says: tuple[str, ...]
    findings: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class CaseState:
    """All that is known of one case."""

    case: str = ""
    opened: str = ""
    packs: tuple[str, ...] = ()
    machine: str = ""
    findings: Mapping[str, Given] = field(default_factory=dict)
    unknown: frozenset[str] = frozenset()
    asked_again: frozenset[str] = frozenset()
    words: tuple[str, ...] = ()
    heard: bool = False
    notes: tuple[tuple[str, str], ...] = ()
    needles: tuple[NeedleEntry, ...] = ()
    repairs: tuple[RepairDone, ...] = ()
    checks: tuple[str, ...] = ()
    to_retest: str = ""
    passed: tuple[str, ...] = ()
    put_aside: frozenset[str] = frozenset()
    closing: Closing | None = None
    answered: tuple[tuple[int, str], ...] = ()
    bench: tuple[Reckoned, ...] = ()

    @property
    def answers(self) -> dict[str, str]:
        """Finding -> answer, as the rules take them."""
        return {name: given.answer for name, given in self.findings.items()}


def replay(events: Iterable[Event]) -> CaseState:
    """Return the state after these events."""
    events = list(events)
    withdrawn = {number for event in events if event.what == "withdraw" for number in event.data["numbers"]}
    held: dict[str, Any] = {
        "findings": {}, "unknown": set(), "asked_again": set(), "words": [], "notes": [], "needles": [],
        "repairs": [], "checks": [], "passed": [], "put_aside": set(), "answered": [],
        "bench": [],
    }  # fmt: skip
    for event in events:
        if event.number not in withdrawn:
            _apply(event, held)
    return CaseState(
        case=held.get("case", ""),
        opened=held.get("opened", ""),
        packs=tuple(held.get("packs", ())),
        machine=held.get("machine", ""),
        findings=MappingProxyType(held["findings"]),
        unknown=frozenset(held["unknown"]),
        asked_again=frozenset(held["asked_again"]),
        words=tuple(held["words"]),
        heard=held.get("heard", False),
        notes=tuple(held["notes"]),
        needles=tuple(held["needles"]),
        repairs=tuple(held["repairs"]),
        checks=tuple(dict.fromkeys(held["checks"])),
        to_retest=held.get("to_retest", ""),
        passed=tuple(held["passed"]),
        put_aside=frozenset(held["put_aside"]),
        closing=held.get("closing"),
        answered=tuple(held["answered"]),
        bench=tuple(held["bench"]),
    )


def _apply(event: Event, held: dict[str, Any]) -> None:
    data = event.data
    match event.what:
        case "opened":
            held.update(case=data["case"], opened=event.at)
        case "rules":
            held["packs"] = data["packs"]
        case "machine":
            held["machine"] = data["name"]
        case "answer":
            finding = data["finding"]
            if finding in held["findings"]:
                held["asked_again"].add(finding)
            held["findings"][finding] = Given(data["answer"], data.get("reading"))
            held["unknown"].discard(finding)
            held["answered"].append((event.number, finding))
        case "unknown":
            finding = data["finding"]
            held["findings"].pop(finding, None)
            held["unknown"].add(finding)
            held["answered"].append((event.number, finding))
        case "words":
            held["words"].append(data["text"])
        case "heard":
            held["heard"] = True
        case "note":
            held["notes"].append((event.at, data["text"]))
        case "needle":
            held["needles"].append(NeedleEntry(data["needle"], data["sixteenths"], data["moved"], event.at))
        case "bench":
            held["bench"].append(
                Reckoned(
                    event.at, data["calculator"], data["title"], data["inputs"], tuple(data["results"]),
                    tuple(data["says"]), data["findings"],
                )
            )  # fmt: skip
        case "check":
            held["checks"].append(data["check"])
        case "fixed":
            held["to_retest"] = data["cause"]
            held["passed"] = []
        case "passed":
            held["passed"].append(data["retest"])
        case "repair":
            held["to_retest"] = ""
            held["repairs"].append(RepairDone(data["cause"], data["result"], event.at, data.get("proof", "")))
            if data["result"] == "not-done":
                held["put_aside"].add(data["cause"])
        case "closed":
            held["closing"] = Closing(data["how"], tuple(data["causes"]), event.at)
