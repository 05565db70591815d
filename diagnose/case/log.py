"""The log of a case on disk: one JSON line an event, written and flushed before anything else happens.

A line half written when the power went is cut off and kept beside the log. Two walks never share a log: the one
that has it open holds a lock.
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..knowledge.setup_model import NEEDLES
from .state import ENDINGS, FORMAT, REPAIR_RESULTS, STEP_OUTCOMES, CaseState, Event, replay

try:
    import fcntl
except ImportError:  # Windows has no fcntl; there the exclusive creation of a log still keeps two walks apart.
    fcntl = None  # type: ignore[assignment]

ENDING = ".jsonl"

LONGEST_LOG = 10_000_000
"""Bytes. A walk of a hundred answers takes ten thousand."""

REQUIRED: Mapping[str, Mapping[str, type]] = MappingProxyType(
    {
        "opened": {"case": str, "format": int},
        "rules": {"packs": list},
        "machine": {"name": str},
        "answer": {"finding": str, "answer": str},
        "unknown": {"finding": str},
        "words": {"text": str},
        "heard": {},
        "note": {"text": str},
        "needle": {"needle": str, "sixteenths": int, "moved": bool},
        "check": {"check": str},
        "bench": {"calculator": str, "title": str, "inputs": dict, "results": list, "says": list, "findings": dict},
        "fixed": {"cause": str},
        "passed": {"retest": str},
        "showed": {"minutes": float},
        "repair": {"cause": str, "result": str},
        "no-longer": {"numbers": list},
        "set-up": {},
        "step": {"step": str, "outcome": str, "answers": dict},
        "uncounted": {"needle": str},
        "no-baseline": {"needle": str},
        "carried": {"setup": str, "answers": dict, "counts": dict, "steps": dict},
        "recording": {
            "name": str,
            "reading": str,
            "said": list,
            "step": int,
            "speeds": list,
            "burbles": list,
            "marks": list,
            "marked": list,
            "results": list,
        },
        "withdraw": {"numbers": list},
        "closed": {"how": str, "causes": list},
        "draft": {"part": str, "says": list},
    }
)
"""What an event must hold, by what it is."""

NUMBERS = ("numbers", "forgotten", "speeds", "burbles", "marked")
TEXTS = ("packs", "causes", "results", "says", "said", "marks")
"""Lists of whole numbers, and of texts."""


class LogTrouble(Exception):
    """The log cannot be read or written; the message says what, where and what to do."""


class LogInUse(LogTrouble):
    """Another walk has this log open."""


def now() -> str:
    """Return the local time to the second, with its offset."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def log_of(case: str, folder: Path) -> Path:
    """Return the path of the log of a case that is named, or whose path is given."""
    path = Path(case)
    return path if path.suffix else folder / f"{case}{ENDING}"


@dataclass(frozen=True, slots=True)
class Recovered:
    """What was read from a log, and the part of its last line that was cut off ('' if it was whole)."""

    events: tuple[Event, ...]
    whole: int
    damaged: bytes


def read_log(path: Path) -> Recovered:
    """Read the events of a log. Only a damaged last line is forgiven; anything else raises LogTrouble."""
    try:
        with path.open("rb") as file:
            content = file.read(LONGEST_LOG + 1)
    except OSError as error:
        raise LogTrouble(f"{path}: cannot be read: {error.strerror or error}") from None
    if len(content) > LONGEST_LOG:
        raise LogTrouble(f"{path}: larger than {LONGEST_LOG:,} bytes; no walk writes so much")
    events: list[Event] = []
    position = 0
    lines = content.split(b"\n")
    for number, line in enumerate(lines, 1):
        last = number == len(lines) or (number == len(lines) - 1 and lines[-1] == b"")
        if number == len(lines) and not line:
            break
        try:
            if number == len(lines):
                raise ValueError("the line has no end")
            events.append(_event(json.loads(line.decode("utf-8")), number))
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            if not events:
                break
            if last:
                return Recovered(tuple(events), position, content[position:])
            raise LogTrouble(
                f"{path}:{number}:1: this line of the case log is damaged ({_short(error)}); "
                "the lines before it are good: keep a copy, cut the file there, and open it again"
            ) from None
        position += len(line) + 1
    if not events or events[0].what != "opened":
        raise LogTrouble(f"{path}:1:1: not a case log of this program")
    if events[0].data["format"] > FORMAT:
        raise LogTrouble(f"{path}:1:1: written by a newer version of this program; update it to read this case")
    return Recovered(tuple(events), position, b"")


