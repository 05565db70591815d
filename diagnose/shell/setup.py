"""The set-up list at a console: each step with its why and its cautions, done, not done, or not to be done here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from ..case.casefile import MACHINE
from ..case.ledger import stands
from ..case.state import CANNOT, DONE, NOT_DONE, SET_UP
from ..knowledge.setup_model import SetupStep
from ..planning.setup import (
    answers_of,
    in_order,
    next_step,
    open_of,
    steps_now,
    that_lift,
    uncounted_of,
    waits_for_running,
)
from ..report.files import record_of, write_record
from . import screens, setup_screens
from .commands import SETUP_COMMANDS
from .console import Left
from .needles import NOT_YET_GOOD
from .needles_asked import ask_where
from .sitting import Sitting

Ended = Literal["closed", "unwritten", "left", "fault"]
"""How a sitting over the list ended: gone through, gone through without a record on disk, left open, or left open because
a fault is to be walked."""

SAYS = {DONE: "done", NOT_DONE: "not done", CANNOT: "cannot be done here"}
"""What can come of a step -> how it is chosen."""


class _Fault(Exception):
    """A fault has shown up; the set-up is kept as it is and the fault is walked."""


class SetUp(Sitting):
    """One set-up, from the bare carburettor to the first flight."""

    commands = SETUP_COMMANDS

    def run(self) -> Ended:
        """Go through the list until it is ended or the person leaves."""
        self.take_up()
        if self.state.steps:
            self.name_what_stands()
        try:
            self.go_through(self._next)
            self.say()
            self.say("The set-up is ended.", "head")
            written = self.write_report()
            self.say(f"A fault later on: 'diagnose --setup {self.state.case}' knows what was done here and what was not.")
            return "closed" if written else "unwritten"
        except _Fault:
            return "fault"
        except Left:
            self.say()
            self.say(f"Kept: {len(self.state.steps)} steps in {self.log.path}.")
            self.say("Start 'diagnose setup' again and it goes on here.")
            return "left"

    def _next(self) -> None:
        if MACHINE in self.knowledge.findings and not {MACHINE} & (self.state.findings.keys() | self.state.unknown):
            self.ask(self.knowledge.findings[MACHINE])
            return
        self.tell_news()
        for step in in_order(self.knowledge):
            taken = self.state.steps.get(str(step.id))
            if taken and taken.outcome == DONE and self._ask_rest(step):
                return
        following = next_step(self.knowledge, self.examined.conclusions, self.state)
        if following:
            self._take(following)
        else:
            self._end_of_list()

    def _ask_rest(self, step: SetupStep) -> bool:
        """Ask one thing that belongs to a step that was done; False when nothing of it is open."""
        for name in open_of(self.knowledge, self.examined.conclusions, self.state, step):
            self.ask(self.knowledge.findings[name])
            return True
        for needle in uncounted_of(self.state, step):
            self.why = lambda: screens.paragraph("The count is the way home.", self.width, "    ")
            if not ask_where(self, needle):
                self.log.append("uncounted", needle=needle)
            return True
        return False

    # A step.

    def _take(self, step: SetupStep) -> None:
        """Show a step and keep what came of it; one under a standing hold waits."""
        steps = steps_now(self.knowledge, self.examined.conclusions)
        place = next((number for number, one in enumerate(steps, 1) if one is step), 0)
        self.why = lambda: setup_screens.why(step, self.width)
        self.show(screens.procedure(step, self.width, f"Step {place} of {len(steps)}"))
        held = self.examined.conclusions.held(step.under)
        if held:
            self._wait(step, held)
            return
        self.warn([str(name) for name in step.cautions])
        self.show(screens.steps(self.knowledge, self.examined.conclusions, step.steps, self.width))
        self.say("What came of it?", "ask")
        self._keep(step, list(SAYS)[self.choose(list(SAYS.values()))])

    def _keep(self, step: SetupStep, outcome: str) -> None:
        """One event holds the step, what follows from it, and the counts it settles, so that nothing is kept by half."""
        again = [number for number, finding in self.state.answered if finding in step.finds]
        if again and outcome == DONE:
            self.log.append("withdraw", numbers=again)  # what was found with it is found again
        self.log.append(
            "step",
            step=str(step.id),
            outcome=outcome,
            answers=answers_of(step, outcome),
            settled=self._settled(step) if outcome == DONE else {},
        )

    def _settled(self, step: SetupStep) -> dict[str, int]:
        """The counts that a step makes the baseline: none while it has not been shown to run well."""
        if self.examined.conclusions.held(NOT_YET_GOOD):
            return {}
        places = {str(needle): stands(self.state.needles, needle) for needle in step.settles}
        return {needle: place.now for needle, place in places.items() if place is not None}

    def _wait(self, step: SetupStep, held: Sequence[str]) -> None:
        conclusions = self.examined.conclusions
        for hold in held:
            self.show(screens.hold(self.knowledge, conclusions, hold, self.width))
        self.say("This step waits.", "head")
        lifting = that_lift(self.knowledge, conclusions, self.state, held)
        lifting = tuple(one for one in lifting if one is not step and not conclusions.held(one.under))[:4]
        says = [f"go back to: {one.name}" for one in lifting]
        chosen = self.choose([*says, "leave it not done and go on", "keep it open and leave"])
        if chosen < len(lifting):
            self._take(lifting[chosen])
        elif chosen == len(lifting):
            self._keep(step, NOT_DONE)
        else:
            raise Left

    # The end of the list.

    def _end_of_list(self) -> None:
        self.why = None
        undone = [
            step
            for step in steps_now(self.knowledge, self.examined.conclusions)
            if self.state.steps[str(step.id)].outcome != DONE
        ]
        waiting = waits_for_running(self.knowledge, self.examined.conclusions, self.state)
        self.show(setup_screens.summary(self.knowledge, self.state, undone, waiting, self.width))
        holds = ", ".join(str(self.knowledge.holds[hold].name) for hold in self.examined.conclusions.holds)
        if holds:
            self.say(f"    Still on hold: {holds} ('cautions' shows why).")
        offers = {
            "end it here, and write the record": self._close,
            "a fault has shown up: walk it": self.fault,
            "keep it open and leave": self.leave,
        }
        if undone:
            offers = {"go back to what was not done": lambda: self._go_back_to(undone), **offers}
        list(offers.values())[self.choose(list(offers))]()

    def _go_back_to(self, undone: Sequence[SetupStep]) -> None:
        self.say("Which one?", "ask")
        self._take(undone[self.choose([str(step.name) for step in undone])])

    def _close(self) -> None:
        self.log.append("closed", how=SET_UP, causes=[])

    # What can be typed at any prompt.

    def fault(self) -> None:
        """Keep the set-up as it is, and walk a fault with what it says."""
        raise _Fault

    def show_steps(self) -> None:
        steps = steps_now(self.knowledge, self.examined.conclusions)
        self.show(setup_screens.listing(steps, self.state, self.width))

    def written_report(self) -> str:
        record = record_of(self.knowledge, self.state, self.examined)
        paths = write_record(self._reports, self.state.case, record)
        return f"Record of the set-up: {' and '.join(str(path) for path in paths)}"

    def entered(self) -> dict[tuple[int, ...], str]:
        """A step can be taken back as well as what else was entered."""
        return {
            **super().entered(),
            **{(taken.number,): taken.step for taken in self.state.steps.values()},
        }
