"""Events -> the state of a case. Going back is an event too: it withdraws earlier ones, and nothing is erased."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from .ledger import NeedleEntry

FORMAT = 3
"""Version of the events in a case log. 2: a set-up is kept in one, and a case may begin with what a set-up says. 3: the
verdict on a repair holds the answers that it has put right, and what is no longer so after one is an event of its own."""

SOUND = "sound"
"""What became of a repair whose part was looked at and found good: nothing was done, and it is not the cause."""

REPAIR_RESULTS = ("gone", "better", "same", SOUND, "not-done", "not-proved")
SET_UP = "set-up"
"""How the case of a set-up ends."""

LOOKED_BACK = 8
"""Repairs of one case, the last, whose answers before them are still looked at."""

ENDINGS = ("found", "normal", "undecided", SET_UP)

DONE, NOT_DONE, CANNOT = STEP_OUTCOMES = ("done", "not-done", "cannot")
"""What came of a step of the set-up."""


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
class Told:
    """An answer that was once given (None: not known), with the event that gave it and the one that took it back (None:
    it was never taken back)."""

    number: int
    finding: str
    given: Given | None
    taken_back: int | None = None


@dataclass(frozen=True, slots=True)
class RepairDone:
    """A fix and what became of it: gone, better or same by its retests; sound; not-done; or done and not-proved, when the
    walk went on without a retest."""

    cause: str
    result: str
    at: str
    proof: str = ""


@dataclass(frozen=True, slots=True)
class Worked:
    """What was entered of a repair, by its event: that it was done (`fixed`), that a retest was `passed`, what became of
    it (a result), or what is `no-longer` so after it. `of` is the cause, or the retest."""

    number: int
    what: str
    of: str


@dataclass(frozen=True, slots=True)
class StepTaken:
    """What came of a step of the set-up: done, not-done or cannot. `number` is its event's; 0: of another case."""

    step: str
    outcome: str
    at: str = ""
    number: int = 0


@dataclass(frozen=True, slots=True)
class RecordingHeard:
    """What was heard in a recording, small enough to keep: what can be said of it, and its picture.

    reading   under what condition the speeds are so, where the sound allows two; '' where it does not
    said      lines of text, one thing measured each
    speeds    rpm every `step` milliseconds, 0 where the engine was not heard
    burbles   from, to, from, to, ...: milliseconds that were spent four-stroking
    marks     what happened, and `marked` the milliseconds of each
    results   'name=number unit' of what was measured
    """

    name: str
    reading: str
    said: tuple[str, ...]
    step: int
    speeds: tuple[int, ...]
    burbles: tuple[int, ...]
    marks: tuple[str, ...]
    marked: tuple[int, ...]
    results: tuple[str, ...] = ()
    at: str = ""


