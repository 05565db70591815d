"""A sitting: one case at one console. Saying, reading, asking a question, doing a check, and what can be typed at any
prompt. What comes next is for those that sit: the walk of a fault."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from ..case.casefile import MACHINE
from ..case.ledger import told
from ..case.log import CaseLog
from ..case.state import CaseState, Given
from ..knowledge.model import Check, Finding, Knowledge
from ..planning.examine import Examined, as_known_today, examine
from ..planning.steps import askable, needs_of, under_of
from ..planning.worth import Worth
from ..reasoning.learned import Learned
from ..report.files import CannotWrite, write_reports
from . import screens
from .choices import NotUnderstood, choice_of
from .commands import COMMANDS, Command, command_among_words, command_in
from .console import Console, Dropped, Left, show
from .needles_written import keep_the_count, say_what_is_written
from .replies import reply_to

Taken = TypeVar("Taken")


SCROLLED = 3
"""Lines of a command's answer after which what was asked is shown again."""


AT_WORK = ("fly", "run-at-power")
"""Holds of which nobody is told that they are lifted, as long as a repair has not cured the fault."""


class Anew(Exception):
    """The state has changed under the prompt; decide anew what comes next."""


class Sitting:
    """One case at one console. `commands` is what can be typed at any prompt."""

    commands: Mapping[str, Command] = COMMANDS

    def __init__(
        self,
        knowledge: Knowledge,
        log: CaseLog,
        console: Console,
        reports: Path,
        typed: str | None = None,
        learned: Learned | None = None,
    ) -> None:
        """`typed` is a line already typed at the first question, before the rules were ready. `learned` is what a club's
        own cases have taught."""
        self.knowledge = knowledge
        self.log = log
        self.console = console
        self._reports = reports
        self._typed = typed
        self._learned = learned
        self._cached: tuple[CaseState, CaseState, Examined] | None = None
        self.told_cautions: set[str] = set()
        self._named_cautions: frozenset[str] = frozenset()
        self._told_holds: set[str] = set()
        self._told_conditions: set[str] = set()
        self.why: Callable[[], screens.Lines] | None = None
        self._lines = 0
        self._dropped = False

    # The state of the case, and what follows from it.

    @property
    def state(self) -> CaseState:
        """The case as today's rules know it."""
        return self._seen()[1]

    @property
    def examined(self) -> Examined:
        return self._seen()[2]

    def _seen(self) -> tuple[CaseState, CaseState, Examined]:
        """The logged state, the state as known today, and what follows; worked out once for each state of the log."""
        if self._cached is None or self._cached[0] is not self.log.state:
            known = as_known_today(self.knowledge, self.log.state)
            self._cached = (self.log.state, known, examine(self.knowledge, known, self._learned))
        return self._cached

    # Taking it up, and going on until it is ended.

    def take_up(self) -> None:
        """Say what was repaired in the log, and note the packs that are read now."""
        if self.log.repaired:
            self.say(self.log.repaired)
        packs = [f"{pack.id} {pack.version}" for pack in self.knowledge.packs]
        if list(self.state.packs) != packs:
            self.log.append("rules", packs=packs)

    def go_through(self, step: Callable[[], None]) -> None:
        """Take one step after the other until the case is closed. A command may change what comes next. Raises Left."""
        while self.state.closing is None:
            with suppress(Anew):
                step()

    # Saying and reading.

    @property
    def width(self) -> int:
        return self.console.width

    def say(self, text: str = "", tone: str = "") -> None:
        lead = " " * (len(text) - len(text.lstrip()))
        self.show(screens.paragraph(text.strip(), self.width, lead, tone) if text else [("", "")])

    def show(self, lines: Iterable[tuple[str, str]]) -> None:
        lines = list(lines)
        self._lines += len(lines)
        show(self.console, lines)

    def read_words(self) -> str:
        """Read free words. What begins like a command may be the owner's story: 'back fires', 'found water in it'."""
        return self.read(lambda line: line, find=command_among_words)

    def read(
        self,
        understand: Callable[[str], Taken],
        words: Sequence[str] = (),
        prompt: str = "> ",
        find: Callable[[str], tuple[Command, str] | None] | None = None,
        shown: Callable[[], Iterable[tuple[str, str]]] = tuple,
    ) -> Taken:
        """Read lines until one is understood. Commands are carried out on the way. `shown` is what was asked: it is shown
        again after a command that has scrolled it away, and never what a prompt outside this one has asked."""
        while True:
            try:
                line = self._line(prompt, words)
            except Dropped:
                self.say("Line dropped." + (" 'leave' or Ctrl-D leaves, with everything kept." if self._dropped else ""))
                self._dropped = True
                continue
            self._dropped = False
            found = find(line) if find else command_in(line, self.commands)
            command = None if line.strip().lower() in words else found
            if command:
                before = self._lines
                if command[0].run(self, command[1]):
                    raise Anew
                if self._lines - before > SCROLLED:
                    self.show(shown())
                continue
            try:
                return understand(line)
            except NotUnderstood as error:
                self.say(f"  {error}.")

    def _line(self, prompt: str, words: Sequence[str]) -> str:
        if self._typed is not None:
            line, self._typed = self._typed, None
            return line
        return self.console.read(prompt, [*words, *self.commands])

    def choose(self, says: Sequence[str], asked: str = "", about: str = "") -> int:
        """Return which of these is chosen. `asked` is the question before them; where a page stood before them instead,
        `about` says what it was about when they are shown again."""

        def shown(head: str) -> screens.Lines:
            yield from screens.paragraph(head, self.width, "", "ask") if head else ()
            yield from screens.choices(says, self.width)

        self.show(shown(asked))
        return self.read(lambda line: choice_of(line, says), shown=lambda: shown(asked or about))

    def inquire(
        self,
        asked: str,
        understand: Callable[[str], Taken],
        find: Callable[[str], tuple[Command, str] | None] | None = None,
    ) -> Taken:
        """Ask for what is typed in words or figures."""

        def shown() -> screens.Lines:
            return screens.paragraph(asked, self.width, "", "ask")

        self.show(shown())
        return self.read(understand, find=find, shown=shown)

    def warn_once(self, names: Sequence[str]) -> None:
        """Show cautions in full, each the first time only: before a question."""
        for name in names:
            if name not in self.told_cautions:
                self.told_cautions.add(name)
                self.show(screens.caution(self.knowledge, name, self.width))

    def warn(self, names: Sequence[str]) -> None:
        """Show cautions before hands go to work: in full the first time, by name every time after."""
        known = [name for name in names if name in self.told_cautions]
        self.warn_once(names)
        self.show(screens.reminder(known, self.width))

    # What has come up, and questions.

    def tell_news(self, lifts: bool = True) -> None:
        """Cautions and holds that have come up, and what has been concluded, in that order. `lifts`: what is on hold no
        longer is said too, or else the next time, if it still is so."""
        conclusions = self.examined.conclusions
        fresh = [name for name in conclusions.cautions if name not in self.told_cautions | self._named_cautions]
        self.warn_once(fresh)
        reasons = [self.knowledge.rules[rule].because for name in fresh for rule in conclusions.cautions[name][:1]]
        for because in dict.fromkeys(reasons):
            self.show(screens.paragraph(f"Because: {because}", self.width, "    ", "quiet"))
        fresh_holds = [name for name in conclusions.holds if name not in self._told_holds]
        self._told_holds.update(fresh_holds)
        if not set(self.state.findings) - {MACHINE}:
            # Nothing was told of this engine yet: what stands for every engine is named, and shown where it matters.
            self.show(screens.reminder_of_holds(self.knowledge, fresh_holds, self.width))
            fresh_holds = []
        for name in fresh_holds:
            self.show(screens.new_hold(self.knowledge, conclusions, name, self.width))
        not_cured = any(done.result in ("better", "same") for done in self.state.repairs)
        for name in sorted(self._told_holds - conclusions.holds.keys()) if lifts else ():
            self._told_holds.discard(name)
            if not (not_cured and name in AT_WORK):
                self.say(f"  # Lifted: {self.knowledge.holds[name].name}.")
        for name, concluded in conclusions.conditions.items():
            if name not in self._told_conditions and not self.knowledge.conditions[name].unsaid:
                self._told_conditions.add(name)
                because = self.knowledge.rules[concluded.rules[0]].because
                said = f"So: {str(self.knowledge.conditions[name].name).lower()}. {because}"
                self.show(screens.paragraph(said, self.width, "    ", "quiet"))

    def name_what_stands(self) -> None:
        """On going on with a case: what was said in an earlier sitting, by name. A caution is shown in full again before
        hands go to work."""
        conclusions = self.examined.conclusions
        self._named_cautions = frozenset(conclusions.cautions)
        self._told_holds.update(conclusions.holds)
        self._told_conditions.update(conclusions.conditions)
        self.show(screens.reminder(list(conclusions.cautions), self.width))
        self.show(screens.reminder_of_holds(self.knowledge, conclusions.holds, self.width))

    def ask(self, finding: Finding, rules: Sequence[str] = (), worth: Worth | None = None, decides: bool = False) -> None:
        """Ask one question and keep its answer. `decides`: it was said that much hangs on it, so that what is not known is
        not asked for again."""
        self.warn_once([str(name) for name in finding.cautions])
        number = len(self.state.answered) + 1

        def shown() -> screens.Lines:
            return screens.question(finding, number, self.width)

        self.show(shown())
        self.why = lambda: screens.why(self.examined, finding, rules, worth, self.width)
        in_full = {str(answer.say).lower() for answer in finding.answers.values()}

        def command(line: str) -> tuple[Command, str] | None:
            return None if line.strip().lower() in in_full else command_in(line, self.commands)

        words = [str(answer) for answer in finding.answers]
        given = self.read(lambda line: reply_to(finding, line), words, find=command, shown=shown)
        self.record(finding, given, decides)
        self.so_far()

    def so_far(self) -> None:
        """What is said after an answer was kept."""

    def record(self, finding: Finding, given: Given | None, decides: bool = False) -> None:
        if given is None:
            self._not_known(str(finding.id), decides)
        elif given.reading:
            self.log.append("answer", finding=str(finding.id), answer=given.answer, reading=given.reading)
            keep_the_count(self, str(finding.id), given.reading)
        else:
            self.log.append("answer", finding=str(finding.id), answer=given.answer)

    def _not_known(self, finding: str, decides: bool) -> None:
        self.log.append("unknown", finding=finding, **({"decides": True} if decides else {}))

    def do_check(
        self, check: Check, finds: Sequence[str], rules: Sequence[str], worth: Worth | None, decides: bool = False
    ) -> None:
        self.why = lambda: screens.why(self.examined, self.knowledge.findings[finds[0]], rules, worth, self.width)
        if not self._in_the_middle_of(check) and not self.carry_out(check, finds, decides):
            return
        for name in finds:
            self.tell_news()
            finding = self.knowledge.findings[name]
            if askable(self.knowledge, self.examined.conclusions, self.examined.progress, finding):
                self.ask(finding, rules, worth, decides)

    def carry_out(self, check: Check, finds: Sequence[str], decides: bool = False) -> bool:
        """Lead through a check. False when it cannot be done now, and what it finds is not known."""
        self.show_check(check)
        if self.choose(["done, here is the result", "cannot do it now"], about=f"{check.name}:"):
            for name in finds:
                self._not_known(name, decides)
            return False
        self.log.append("check", check=str(check.id))
        return True

    def _in_the_middle_of(self, check: Check) -> bool:
        """True if the check was done and only a part of its results given: it goes on with what it still has to find.

        Any other is shown from its first step: one of which something is known by other means, and one that was done
        before a repair, since parts are open again.
        """
        done = self.state.checks.get(str(check.id), 0)
        since = [finding for number, finding in self.state.answered if number > done]
        return done > max(self.state.begun.values(), default=0) and any(name in since for name in check.finds)

    def show_check(self, check: Check) -> None:
        self.show(screens.procedure(check, self.width, "Check"))
        self.warn([str(name) for name in check.cautions])
        self.show(screens.steps(self.knowledge, self.examined.conclusions, check.steps, self.width))

    def change_result(self, finding: Finding, check: Check) -> None:
        """The result of a check is given again with the check before the eyes, unless a hold forbids doing it now."""
        held = self.examined.conclusions.held(under_of(self.knowledge, finding))
        for hold in held:
            self.show(screens.hold(self.knowledge, self.examined.conclusions, hold, self.width))
        if held:
            self.say("    Only put right what was answered; the check itself waits.")
        else:
            self.show_check(check)
        self.ask(finding)

    # What can be typed at any prompt.

    def show_why(self) -> None:
        self.show(self.why() if self.why else iter([("    To find what is left to try.", "")]))

    def go_back(self, rest: str) -> bool:
        """Take back the last thing entered, or the last few."""
        count = int(rest) if rest.isdecimal() else 1
        if rest and not rest.isdecimal():
            self.say("    'back' takes a count, such as back 2.")
            return False
        entered = self.entered()
        last = sorted(entered, key=max)[-count:] if count else []
        if not last:
            self.say("    There is nothing to take back.")
            return False
        numbers = [number for several in last for number in several]
        needles = dict.fromkeys(entry.needle for entry in self.state.needles if entry.number in numbers)
        self.log.append("withdraw", numbers=numbers)
        self.say(f"    Taken back: {', '.join(entered[several] for several in last)}.")
        for needle in needles:
            say_what_is_written(self, needle)
        return True

    def entered(self) -> dict[tuple[int, ...], str]:
        """What can be taken back: the events that are taken back together -> what they are."""
        return {
            **{(number,): finding for number, finding in self.state.answered},
            **{(entry.number,): f"{entry.needle} {told(entry)}" for entry in self.state.needles if entry.number},
            **{(number,): f"that {needle} was not counted" for number, needle in self.state.uncounted},
            **{(number,): f"that nobody knows where {needle} belongs" for number, needle in self.state.no_baseline},
        }

    def change(self, rest: str) -> bool:
        carried = self.state.findings if self.state.set_up_in else ()
        given = list(dict.fromkeys([*(finding for _, finding in self.state.answered), *carried]))
        if not given and rest not in self.knowledge.findings:
            self.say("    There is no answer to change yet.")
            return False
        if rest not in given and rest in self.knowledge.findings:
            # A hold may name a question that was not asked yet; one about a part that is not there is answered by that.
            asked = self.knowledge.findings[rest]
            if not self.examined.conclusions.applies(needs_of(self.knowledge, asked)):
                self.say(f"    By what was answered, this machine cannot show that: {asked.ask}")
                return False
            given.append(rest)
        if rest not in given:
            begun = [name for name in given if rest and name.startswith(rest)]
            if len(begun) != 1:
                self.say("    Answers so far; 'change' with one of these names asks it again:")
                for name in given:
                    finding = self.knowledge.findings.get(name)
                    known = self.state.findings.get(name)
                    answer = screens.said(finding, self.state, known.answer) if finding and known else "don't know"
                    self.show(screens.paragraph(f"{name}: {answer}", self.width, "    ", rest="      "))
                return False
            rest = begun[0]
        finding = self.knowledge.findings[rest]
        if finding.check is not None:
            self.change_result(finding, self.knowledge.checks[finding.check])
        else:
            self.ask(finding)
        return True

    def take_note(self, text: str) -> None:
        if not text:
            self.say("    Write the note after the word: note the carburettor came off last month")
            return
        self.log.append("note", text=text)
        self.say("    Noted.")

    def show_cautions(self) -> None:
        conclusions = self.examined.conclusions
        names = dict.fromkeys([*conclusions.cautions, *sorted(self.told_cautions)])
        for name in names:
            self.show(screens.caution(self.knowledge, name, self.width))
        for name in conclusions.holds:
            self.show(screens.hold(self.knowledge, conclusions, name, self.width))
        if not names and not conclusions.holds:
            self.say("    None yet. Blades, petrol, spark and hot metal are always there.")

    def write_report(self) -> bool:
        """Write the report as it stands and say where. False when it cannot be written, which is said: the case goes on."""
        try:
            self.say(self.written_report())
        except CannotWrite as trouble:
            self.say(f"{trouble}.", "warning")
            return False
        return True

    def written_report(self) -> str:
        """Write the report, and return what it is and where. Raises CannotWrite."""
        paths = write_reports(self._reports, self.knowledge, self.state, self.examined)
        return f"Fault report: {' and '.join(str(path) for path in paths)}"

    def leave(self) -> None:
        raise Left

    def show_help(self) -> None:
        self.say()
        self.say("At any prompt:", "head")
        for command in self.commands.values():
            self.show(
                screens.paragraph(
                    f"{command.word} {command.takes}".strip() + f": {command.does}",
                    self.width,
                    "    ",
                    rest="        ",
                )
            )
        self.show(screens.paragraph("Ctrl-C drops the line. Ctrl-D leaves, with everything kept.", self.width, "    "))
