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
VERSION = 2
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
    yield f"{'as planned':35}{HEADS}"
    yield f"{'with this owner':35}{_row(noisy)}"
    yield f"{'with an owner who knows all':35}{_row(measured.clean)}"
    yield ""
    yield f"{f'other ways, this owner, {measured.compared} cases':35}{HEADS}{'saved':>6}"
    for name, one in measured.by_way.items():
        gain = "" if one is planned else f"{saved(planned, one):.0%}"
        yield f"{name:35}{_row(one)}{gain:>6}".rstrip()
    fixed = {name: one for name, one in measured.by_way.items() if name.startswith(FIXED)}
    best = min(fixed, key=lambda name: fixed[name].minutes_to_cause)
    gain = f"{saved(planned, fixed[best]):.0%}"
    yield f"Best fixed order: {best.removeprefix(FIXED).strip()}; the plan saves {gain} of its minutes."
    yield ""
    yield "first, in 3: place of a true cause when the first repair is put forward. asked:"
    yield "questions and checks until then, median. cause: mean minutes to the cause, that"
    yield "is of all questions, checks, repairs in vain with their retests, and two hours"
    errors = f"{noisy.minutes_error:.0f} in the first line, {planned.minutes_error:.0f} below"
    yield f"for help where it is given up; plus or minus {errors}"
    yield "(standard error). all: with the right repair too, which every way needs alike."
    yield ""
    yield from _reliability(noisy, "with this owner")
    yield ""
    yield from _reliability(measured.clean, "all known")
    yield ""
    yield "Eight right answers and one wrong, any one of the first nine: the true cause is"
    yield f"among the first five in {measured.first_five_after_a_slip:.0%} of the cases with one fault."
    yield ""
    yield "Most often taken for another:"
    for true, led, many in noisy.confused:
        yield f"  {many} x {knowledge.causes[true].name}"
        yield f"      for {knowledge.causes[led].name}"


HEADS = f"{'first':>6}{'in 3':>6}{'asked':>6}{'cured':>6}{'cause':>6}{'all':>5}"


def _row(one: Scores) -> str:
    shares = f"{one.first:>6.0%}{one.first_three:>6.0%}{one.asked_before_verdict:>6.0f}{one.cured:>6.0%}"
    return f"{shares}{one.minutes_to_cause:>6.0f}{one.minutes:>5.0f}"


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
