"""Names that may be written, and the one that was probably meant; quick for ten thousand names and as many slips."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from functools import cached_property
from heapq import nlargest

from .fields import likeliest

FEW = 30
"""Up to so many names each is compared; among more only those that share most letters."""

LOOKED_AT = 12
"""So many of those that share most letters are compared letter by letter."""

COMMON = 400
"""Letters that stand together in more names than this tell nothing."""


class Names:
    """The names of one kind, such as "finding"."""

    def __init__(self, kind: str, known: Collection[str]) -> None:
        self.kind = kind
        self._known = known

    def __contains__(self, name: object) -> bool:
        return name in self._known

    @cached_property
    def _by_letters(self) -> dict[str, list[str]]:
        index: dict[str, list[str]] = {}
        for name in self._known:
            for letters in _letters(name):
                index.setdefault(letters, []).append(str(name))
        return index

    def likeliest(self, written: str) -> str:
        """Return the name nearest to what was written, in quotes, or '' when none is near."""
        if len(self._known) <= FEW:
            return likeliest(written, self._known)
        shared: Counter[str] = Counter()
        for letters in sorted(_letters(written)):
            names = self._by_letters.get(letters, ())
            if len(names) <= COMMON:
                shared.update(names)
        nearest = nlargest(LOOKED_AT, shared, key=lambda name: (shared[name] / (len(name) + len(written)), name))
        return likeliest(written, nearest)


def _letters(name: str) -> set[str]:
    """Two and three letters that stand together, the first with the beginning."""
    begun = f"^{name}"
    return {begun[at : at + size] for size in (2, 3) for at in range(len(begun) - size + 1)}