@dataclass(frozen=True, slots=True)
class Closing:
    """How the case ended: `found` with causes, `normal` (nothing wrong), `undecided`, or `set-up` (its list is ended)."""

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
    """All that is known of one case.

    setting_up    this is the case of a set-up, not of a fault
    unheard       the owner's words of which it was not yet asked what they mean
    passed_over   what was told later on, without being asked, and of which nothing was picked
    another_left  a retest since the last work was good for what was repaired, and showed another trouble
    lists         of each list that was shown of what they may mean: the events of the answers picked, and its own
    begun         cause -> event at which its last repair was done, before any retest
    checks        check -> event at which it was last done, in the order of the first time
    worked        what was entered of repairs and their retests, in that order
    half_mended   the cause whose repair has helped, while it is still to be asked what is left of the fault ('': none)
    to_retest     the cause whose repair is done and waits for its verdict, the last of them ('': none)
    passed        the retests in which that repair was good
    showed        after how many minutes of running the fault showed (0: nobody knows; None: not asked yet)
    ran           retest of them -> the minutes it ran, where that was asked for
    put_aside     causes whose repair was not done; `unproved`: done, and the walk went on without a retest
    told          every answer that was ever given, in that order
    set_up_in     the case of the set-up that this fault came after ('': none)
    steps         steps of that set-up, in the order they were taken
    no_baseline   needles of which nobody knows where they stood when it ran well, as (event, needle)
    uncounted     needles whose count was asked for and not known, as (event, needle)
    by_ledger     findings whose answer is what the needle ledger says, and nobody's own
    """

    case: str = ""
    opened: str = ""
    packs: tuple[str, ...] = ()
    machine: str = ""
    findings: Mapping[str, Given] = field(default_factory=dict)
    unknown: frozenset[str] = frozenset()
    asked_again: frozenset[str] = frozenset()
    words: tuple[str, ...] = ()
    unheard: tuple[str, ...] = ()
    passed_over: tuple[str, ...] = ()
    another_left: bool = False
    lists: tuple[tuple[int, ...], ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    needles: tuple[NeedleEntry, ...] = ()
    repairs: tuple[RepairDone, ...] = ()
    begun: Mapping[str, int] = field(default_factory=dict)
    worked: tuple[Worked, ...] = ()
    half_mended: str = ""
    told: tuple[Told, ...] = ()
    checks: Mapping[str, int] = field(default_factory=dict)
    to_retest: str = ""
    passed: tuple[str, ...] = ()
    showed: float | None = None
    ran: Mapping[str, float] = field(default_factory=dict)
    put_aside: frozenset[str] = frozenset()
    unproved: frozenset[str] = frozenset()
    recordings: tuple[RecordingHeard, ...] = ()
    closing: Closing | None = None
    draft: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    answered: tuple[tuple[int, str], ...] = ()
    bench: tuple[Reckoned, ...] = ()
    setting_up: bool = False
    set_up_in: str = ""
    steps: Mapping[str, StepTaken] = field(default_factory=dict)
    uncounted: tuple[tuple[int, str], ...] = ()
    no_baseline: tuple[tuple[int, str], ...] = ()
    by_ledger: frozenset[str] = frozenset()

    @property
    def answers(self) -> dict[str, str]:
        """Finding -> answer, as the rules take them."""
        return {name: given.answer for name, given in self.findings.items()}

    @property
    def closed_with(self) -> tuple[str, ...]:
        """The causes that the case was closed with; () while it is open."""
        return self.closing.causes if self.closing else ()

    def known_before(self, number: int) -> dict[str, Given]:
        """Finding -> answer as it stood when this event came, whatever was answered anew or taken back since."""
        found: dict[str, Given] = {}
        for told in self.told:
            if told.number >= number or (told.taken_back is not None and told.taken_back < number):
                continue
            if told.given is None:
                found.pop(told.finding, None)
            else:
                found[told.finding] = told.given
        return found

    def _known_before(self, causes: Iterable[str]) -> tuple[dict[str, Given], ...]:
        """What was known before each of the last repairs of these causes, in their order."""
        return tuple(self.known_before(n) for n in sorted({self.begun[cause] for cause in causes})[-LOOKED_BACK:])

    @property
    def known_before_repairs(self) -> tuple[dict[str, Given], ...]:
        """What was known before each of the last repairs, in their order."""
        return self._known_before(self.begun)

    @property
    def as_found(self) -> dict[str, Given]:
        """What was known of the machine with its faults: what a repair that helped has made different stands as it was
        before that repair."""
        found = dict(self.findings)
        for known in reversed(self._known_before(done.cause for done in self.repairs if done.result in ("gone", "better"))):
            found.update(known)
        return found


def replay(events: Iterable[Event]) -> CaseState:
    """Return the state after these events."""
    events = list(events)
    withdrawn = _withdrawn(events)
    held: dict[str, Any] = {
        "findings": {}, "unknown": set(), "asked_again": set(), "words": [], "notes": [], "needles": [],
        "repairs": [], "checks": {}, "awaiting": {}, "put_aside": set(), "unproved": set(), "answered": [], "bench": [],
        "draft": {}, "steps": {}, "uncounted": [], "no_baseline": [], "recordings": [], "begun": {}, "unheard": [],
        "lists": [], "worked": [], "passed_over": [], "another_left": False, "by_ledger": set(),
        "ran": {},
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
        unheard=tuple(held["unheard"]),
        passed_over=tuple(held["passed_over"]),
        another_left=held["another_left"],
        lists=tuple(held["lists"]),
        notes=tuple(held["notes"]),
        needles=tuple(held["needles"]),
        repairs=tuple(held["repairs"]),
        begun=MappingProxyType(held["begun"]),
        worked=tuple(held["worked"]),
        half_mended=held.get("half_mended", ""),
        told=tuple(
            Told(event.number, finding, given, withdrawn.get(event.number))
            for event in events
            for finding, given in _tells(event)
        ),
        checks=MappingProxyType(held["checks"]),
        to_retest=next(reversed(held["awaiting"]), ""),
        passed=tuple(next(reversed(held["awaiting"].values()), ())),
        put_aside=frozenset(held["put_aside"]),
        unproved=frozenset(held["unproved"]),
        recordings=tuple(held["recordings"]),
        closing=held.get("closing"),
        draft=MappingProxyType(held["draft"]),
        answered=tuple(held["answered"]),
        bench=tuple(held["bench"]),
        setting_up=held.get("setting_up", False),
        set_up_in=held.get("set_up_in", ""),
        steps=MappingProxyType(held["steps"]),
        uncounted=tuple(held["uncounted"]),
        no_baseline=tuple(held["no_baseline"]),
        by_ledger=frozenset(held["by_ledger"]),
        showed=held.get("showed"),
        ran=MappingProxyType(held["ran"]),
    )


def _withdrawn(events: Iterable[Event]) -> dict[int, int]:
    """Event -> the first event that took it back. What was itself taken back takes nothing back, and what the ledger says
    falls with the entry that it was said by."""
    events = list(events)
    withdrawn: dict[int, int] = {}
    for event in reversed(events):
        if event.number not in withdrawn:
            withdrawn.update(dict.fromkeys(_takes_back(event), event.number))
    for event in events:
        if event.data.get("by_entry") in withdrawn:
            withdrawn.setdefault(event.number, withdrawn[event.data["by_entry"]])
    return withdrawn


def _takes_back(event: Event) -> Iterable[int]:
    """The events that this one withdraws: a verdict on a repair those whose answers the repair has put right."""
    match event.what:
        case "withdraw" | "no-longer":
            return tuple(event.data["numbers"])
        case "repair":
            return tuple(event.data.get("forgotten", ()))
    return ()


def _tells(event: Event) -> Iterator[tuple[str, Given | None]]:
    """What an event answers."""
    data = event.data
    match event.what:
        case "answer":
            yield data["finding"], Given(data["answer"], data.get("reading"))
        case "unknown":
            yield data["finding"], None
        case "step" | "carried":
            readings = data.get("readings", {})
            yield from ((name, Given(answer, readings.get(name))) for name, answer in data["answers"].items())


def _note_if_again(finding: str, held: dict[str, Any]) -> None:
    if finding in held["findings"] or finding in held["unknown"]:
        held["asked_again"].add(finding)


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
            _note_if_again(finding, held)
            held["findings"].update(_tells(event))
            held["unknown"].discard(finding)
            held["answered"].append((event.number, finding))
            (held["by_ledger"].add if "by_entry" in data else held["by_ledger"].discard)(finding)
        case "unknown":
            finding = data["finding"]
            _note_if_again(finding, held)
            if data.get("decides"):
                held["asked_again"].add(finding)
            held["findings"].pop(finding, None)
            held["unknown"].add(finding)
            held["answered"].append((event.number, finding))
        case "words":
            held["words"].append(data["text"])
            held["unheard"].append(data["text"])
        case "heard":
            if not data.get("numbers") and not data.get("known"):
                held["passed_over"] += held["words"][max(len(held["words"]) - len(held["unheard"]), 1) :]
            held["unheard"] = []
            if "numbers" in data:
                held["lists"].append((*data["numbers"], event.number))
        case "note":
            held["notes"].append((event.at, data["text"]))
        case "needle":
            entry = NeedleEntry(
                data["needle"], data["sixteenths"], data["moved"], event.at, event.number,
                data.get("good", False), data.get("said", False),
            )  # fmt: skip
            held["needles"].append(entry)
        case "bench":
            held["bench"].append(
                Reckoned(
                    event.at, data["calculator"], data["title"], data["inputs"], tuple(data["results"]),
                    tuple(data["says"]), data["findings"],
                )
            )  # fmt: skip
        case "check":
            held["checks"][data["check"]] = event.number
        case "fixed":
            held["begun"][data["cause"]] = event.number
            held["half_mended"] = ""
            held["another_left"] = False
            held["ran"] = {}
            # Work on the engine: whatever still waits for its verdict is run again from the first retest.
            held["awaiting"] = {**{cause: [] for cause in held["awaiting"] if cause != data["cause"]}, data["cause"]: []}
            held["worked"].append(Worked(event.number, "fixed", data["cause"]))
        case "passed":
            if held["awaiting"]:
                next(reversed(held["awaiting"].values())).append(data["retest"])
            held["another_left"] |= bool(data.get("another"))
            if "minutes" in data:
                held["ran"][data["retest"]] = data["minutes"]
            held["worked"].append(Worked(event.number, "passed", data["retest"]))
        case "showed":
            held["showed"] = data["minutes"]
        case "repair":
            # Before version 3 it was asked after the verdict what is left, and nothing says whether it was.
            asks = data["result"] == "better" and "forgotten" in data
            held["half_mended"] = data["cause"] if asks else ""
            held["another_left"] = False
            was_done = held["awaiting"].pop(data["cause"], None) is not None
            # Before version 3 what was done and not run was written down as not done.
            result = "not-proved" if was_done and data["result"] == "not-done" else data["result"]
            held["repairs"].append(RepairDone(data["cause"], result, event.at, data.get("proof", "")))
            held["worked"].append(Worked(event.number, result, data["cause"]))
            if result == "not-done":
                held["put_aside"].add(data["cause"])
            elif result != SOUND:
                held["begun"].setdefault(data["cause"], event.number)
            if result == "not-proved":
                held["unproved"].add(data["cause"])
        case "no-longer":
            held["worked"].append(Worked(event.number, "no-longer", held.get("half_mended", "")))
            held["half_mended"] = ""
        case "set-up":
            held["setting_up"] = True
        case "step":
            taken = StepTaken(data["step"], data["outcome"], event.at, event.number)
            held["steps"].pop(taken.step, None)
            held["steps"][taken.step] = taken
            held["findings"].update(_tells(event))
            settled = data.get("settled", {})
            held["needles"] += [NeedleEntry(n, count, False, event.at, good=True) for n, count in settled.items()]
        case "uncounted":
            held["uncounted"].append((event.number, data["needle"]))
        case "no-baseline":
            held["no_baseline"].append((event.number, data["needle"]))
        case "carried":
            held["set_up_in"] = data["setup"]
            held["findings"].update(_tells(event))
            held["steps"].update({step: StepTaken(step, outcome) for step, outcome in data["steps"].items()})
            held["needles"] += [NeedleEntry(needle, count, False, event.at) for needle, count in data["counts"].items()]
            held["needles"] += [NeedleEntry(needle, by, True, event.at) for needle, by in data.get("moves", {}).items()]
        case "recording":
            several = {name: tuple(data[name]) for name in ("said", "speeds", "burbles", "marks", "marked", "results")}
            heard = RecordingHeard(data["name"], data["reading"], step=data["step"], at=event.at, **several)
            held["recordings"].append(heard)
        case "closed":
            held["closing"] = Closing(data["how"], tuple(data["causes"]), event.at)
        case "draft":
            held["draft"][data["part"]] = tuple(data["says"])