def _short(error: Exception) -> str:
    return str(error).splitlines()[0][:80]


def _event(data: Any, number: int) -> Event:
    if not isinstance(data, dict):
        raise ValueError("not an event")
    what = data.pop("event")
    at = data.pop("at")
    if what not in REQUIRED or not isinstance(at, str):
        raise ValueError(f"an event called {str(what)[:20]!r}")
    for name, kind in REQUIRED[what].items():
        if type(data[name]) is not kind:
            raise ValueError(f"'{name}' of '{what}'")
    for name, value in (*data.items(), ("at", at)):
        _check_value(name, value)
    return Event(number, at, what, MappingProxyType(data))


_TABLES: Mapping[str, tuple[tuple[str, ...] | None, type]] = MappingProxyType(
    {
        **dict.fromkeys(("counts", "moves", "settled"), (NEEDLES, int)),
        **dict.fromkeys(("answers", "readings", "steps", "inputs", "findings"), (None, str)),
    }
)
"""Data that is a table -> the names it may have (None: any), and what stands under them."""

_CASE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,60}")


def _check_value(name: str, value: Any) -> None:
    """Refuse what this program never writes: it could steer a terminal, or name a file elsewhere."""
    texts: list[Any] = value if isinstance(value, list) else [*value, *value.values()] if isinstance(value, dict) else []
    texts = [value] if isinstance(value, str) else texts
    if name in TEXTS and not all(isinstance(text, str) for text in texts):
        raise ValueError(f"'{name}' takes texts")
    if any(not (text.isprintable() if isinstance(text, str) else isinstance(text, int)) for text in texts):
        raise ValueError(f"'{name}' holds what is no plain text")
    allowed = {"result": REPAIR_RESULTS, "how": ENDINGS, "needle": NEEDLES, "outcome": STEP_OUTCOMES}.get(name)
    if allowed and value not in allowed:
        raise ValueError(f"'{name}' takes {', '.join(allowed)}")
    if name in _TABLES and not (isinstance(value, dict) and _holds(value, *_TABLES[name])):
        raise ValueError(f"'{name}' is no such table")
    if name == "steps" and not set(value.values()) <= set(STEP_OUTCOMES):
        raise ValueError(f"'{name}' takes {', '.join(STEP_OUTCOMES)}")
    if name in ("case", "setup") and not _CASE_NAME.fullmatch(value):
        raise ValueError(f"'{name}' is no name of a case")
    if name in NUMBERS and not all(type(number) is int for number in value):
        raise ValueError(f"'{name}' takes numbers")
    if name in ("reading", "proof") and not isinstance(value, str):
        raise ValueError(f"'{name}' takes a text")
    if name == "minutes" and (type(value) is not float or not 0 <= value < math.inf):
        raise ValueError(f"'{name}' takes a time")
    if name == "by_entry" and type(value) is not int:
        raise ValueError(f"'{name}' takes the number of an event")


def _holds(table: dict[Any, Any], keys: tuple[str, ...] | None, kind: type) -> bool:
    return all((keys is None or key in keys) and type(value) is kind for key, value in table.items())  # True is no count


