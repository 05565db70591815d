"""What a club's confirmed cases have taught: how common its faults are, and what its frequency words mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ANY_KIND = ""
"""Stands for a machine whose kind has not been said."""


@dataclass(frozen=True, eq=False)
class Learned:
    """Compared by identity, so that it can key a cache. Without it the packs' own words stand everywhere.

    cases       confirmed cases it rests on
    seen        cause -> times it was confirmed in the club
    seen_here   cause -> times it was confirmed on the machine in hand
    how_common  kind of machine -> cause -> share of all faults, between 0 and 1; ANY_KIND is always there
    words       frequency word -> share of engines, as the word has proved to mean in this club
    """

    cases: int
    seen: Mapping[str, int]
    seen_here: Mapping[str, int]
    how_common: Mapping[str, Mapping[str, float]]
    words: Mapping[str, float]

    def weights(self, causes: Sequence[str], kind: str) -> NDArray[np.float64]:
        """Return (causes,) relative prior weights on a machine of this kind."""
        shares = self.how_common.get(kind, self.how_common[ANY_KIND])
        return np.array([shares[cause] for cause in causes])
