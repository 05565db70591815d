"""The walk: ask, show, record. What to ask and what to conclude is decided elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TypeVar

from ..case.casefile import MACHINE
from ..case.ledger import NEEDLES, NeedleEntry, NotAMove, check_entry, stands, weakens
from ..case.log import CaseLog
from ..case.readings import NotAReading, parse_turns, percent, turns
from ..case.state import CaseState, Given
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.model import Cause, Check, Finding, Knowledge
from ..planning.examine import Examined, as_known_today, examine
from ..planning.lifting import behind
from ..planning.plan import (
    Ask,
    AskAgain,
    DoCheck,
    Repair,
    Undecided,
    askable,
    one_more,
    safe_looks,
    still_to_prove,
    under_of,
)
from ..planning.worth import Worth
from ..reasoning.doubt import Turn, turns_of_mind
from ..reasoning.reason import reason
from ..report.files import write_reports
from . import screens
from .choices import NotUnderstood, choice_of, several_of
from .commands import COMMANDS, Command, command_among_words, command_in
from .console import Console, Dropped, Left
from .opening import NOTHING_SAID, OWNERS_WORDS
from .phrases import match
from .replies import reply_to

RUN = "run"
"""The hold under which no engine is started, for a retest either."""

NORMAL = "normal"
"""Family of the causes that are no fault: the engine is as it should be."""

SHORTEST_NAME = 3
"""Letters that may stand for a cause; fewer would fit nearly all."""

Taken = TypeVar("Taken")


class _Anew(Exception):
    """The state has changed under the prompt; decide anew what comes next."""


class Walk:
    """One case at one console."""

    def __init__(
        self, knowledge: Knowledge, log: CaseLog, console: Console, reports: Path, typed: str | None = None
    ) -> None:
        """`typed` is a line already typed at the first question, before the rules were ready."""
        self._knowledge = knowledge
        self._log = log
        self._console = console
        self._reports = reports
        self._typed = typed
        self._cached: tuple[CaseState, CaseState, Examined] | None = None
        self._told_cautions: set[str] = set()
        self._told_holds: set[str] = set()
        self._told_conditions: set[str] = set()
        self._why: Callable[[], screens.Lines] | None = None
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
        if self._cached is None or self._cached[0] is not self._log.state:
            known = as_known_today(self._knowledge, self._log.state)
            self._cached = (self._log.state, known, examine(self._knowledge, known))
        return self._cached

    # The loop.

    def run(self) -> bool:
        """Walk until the case is closed or the person leaves. Return True when it was closed."""
        if self._log.repaired:
            self._say(self._log.repaired)
        packs = [f"{pack.id} {pack.version}" for pack in self._knowledge.packs]
        if list(self.state.packs) != packs:
            self._log.append("rules", packs=packs)
        forgotten = {name for _, name in self._log.state.answered} - {name for _, name in self.state.answered}
        if forgotten:
            self._say(f"The rules have changed: kept but no longer used are the answers to {', '.join(sorted(forgotten))}.")
        if self.state.answered:
            self._told_conditions.update(self.examined.conclusions.conditions)
        try:
            while self.state.closing is None:
                try:
                    self._next()
                except _Anew:
                    continue
            self._end()
            return True
        except Left:
            self._say()
            self._say(f"Kept: {len(self.state.answered)} answers in {self._log.path}.")
            self._say("Start 'diagnose' again and it goes on here.")
            return False

    def _tell_news(self) -> None:
        """Cautions and holds that have come up, what has been concluded, and how it stands: in that order."""
        conclusions = self.examined.conclusions
        fresh = [name for name in conclusions.cautions if name not in self._told_cautions]
        self._warn_once(fresh)
        reasons = [self._knowledge.rules[rule].because for name in fresh for rule in conclusions.cautions[name][:1]]
        for because in dict.fromkeys(reasons):
            self._print(screens.paragraph(f"Because: {because}", self._width, "    ", "quiet"))
        for name in conclusions.holds:
            if name not in self._told_holds:
                self._told_holds.add(name)
                self._print(screens.hold(self._knowledge, conclusions, name, self._width))
        for name in sorted(self._told_holds - conclusions.holds.keys()):
            self._told_holds.discard(name)
            self._say(f"  # Lifted: {self._knowledge.holds[name].name}.")
        for name, concluded in conclusions.conditions.items():
            if name not in self._told_conditions:
                self._told_conditions.add(name)
                because = self._knowledge.rules[concluded.rules[0]].because
                said = f"So: {str(self._knowledge.conditions[name].name).lower()}. {because}"
                self._print(screens.paragraph(said, self._width, "    ", "quiet"))

    def _next(self) -> None:
        if not self.state.words:
            self._ask_owner()
            return
        self._tell_news()
        if not self.state.heard and (MACHINE in self.state.findings or MACHINE in self.state.unknown):
            self._confirm("; ".join(words for words in self.state.words if words != NOTHING_SAID) or NOTHING_SAID)
            return
        if self.state.to_retest in self._knowledge.causes:
            fixed = self._knowledge.causes[self.state.to_retest]
            self._say()
            self._say(f"Done and not yet proved: {fixed.name}", "head")
            self._retest(fixed)
            return
        match self.examined.next:
            case Ask(finding, rules, worth):
                self._ask(self._knowledge.findings[finding], rules, worth)
            case DoCheck(check, finds, rules, worth):
                self._check(self._knowledge.checks[check], finds, rules, worth)
            case AskAgain(finding, rules, _):
                self._ask_again(self._knowledge.findings[finding], rules)
            case Repair(cause, _):
                self._repair(self._knowledge.causes[cause])
            case Undecided(held):
                self._undecided(held)

    # Saying and reading.

    @property
    def _width(self) -> int:
        return self._console.width

    def _say(self, text: str = "", tone: str = "") -> None:
        lead = " " * (len(text) - len(text.lstrip()))
        self._print(screens.paragraph(text.strip(), self._width, lead, tone) if text else [("", "")])

    def _print(self, lines: Iterable[tuple[str, str]]) -> None:
        for line, tone in lines:
            self._console.say(line, tone)

    def _read_words(self) -> str:
        """Read free words. What begins like a command may be the owner's story: 'back fires', 'found water in it'."""
        return self._read(lambda line: line, find=command_among_words)

    def _read(
        self,
        understand: Callable[[str], Taken],
        words: Sequence[str] = (),
        prompt: str = "> ",
        find: Callable[[str], tuple[Command, str] | None] = command_in,
    ) -> Taken:
        """Read lines until one is understood. Commands are carried out on the way."""
        while True:
            try:
                line = self._line(prompt, words)
            except Dropped:
                self._say("Line dropped." + (" 'leave' or Ctrl-D leaves, with everything kept." if self._dropped else ""))
                self._dropped = True
                continue
            self._dropped = False
            command = None if line.strip().lower() in words else find(line)
            if command:
                if command[0].run(self, command[1]):
                    raise _Anew
                continue
            try:
                return understand(line)
            except NotUnderstood as error:
                self._say(f"  {error}.")

    def _line(self, prompt: str, words: Sequence[str]) -> str:
        if self._typed is not None:
            line, self._typed = self._typed, None
            return line
        return self._console.read(prompt, [*words, *COMMANDS])

    def _choose(self, says: Sequence[str]) -> int:
        self._print(screens.choices(says, self._width))
        return self._read(lambda line: choice_of(line, says))

    def _warn_once(self, names: Sequence[str]) -> None:
        """Show cautions in full, each the first time only: before a question."""
        for name in names:
            if name not in self._told_cautions:
                self._told_cautions.add(name)
                self._print(screens.caution(self._knowledge, name, self._width))

    def _warn(self, names: Sequence[str]) -> None:
        """Show cautions before hands go to work: in full the first time, by name every time after."""
        known = [name for name in names if name in self._told_cautions]
        self._warn_once(names)
        self._print(screens.reminder(known, self._width))

    # Questions.

    def _ask_owner(self) -> None:
        """The first question takes free words; what they may mean is confirmed once the machine is known."""
        self._why = lambda: screens.paragraph(
            "Your own words are matched to the symptoms the rules know; you confirm what fits.", self._width, "    "
        )
        if self._typed is None:
            self._say()
            self._say(OWNERS_WORDS, "ask")
        text = self._read_words()
        self._log.append("words", text=text or NOTHING_SAID)

    def _confirm(self, text: str) -> None:
        open_now = frozenset(
            str(finding.id)
            for finding in self._knowledge.findings.values()
            if finding.check is None
            and askable(self._knowledge, self.examined.conclusions, self.examined.progress, finding)
        )
        found = () if text == NOTHING_SAID else match(self._knowledge, text, open_now)
        true: list[int] = []
        if found:
            self._say()
            self._say("Which of these are true of it? Type the numbers, or none.", "ask")
            says = []
            for one in found:
                finding = self._knowledge.findings[one.finding]
                says.append(f"{finding.ask} {finding.answers[one.answer].say}")
            self._print(screens.choices(says, self._width))
            self._why = lambda: screens.paragraph(f"Out of the owner's words: {text}", self._width, "    ")
            true = self._read(lambda line: several_of(line, len(says)), ["none"])
        elif text != NOTHING_SAID:
            self._say("    Kept in the report. None of it matches a symptom by itself; the questions will find it.")
        for place in true:
            self._log.append("answer", finding=found[place].finding, answer=found[place].answer)
        self._log.append("heard")
        if true:
            self._print(screens.brief(self.examined, self._width))

    def _ask(self, finding: Finding, rules: Sequence[str] = (), worth: Worth | None = None) -> None:
        self._warn_once([str(name) for name in finding.cautions])
        self._print(screens.question(finding, len(self.state.answered) + 1, self._width))
        self._why = lambda: screens.why(self.examined, finding, rules, worth, self._width)
        given = self._read(lambda line: reply_to(finding, line), [str(answer) for answer in finding.answers])
        self._record(finding, given)
        self._print(screens.brief(self.examined, self._width))

    def _record(self, finding: Finding, given: Given | None) -> None:
        if given is None:
            self._log.append("unknown", finding=str(finding.id))
        elif given.reading:
            self._log.append("answer", finding=str(finding.id), answer=given.answer, reading=given.reading)
        else:
            self._log.append("answer", finding=str(finding.id), answer=given.answer)

    def _ask_again(self, finding: Finding, rules: Sequence[str]) -> None:
        """A contradiction is pointed out and asked again, not averaged away."""
        self._say()
        given = self.state.findings[str(finding.id)]
        answer = screens.said(finding, self.state, given.answer)
        for rule in rules:
            self._say(f"These answers cannot all be true: {self._knowledge.rules[rule].clash}", "head")
        if not rules:
            self._say("One answer decides much here. Please look at it once more before work starts.", "head")
        self._say(f"You answered: {answer}")
        if finding.check is not None:
            self._change_result(finding, self._knowledge.checks[finding.check])
        else:
            self._ask(finding, rules)

    def _check(self, check: Check, finds: Sequence[str], rules: Sequence[str], worth: Worth | None) -> None:
        self._why = lambda: screens.why(self.examined, self._knowledge.findings[finds[0]], rules, worth, self._width)
        # A check left in the middle goes on with what it still has to find; any other is shown from its first step.
        if not any(name in self.state.findings for name in check.finds):
            self._show_check(check)
            if self._choose(["done, here is the result", "cannot do it now"]):
                for name in finds:
                    self._log.append("unknown", finding=name)
                return
            self._log.append("check", check=str(check.id))
        for name in finds:
            self._tell_news()
            finding = self._knowledge.findings[name]
            if askable(self._knowledge, self.examined.conclusions, self.examined.progress, finding):
                self._ask(finding, rules, worth)

    def _show_check(self, check: Check) -> None:
        self._print(screens.procedure(check, self._width, "Check"))
        self._warn([str(name) for name in check.cautions])
        self._print(screens.steps(self._knowledge, self.examined.conclusions, check.steps, self._width))

    # Repairs and their proof.

    def _repair(self, cause: Cause) -> None:
        ranked = self.examined.standing.of(str(cause.id))
        normal = cause.family == NORMAL
        self._say()
        share = percent(ranked.probability) if ranked else ""
        lead = "Perhaps nothing is wrong" if normal else "Worth putting right now"
        self._print(screens.paragraph(f"{lead}: {cause.name} ({share}) [{cause.id}]", self._width, "", "ask", "    "))
        self._print(screens.paragraph(str(cause.explains), self._width, "    "))
        if ranked:
            for weight in [w for w in self.examined.standing.trail(ranked.cause) if w.decibels > 1][:4]:
                because = screens.told(self.examined, self.state, weight, cause)
                self._print(screens.paragraph(because, self._width, "    + "))
        if not normal:
            self._print(screens.paragraph(f"If it is left: {cause.harm}", self._width, "    "))
        self._why = lambda: screens.how(self.examined, self.state, ranked, (), self._width) if ranked else iter(())
        first = "agreed, this is it" if normal else f"put it right and retest (about {screens.minutes(cause.fix.minutes)})"
        chosen = self._choose([first, "ask me more first", "not this one now", "stop here, undecided"])
        if chosen == 0:
            self._put_right(cause)
        elif chosen == 1:
            self._one_more()
        elif chosen == 2:
            self._log.append("repair", cause=str(cause.id), result="not-done")
        else:
            self._close("undecided", ())

    def _one_more(self) -> None:
        seen = self.examined
        match one_more(self._knowledge, seen.conclusions, seen.standing, seen.progress):
            case Ask(finding, rules, worth):
                self._ask(self._knowledge.findings[finding], rules, worth)
            case DoCheck(check, finds, rules, worth):
                self._check(self._knowledge.checks[check], finds, rules, worth)
            case _:
                self._say("    There is no open question left that would tell anything.")

    def _put_right(self, cause: Cause) -> None:
        fix = cause.fix
        self._warn([str(name) for name in fix.cautions])
        if fix.tools:
            self._say(f"    You need {', '.join(fix.tools)}.")
        self._print(screens.steps(self._knowledge, self.examined.conclusions, fix.steps, self._width))
        if cause.family == NORMAL:
            if self._choose(["heard and understood: leave it as it is", "no, something is wrong"]) == 0:
                self._log.append("repair", cause=str(cause.id), result="gone", proof=str(cause.proof))
                self._close(NORMAL, (str(cause.id),))
            else:
                self._log.append("repair", cause=str(cause.id), result="same")
            return
        if self._choose(["done", "could not do it"]):
            self._log.append("repair", cause=str(cause.id), result="not-done")
            return
        # What was done is kept before anything else is asked: a fix without its verdict is still to be retested.
        self._log.append("fixed", cause=str(cause.id))
        if fix.needle:
            self._ask_needle(str(fix.needle))
        self._retest(cause)

    def _ask_needle(self, needle: str) -> None:
        """A fix that moves a needle leaves a line in the ledger."""
        self._say()
        self._say(f"Where does the {needle} needle stand now? Turns out from lightly seated (such as 1 1/4), a move", "ask")
        self._say("(such as +1/8), or ? if it was not counted.")

        def understand(line: str) -> None:
            if line.strip() not in ("", "?"):
                trouble = self._enter_needle(needle, line)
                if trouble:
                    raise NotUnderstood(trouble)

        self._read(understand)

    def _retest(self, cause: Cause) -> None:
        """The same symptom, restrained first, then low and short; the next one only when the last was good."""
        if not self._fit_to_retest(cause):
            return
        self._print(screens.paragraph(f"It is cured when: {cause.proof}", self._width, "    "))
        results = ["gone", "better, but not gone", "still there", "cannot retest now"]
        verdict = 0 if self.state.passed else 3
        # The machine alone decides which retests there are: what the fault took away, the fix may have given back.
        machine = {name: answer for name, answer in self.state.answers.items() if name == MACHINE}
        able = reason(self._knowledge, machine)
        for retest in self._knowledge.retests.values():
            if not able.applies(retest.needs) or retest.id in self.state.passed:
                continue
            self._print(screens.procedure(retest, self._width, "Retest"))
            self._warn([str(name) for name in retest.cautions])
            self._print(screens.steps(self._knowledge, self.examined.conclusions, retest.steps, self._width))
            self._say("    The same symptom as before is:")
            verdict = self._choose(results)
            if verdict != 0:
                break
            self._log.append("passed", retest=str(retest.id))
        if verdict == 3:
            self._say("    Kept open. Retest before any normal flight; the case goes on when you come back.")
            raise Left
        if verdict != 0:
            self._log.append("repair", cause=str(cause.id), result=("better", "same")[verdict - 1])
            if verdict == 1:
                self._what_is_left(cause)
            return
        self._say("How was it proved? (Enter: as above)", "ask")
        proof = self._read_words() or str(cause.proof)
        self._log.append("repair", cause=str(cause.id), result="gone", proof=proof)
        helped = [done.cause for done in self.state.repairs if done.result == "better"]
        self._close("found", (*helped, str(cause.id)))

    def _what_is_left(self, cause: Cause) -> None:
        """Part of the fault is gone, so what was answered before may be true no longer."""
        answers = self.examined.conclusions.answers
        settled = [name for name in self._knowledge.checks[cause.settled_by].finds if name in answers]
        told = [
            self._knowledge.findings[name]
            for name, answer in answers.items()
            if name not in settled and self._knowledge.findings[name].complaint(answer)
        ]
        left: list[int] = []
        if told:
            self._why = lambda: screens.paragraph("To look on with what is true now.", self._width, "    ")
            self._say("Which of these are still so, after the repair? Type the numbers, or none.", "ask")
            says = [f"{finding.ask} {screens.said(finding, self.state, answers[str(finding.id)])}" for finding in told]
            self._print(screens.choices(says, self._width))
            left = self._read(lambda line: several_of(line, len(says)), ["none"])
        gone = {str(finding.id) for place, finding in enumerate(told) if place not in left} | set(map(str, settled))
        numbers = [number for number, finding in self.state.answered if finding in gone]
        if numbers:
            self._log.append("withdraw", numbers=numbers)
            self._say("    What is no longer so is forgotten, and is asked again where it matters.")

    def _fit_to_retest(self, cause: Cause) -> bool:
        """Nothing is run while running is on hold: what holds it is answered again, and only then comes the retest."""
        if RUN not in self.examined.conclusions.holds:
            return True
        self._print(screens.hold(self._knowledge, self.examined.conclusions, RUN, self._width))
        self._say("Before the retest, answer again what holds it, as it is now:", "head")
        for name in behind(self._knowledge, self.examined.conclusions, RUN):
            self._ask(self._knowledge.findings[name])
        for name in still_to_prove(self._knowledge, self.examined.conclusions, self.examined.progress, RUN):
            self._ask(self._knowledge.findings[name])
        self._tell_news()
        if RUN not in self.examined.conclusions.holds:
            return True
        self._say("Running is still on hold, so the retest waits.", "head")
        if self._choose(["keep it open and leave", "go on looking without a retest"]) == 0:
            raise Left
        self._log.append("repair", cause=str(cause.id), result="not-done")
        return False

    def _undecided(self, held: Sequence[str]) -> None:
        self._say()
        waits = "The likeliest cause waits for what is on hold."
        stands = waits if held else "No cause stands out enough to put it right."
        self._say(f"Undecided for now. {stands}", "head")
        self.show_standing()
        for cause in held[:1]:
            self._say(f"    The likeliest, {self._knowledge.causes[cause].name}, waits for what is on hold:")
            fix = self._knowledge.causes[cause].fix
            under = (*fix.under, *(hold for step in fix.steps for hold in step.under))
            for hold in dict.fromkeys(self.examined.conclusions.held(under)):
                self._print(screens.hold(self._knowledge, self.examined.conclusions, hold, self._width))
        self._why = None
        seen = self.examined
        looks = safe_looks(self._knowledge, seen.conclusions, seen.standing, seen.progress)
        if looks:
            self._say("    Quick looks that are still open, engine stopped:")
            for look in looks:
                check = self._knowledge.checks[look.check]
                self._say(f"      {check.name} ({screens.minutes(check.minutes)})")
        offers: dict[str, Callable[[], object]] = {}
        if looks:
            first = looks[0]
            offers["do the first of these looks now"] = lambda: self._check(
                self._knowledge.checks[first.check], first.finds, (), first.worth
            )
        if held:
            offers["put that cause aside and go on"] = lambda: self._log.append("repair", cause=held[0], result="not-done")
        offers["end here, undecided, with a report"] = lambda: self._close("undecided", ())
        offers["I know what it was"] = lambda: self.found("")
        if self.state.unknown or self.state.put_aside:
            offers["look again at what was not known or put aside"] = self._look_again
        list(offers.values())[self._choose(list(offers))]()

    def _look_again(self) -> None:
        numbers = [number for number, finding in self.state.answered if finding in self.state.unknown]
        numbers += [e.number for e in self._log.events if e.what == "repair" and e.data["result"] == "not-done"]
        self._log.append("withdraw", numbers=numbers)

    def _close(self, how: str, causes: Sequence[str]) -> None:
        self._log.append("closed", how=how, causes=list(causes))

    def _end(self) -> None:
        closing = self.state.closing
        assert closing is not None
        names = " and also: ".join(
            str(self._knowledge.causes[cause].name) if cause in self._knowledge.causes else cause
            for cause in closing.causes
        )
        self._say()
        endings = {"found": f"Closed: {names}.", NORMAL: f"Closed: nothing is wrong. {names}."}
        self._say(endings.get(closing.how, "Closed undecided. Do not fly it until the cause is known."), "head")
        self.write_report()

    # What can be typed at any prompt.

    def show_why(self) -> None:
        self._print(self._why() if self._why else iter([("    To find what is left to try.", "")]))

    def show_standing(self) -> None:
        self._print(screens.standing(self.examined, self._width))

    def show_how(self, named: str) -> None:
        ranked = self.examined.standing.causes
        if not ranked:
            self._say("    No cause applies to this machine.")
            return
        wanted = self._cause_named(named) if named else ranked[0].cause
        entry = self.examined.standing.of(wanted) if wanted else None
        if entry is None:
            self._say(f"    No cause stands under '{named}'; 'standing' lists them.")
            return
        turning: tuple[Turn, ...] = ()
        if entry is ranked[0]:
            turning = turns_of_mind(self._knowledge, self.examined.conclusions.answers, self.examined.progress.repairs)
        self._print(screens.how(self.examined, self.state, entry, turning, self._width))

    def _cause_named(self, named: str) -> str | None:
        """A cause by its place in the standing, its id, the beginning of its id, or words of its name."""
        ranked = self.examined.standing.causes
        typed = named.lower().strip()
        if typed.isdecimal():
            return ranked[int(typed) - 1].cause if 1 <= int(typed) <= len(ranked) else None
        if typed in self._knowledge.causes:
            return typed
        for entry in ranked:
            name = str(self._knowledge.causes[entry.cause].name).lower()
            if len(typed) >= SHORTEST_NAME and (entry.cause.startswith(typed) or typed in name):
                return entry.cause
        return None

    def go_back(self, rest: str) -> bool:
        count = int(rest) if rest.isdecimal() else 1
        if rest and not rest.isdecimal():
            self._say("    'back' takes a count, such as back 2.")
            return False
        numbers = [number for number, _ in self.state.answered][-count:] if count else []
        if not numbers:
            self._say("    There is no answer to take back.")
            return False
        names = [finding for number, finding in self.state.answered if number in numbers]
        self._log.append("withdraw", numbers=numbers)
        self._say(f"    Taken back: {', '.join(names)}.")
        return True

    def also(self, words: str) -> bool:
        """More of what it does, told without being asked, at any time."""
        if not words:
            self._say("    Type what else it does after it, such as: also it bangs in the exhaust.")
            return False
        self._log.append("words", text=words)
        if self.state.heard:
            self._confirm(words)
        return True

    def change(self, rest: str) -> bool:
        given = list(dict.fromkeys(finding for _, finding in self.state.answered))
        if not given:
            self._say("    There is no answer to change yet.")
            return False
        if rest not in given:
            begun = [name for name in given if rest and name.startswith(rest)]
            if len(begun) != 1:
                self._say("    Answers so far; 'change' with one of these names asks it again:")
                for name in given:
                    finding = self._knowledge.findings.get(name)
                    known = self.state.findings.get(name)
                    answer = screens.said(finding, self.state, known.answer) if finding and known else "don't know"
                    self._print(screens.paragraph(f"{name}: {answer}", self._width, "    ", rest="      "))
                return False
            rest = begun[0]
        finding = self._knowledge.findings[rest]
        if finding.check is not None:
            self._change_result(finding, self._knowledge.checks[finding.check])
        else:
            self._ask(finding)
        return True

    def _change_result(self, finding: Finding, check: Check) -> None:
        """The result of a check is given again with the check before the eyes, unless a hold forbids doing it now."""
        held = self.examined.conclusions.held(under_of(self._knowledge, finding))
        for hold in held:
            self._print(screens.hold(self._knowledge, self.examined.conclusions, hold, self._width))
        if held:
            self._say("    Only put right what was answered; the check itself waits.")
        else:
            self._show_check(check)
        self._ask(finding)

    def take_note(self, text: str) -> None:
        if not text:
            self._say("    Write the note after the word: note the carburettor came off last month")
            return
        self._log.append("note", text=text)
        self._say("    Noted.")

    def needle(self, rest: str) -> bool:
        may_close = not self.examined.conclusions.held(NEEDLE_HOLDS)
        needle, _, entry = rest.partition(" ")
        if not rest:
            self._print(screens.ledger(self.state.needles, may_close, self._width))
            return False
        if needle.upper() not in NEEDLES or not entry:
            self._say("    Write for instance: needle H 1 1/4 (a count), or needle H +1/8 (a move, plus is out).")
            return False
        trouble = self._enter_needle(needle.upper(), entry)
        if trouble:
            self._say(f"    {trouble}.")
        return False

    def _enter_needle(self, needle: str, text: str) -> str:
        """Record a count or move; return what forbids it, or '' when it is recorded."""
        try:
            sixteenths, moved = parse_turns(text)
            entry = NeedleEntry(needle, sixteenths, moved)
            check_entry(self.state.needles, entry)
        except (NotAReading, NotAMove) as error:
            return str(error)
        closing = weakens(self.state.needles, entry)
        held = self.examined.conclusions.held(NEEDLE_HOLDS)
        if closing and moved and held:
            for hold in held:
                self._print(screens.hold(self._knowledge, self.examined.conclusions, hold, self._width))
            return "refused: that move would weaken the mixture while the hold stands"
        self._log.append("needle", needle=needle, sixteenths=sixteenths, moved=moved)
        place = stands(self.state.needles, needle)
        assert place is not None
        self._say(f"    {needle} stands at {turns(place.now)}.")
        if closing and not moved and held:
            self._say(
                "    That is further in than it stood, and a weaker mixture is on hold: open it again before it runs."
            )
        if moved and abs(sixteenths) > 2:
            self._say("    Come closer in small moves: an eighth, then a sixteenth for the last.")
        if moved:
            other = NEEDLES[1 - NEEDLES.index(needle)]
            self._say(f"    Now check {other} too: on many carburettors the two move each other a little.")
        return ""

    def show_cautions(self) -> None:
        conclusions = self.examined.conclusions
        names = dict.fromkeys([*conclusions.cautions, *sorted(self._told_cautions)])
        for name in names:
            self._print(screens.caution(self._knowledge, name, self._width))
        for name in conclusions.holds:
            self._print(screens.hold(self._knowledge, conclusions, name, self._width))
        if not names and not conclusions.holds:
            self._say("    None yet. Blades, petrol, spark and hot metal are always there.")

    def found(self, rest: str) -> bool:
        if not rest:
            self._say("What was it? A cause from 'standing', or your own words.", "ask")
            rest = self._read_words()
        if not rest:
            return False
        cause = self._cause_named(rest)
        meant = [cause, rest] if cause else [rest]
        self._say("Close the case with this?", "ask")
        says = [str(self._knowledge.causes[cause].name)] if cause else []
        chosen = self._choose([*says, f"{rest} (not in these rules)", "no, go on"])
        if chosen < len(meant):
            self._close("found", (meant[chosen],))
        return True

    def write_report(self) -> None:
        paths = write_reports(self._reports, self._knowledge, self.state, self.examined)
        self._say(f"Fault report: {' and '.join(str(path) for path in paths)}")

    def leave(self) -> None:
        raise Left

    def show_help(self) -> None:
        self._say()
        self._say("At any prompt:", "head")
        for command in COMMANDS.values():
            self._print(
                screens.paragraph(
                    f"{command.word} {command.takes}".strip() + f": {command.does}",
                    self._width,
                    "    ",
                    rest="        ",
                )
            )
        self._print(screens.paragraph("Ctrl-C drops the line. Ctrl-D leaves, with everything kept.", self._width, "    "))
