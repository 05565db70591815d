"""What a typed line means at any prompt: don't know, and which one or which several of numbered choices."""

from __future__ import annotations

from collections.abc import Sequence


class NotUnderstood(ValueError):
    """The line cannot be meant as an answer here; the message says what can."""


_UNKNOWN = frozenset(
    {"?", "dk", "don't know", "dont know", "do not know", "i don't know", "unknown", "not sure", "no idea", "skip", "pass"}
)


def not_known(line: str) -> bool:
    """True for don't know, at whatever prompt it is typed."""
    return line.strip().lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'") in _UNKNOWN


def choice_of(line: str, says: Sequence[str]) -> int:
    """Return which of the numbered choices a line means, from 0. Raises NotUnderstood."""
    typed = line.strip().lower()
    if typed.isdecimal() and 1 <= int(typed) <= len(says):
        return int(typed) - 1
    begun = [place for place, say in enumerate(says) if typed and say.lower().startswith(typed)]
    if len(begun) == 1:
        return begun[0]
    raise NotUnderstood(f"type a number from 1 to {len(says)}; 'help' lists what else can be typed")


def several_of(line: str, most: int) -> list[int]:
    """Return the numbers in a line such as `1 3` or `1,3`, from 0. Raises NotUnderstood."""
    parts = line.replace(",", " ").replace("and", " ").split()
    if parts in (["0"], ["none"], ["no"], []):
        return []
    if not all(part.isdecimal() and 1 <= int(part) <= most for part in parts):
        raise NotUnderstood(f"type the numbers that fit, such as 1 3 (up to {most}), or none")
    return [int(part) - 1 for part in dict.fromkeys(parts)]
