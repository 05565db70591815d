"""A measurement as lines of text, and as a document for programs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from ..knowledge.model import Knowledge
from .scores import BINS, Bin, Scores, saved
from .series import PLANNED, Measured
from .ways import FIXED

FORMAT = "diagnose-measured"
VERSION = 1
BAR = 30


def document(measured: Measured) -> dict[str, Any]:
    """Return the whole measurement as plain data: the settings, every score by way, and the shares of minutes saved."""
    planned = measured.by_way[PLANNED]
    return {
        "format": FORMAT,
        "version": VERSION,
        **asdict(measured),
        "minutes_saved": {name: saved(planned, other) for name, other in measured.by_way.items() if name != PLANNED},
    }


def lines(measured: Measured, knowledge: Knowledge) -> Iterator[str]:
    """Return the measurement as text, at most 80 columns wide."""
    owner = measured.owner
    planned, noisy = measured.by_way[PLANNED], measured.noisy
    yield f"{measured.cases} cases drawn from the rules' own odds, seed {measured.seed}. The owner does not know"
    yield f"{owner.unknown:.0%} of the answers and is wrong in {owner.wrong:.0%} of the others."
    yield ""
    yield f"{'as planned':36}{HEADS}"
    yield f"{'with this owner':36}{_row(noisy)}"
    yield f"{'with an owner who knows all':36}{_row(measured.clean)}"
    yield ""
    yield f"{f'other ways, this owner, {measured.compared} cases':36}{HEADS}{'saved':>6}"
    for name, one in measured.by_way.items():
        gain = "" if one is planned else f"{saved(planned, one):.0%}"
        yield f"{name:36}{_row(one)}{gain:>6}".rstrip()
    best = min((name for name in measured.by_way if name.startswith(FIXED)), key=lambda n: measured.by_way[n].minutes)
    gain = f"{saved(planned, measured.by_way[best]):.0%}"
    yield f"Best fixed order: {best.removeprefix(FIXED).strip()}; the plan saves {gain} of its minutes."
    yield ""
    yield "first, in 3: place of a true cause when the first repair is put forward."
    yield "asked: questions and checks until then, median. minutes: mean of all questions,"
    yield "checks, repairs and retests, and two hours for help where it is given up; plus"
    errors = f"{noisy.minutes_error:.0f} in the first line, {planned.minutes_error:.0f} in the comparison"
    yield f"or minus {errors} (standard error)."
    yield ""
    yield from _reliability(noisy, "with this owner")
    yield ""
    yield from _reliability(measured.clean, "all known")
    yield ""
    yield "Eight right answers and one wrong, any one: the true cause is among the first"
    yield f"five in {measured.first_five_after_a_slip:.0%} of the cases with one fault."
    yield ""
    yield "Most often taken for another:"
    for true, led, many in noisy.confused:
        yield f"  {many} x {knowledge.causes[true].name}"
        yield f"      for {knowledge.causes[led].name}"


HEADS = f"{'first':>6}{'in 3':>6}{'asked':>6}{'cured':>6}{'minutes':>8}"


def _row(one: Scores) -> str:
    return f"{one.first:>6.0%}{one.first_three:>6.0%}{one.asked_before_verdict:>6.0f}{one.cured:>6.0%}{one.minutes:>8.0f}"


def _reliability(one: Scores, owner: str) -> Iterator[str]:
    yield f"How sure it was of the leading cause, and how often rightly, {owner};"
    yield f"calibration error {one.calibration_error:.3f}; # true, | said:"
    for number, share in enumerate(one.reliability):
        if share.walks:
            said = f"{number * 100 // BINS:>3}-{(number + 1) * 100 // BINS:<3} %"
            counted = f"{share.walks:>4} walks  said {share.said:>4.0%}  true {share.true:>4.0%}"
            yield f"  {said} {counted}  {_bar(share)}".rstrip()


def _bar(share: Bin) -> str:
    bar = list("#" * round(share.true * BAR) + " " * BAR)[:BAR]
    bar[min(round(share.said * BAR), BAR - 1)] = "|"
    return "".join(bar)