class CaseLog:
    """An open case: append an event and it is on disk. Use as a context manager, or call close()."""

    def __init__(self, path: Path, descriptor: int, events: tuple[Event, ...], clock: Callable[[], str]) -> None:
        self.path = path
        self.repaired = ""
        self._descriptor = descriptor
        self._events = list(events)
        self._clock = clock
        self._state: CaseState | None = None

    @classmethod
    def create(cls, folder: Path, clock: Callable[[], str] = now) -> CaseLog:
        """Start a case in `folder`, under the first free number of the day."""
        day = clock()[:10]
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for number in range(1, 10_000):
                path = folder / f"{day}-{number}{ENDING}"
                try:
                    descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_APPEND, 0o600)
                except FileExistsError:
                    continue
                log = cls(path, descriptor, (), clock)
                log._lock()
                log.append("opened", case=path.stem, format=FORMAT)
                return log
        except OSError as error:
            raise LogTrouble(_cannot_write(folder, error)) from None
        raise LogTrouble(f"{folder}: ten thousand cases in one day; move some away")

    @classmethod
    def open(cls, path: Path, clock: Callable[[], str] = now) -> CaseLog:
        """Go on with a case. A damaged last line is cut off and kept beside the log; `repaired` then says so."""
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_APPEND)
        except OSError as error:
            raise LogTrouble(f"{path}: cannot be opened for writing: {error.strerror or error}") from None
        log = cls(path, descriptor, (), clock)
        try:
            log._lock()
            recovered = read_log(path)
            if recovered.damaged:
                kept = path.with_suffix(".damaged")
                with kept.open("ab") as beside:
                    beside.write(recovered.damaged + b"\n")
                os.ftruncate(descriptor, recovered.whole)
                log.repaired = (
                    f"The last line of this case was damaged and is cut off (kept in {kept.name}); all before it is here."
                )
        except OSError as error:
            os.close(descriptor)
            raise LogTrouble(_cannot_write(path, error)) from None
        except LogTrouble:
            os.close(descriptor)
            raise
        log._events = list(recovered.events)
        return log

    def _lock(self) -> None:
        if fcntl is None:
            return
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise LogInUse(f"{self.path.name} is open in another walk") from None

    def append(self, what: str, **data: Any) -> Event:
        """Write one event and wait until the disk has it. Raises LogTrouble when it cannot be kept."""
        event = Event(len(self._events) + 1, self._clock(), what, MappingProxyType(data))
        line = json.dumps({"event": what, "at": event.at, **data}, ensure_ascii=False) + "\n"
        encoded = line.encode("utf-8", errors="replace")
        size = os.fstat(self._descriptor).st_size
        try:
            written = 0
            while written < len(encoded):
                written += os.write(self._descriptor, encoded[written:])
            os.fsync(self._descriptor)
        except OSError as error:
            self._cut_back(size)
            raise LogTrouble(_cannot_write(self.path, error)) from None
        self._events.append(event)
        self._state = None
        return event

    def _cut_back(self, size: int) -> None:
        """Take a half-written line away, so that what was kept before stays readable."""
        with suppress(OSError):  # The next opening repairs a damaged last line by itself.
            os.ftruncate(self._descriptor, size)

    @property
    def events(self) -> tuple[Event, ...]:
        return tuple(self._events)

    @property
    def state(self) -> CaseState:
        """The state after everything written so far."""
        if self._state is None:
            self._state = replay(self._events)
        return self._state

    def close(self) -> None:
        """Release the log for others."""
        os.close(self._descriptor)

    def __enter__(self) -> CaseLog:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _cannot_write(path: Path, error: OSError) -> str:
    return f"{path}: cannot be written: {error.strerror or error}; free some space or name another folder with --data"


def logs_in(folder: Path) -> list[Path]:
    """Return the logs in `folder`, newest first. An empty one holds no case: its start was cut off at once."""
    found = [(path, _written_at(path)) for path in folder.glob(f"*{ENDING}") if not _is_empty(path)]
    return [path for path, _ in sorted(found, key=lambda one: one[1], reverse=True)]


def _written_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:  # a link to nowhere, or a log that has just been moved away
        return 0.0


def _is_empty(path: Path) -> bool:
    try:
        return path.stat().st_size == 0
    except OSError:
        return False


def open_cases(folder: Path) -> Iterator[tuple[Path, CaseState]]:
    """Yield the logs in `folder` that are not closed, newest first, and change none; what cannot be read is left out."""
    for path in logs_in(folder):
        try:
            if _ends_closed(path):
                continue
            state = replay(read_log(path).events)
        except (LogTrouble, OSError):
            continue
        if state.closing is None:
            yield path, state


def _ends_closed(path: Path) -> bool:
    """True if the text of a log says that it is closed: told without its events, of which a thousand closed cases have
    more than a start has time for."""
    with path.open("rb") as file:
        _, closed, after = file.read(LONGEST_LOG).rpartition(b'\n{"event": "closed"')
    return bool(closed) and b'\n{"event": "withdraw"' not in after
