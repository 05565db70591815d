"""The walk: ask, show, record. What to ask and what to conclude is decided elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from ..case.casefile import MACHINE
from ..case.state import SOUND
from ..knowledge.model import NORMAL, Cause, Finding
from ..planning.plan import one_more
from ..planning.steps import Ask, AskAgain, DoCheck, Repair, Undecided, open_questions, under_of
from ..reasoning.doubt import Turn, turns_of_mind
from ..report.fault_report import NOT_PROVED, not_found_yet, proved
from . import screens
from .choices import several_of
from .console import Left
from .needles_asked import see_to_what_was_moved, show_what_stands_off
from .opening import NOTHING_SAID, OWNERS_WORDS
from .phrases import match, stems
from .repair import ask_before_proof, not_cured, offer, retest
from .sitting import Anew, Sitting
from .undecided import undecided, would_lift

SHORTEST_NAME = 3
"""Letters that may stand for a cause; fewer would fit nearly all."""

SEVERAL_WORDS = 2
"""Telling words of a cause's name that must be said, where it is called otherwise; one is met in many names."""


WORKED = {
    "fixed": "that this was done: {}",
    "passed": "the good retest: {}",
    "gone": "gone after: {}",
    "better": "better after: {}",
    "same": "still there after: {}",
    SOUND: "found sound: {}",
    "not-done": "put aside: {}",
    "not-proved": "going on without a retest of: {}",
    "no-longer": "what is still so after: {}",
}
"""What is entered of a repair -> how it is called when it is taken back, with the cause or the retest."""


class Walk(Sitting):
    """The walk of one fault, from the owner's words to the proof."""

    _waits = ""
    """The cause on hold that the last question was asked for."""

    def run(self) -> bool:
        """Walk until the case is closed or the person leaves. Return True when it was closed."""
        self.take_up()
        forgotten = {name for _, name in self.log.state.answered} - {name for _, name in self.state.answered}
        if forgotten:
            self.say(f"The rules have changed: kept but no longer used are the answers to {', '.join(sorted(forgotten))}.")
        if self.state.answered:
            self.name_what_stands()
        try:
            self.go_through(self._next)
            self._end()
            return True
        except Left:
            self.say()
            self.say(f"Kept: {len(self.state.answered)} answers in {self.log.path}.")
            self.say("Start 'diagnose' again and it goes on here.")
            return False

    def so_far(self) -> None:
        if self.state.to_retest:
            return  # what was put right is put to the proof now, whatever else may be likely
        self.show(screens.brief(self.examined, self.width))

    def _next(self) -> None:
        if not self.state.words:
            self._ask_owner()
            return
        self._hear_the_machine()
        self.tell_news()
        if self.state.unheard and (MACHINE in self.state.findings or MACHINE in self.state.unknown):
            self._confirm("; ".join(words for words in self.state.unheard if words != NOTHING_SAID) or NOTHING_SAID)
            return
        if self.state.to_retest in self.knowledge.causes:
            fixed = self.knowledge.causes[self.state.to_retest]
            self.say()
            self.say(f"Done and not yet proved: {fixed.name}", "head")
            retest(self, fixed)
            return
        if self.state.half_mended in self.knowledge.causes:
            helped = self.knowledge.causes[self.state.half_mended]
            self.say()
            self.say(f"Better, but not gone, after: {helped.name}", "head")
            not_cured(self, helped)
            return
        match self.examined.next:
            case Ask(finding, rules, worth, waits):
                self._say_what_waits(waits)
                self.ask(self.knowledge.findings[finding], rules, worth, bool(waits))
            case DoCheck(check, finds, rules, worth, waits):
                self._say_what_waits(waits)
                self.do_check(self.knowledge.checks[check], finds, rules, worth, bool(waits))
            case AskAgain(finding, rules, _, waits) if waits:
                self._ask_for(self.knowledge.causes[waits], self.knowledge.findings[finding], rules)
            case AskAgain(finding, rules):
                self._ask_again(self.knowledge.findings[finding], rules)
            case Repair(cause, _, rules, waits):
                offer(self, self.knowledge.causes[cause], rules, waits)
            case Undecided(held, even_so):
                undecided(self, held, even_so)

    def _ask_owner(self) -> None:
        """The first question takes free words; what they may mean is confirmed once the machine is known."""
        self.why = lambda: screens.paragraph(
            "Your own words are matched to the symptoms the rules know; you confirm what fits.", self.width, "    "
        )
        if self._typed is None:
            self.say()
            self.say(OWNERS_WORDS, "ask")
        text = self.read_words()
        self.log.append("words", text=text or NOTHING_SAID)

    def _hear_the_machine(self) -> None:
        """Whoever says helicopter is not asked what the engine is in, unless that was taken back."""
        if not self.state.unheard or any(told.finding == MACHINE for told in self.state.told):
            return
        said = match(self.knowledge, "; ".join(self.state.unheard), frozenset({MACHINE}))
        if len(said) == 1:
            self.log.append("answer", finding=MACHINE, answer=said[0].answer)
            kind = self.knowledge.findings[MACHINE].answers[said[0].answer].say
            self.say(f"    In {kind}, by these words ('change machine' if it is not).")

    def _confirm(self, text: str) -> None:
        if text == NOTHING_SAID:
            self.log.append("heard")
            return
        seen = self.examined
        open_now = frozenset(str(f.id) for f in open_questions(self.knowledge, seen.conclusions, seen.progress))
        found = match(self.knowledge, text, open_now)
        if not found and self._says_what_is_known(text):
            self.say("    That is in the case already.")
            self.log.append("heard", known=True)
            return
        if not found:
            self.say("    Kept in the report. None of it matches a symptom by itself; the questions will find it.")
            self.log.append("heard")
            return
        self.say()
        self.say("Which of these are true of it? Type the numbers, or none.", "ask")
        says = []
        for one in found:
            finding = self.knowledge.findings[one.finding]
            says.append(f"{finding.ask} {finding.answers[one.answer].say}")
        self.show(screens.choices(says, self.width))
        self.why = lambda: screens.paragraph(f"Out of the owner's words: {text}", self.width, "    ")
        true = [found[place] for place in self.read(lambda line: several_of(line, len(says)), ["none"])]
        told = [self.log.append("answer", finding=one.finding, answer=one.answer) for one in true]
        self.log.append("heard", numbers=[event.number for event in told])
        if true:
            self.show(screens.brief(self.examined, self.width))

    def _says_what_is_known(self, text: str) -> bool:
        """True if words mean nothing but answers that were given already."""
        meant = match(self.knowledge, text, frozenset(map(str, self.knowledge.findings)))
        answers = self.examined.conclusions.answers
        return bool(meant) and all(answers.get(one.finding) == one.answer for one in meant)

    def entered(self) -> dict[tuple[int, ...], str]:
        """A list of what the owner's words may mean is taken back as one, with all that was picked from it; of a repair
        that it was done, each good retest, and its verdict with what that made the walk forget."""
        picked = {number for numbers in self.state.lists for number in numbers}
        single = {numbers: name for numbers, name in super().entered().items() if not picked.issuperset(numbers)}
        worked: dict[tuple[int, ...], str] = {
            (one.number,): WORKED[one.what].format(self._name_of(one.of)) for one in self.state.worked
        }
        return {**single, **worked, **dict.fromkeys(self.state.lists, "what the owner's words may mean")}

    def _name_of(self, worked_on: str) -> str:
        """A cause or a retest, by its name where today's rules have it."""
        known = self.knowledge.causes.get(worked_on) or self.knowledge.retests.get(worked_on)
        return str(known.name) if known else worked_on

    def _ask_again(self, finding: Finding, rules: Sequence[str]) -> None:
        """A contradiction is pointed out and asked again, not averaged away."""
        self.say()
        given = self.state.findings[str(finding.id)]
        answer = screens.said(finding, self.state, given.answer)
        for rule in rules:
            self.say(f"These answers cannot all be true: {self.knowledge.rules[rule].clash}", "head")
        if not rules:
            self.say("One answer decides much here. Please look at it once more before anything else.", "head")
            self.say("    If something was tightened or cleaned since, answer as it was found.")
        self.say(f"You answered: {answer}")
        self.give_anew(finding, rules)

    def _say_what_waits(self, cause: str) -> None:
        if cause and cause != self._waits:
            self.say()
            self.say(f"Likely, and on hold: {self.knowledge.causes[cause].name}.", "head")
            self.say("What is asked now decides whether it may be put right. Go and look, if you can.")
            names = would_lift(self, cause, self.examined.progress)
            if len(names) > 1:
                self.say(f"Still to be seen for it: {', '.join(name.replace('-', ' ') for name in names)}.")
        self._waits = cause

    def _ask_for(self, cause: Cause, finding: Finding, rules: Sequence[str]) -> None:
        """What keeps a likely repair on hold is asked again: it may be known now, put right, or have been a mistake."""
        self.say()
        self.say(f"Likely{', and on hold' if rules else ''}: {cause.name}.", "head")
        given = self.state.findings.get(str(finding.id))
        if not rules:
            self.say("The look that settles it was not taken. Can it be taken now?")
        elif given is None:
            self.say("What was not known before decides here. Can it be seen now?")
        else:
            self.say(f"An answer stands in its way. You answered: {screens.said(finding, self.state, given.answer)}")
            self.say("Look once more. If it is so, answer the same: then the hold is right to stay, until it is put right.")
        self.give_anew(finding, rules)

    def give_anew(self, finding: Finding, rules: Sequence[str]) -> None:
        """Ask for an answer once more. A look that was not taken may not be possible now either, and is asked for last."""
        if finding.check is None:
            self.ask(finding, rules)
            return
        check = self.knowledge.checks[finding.check]
        held = self.examined.conclusions.held(under_of(self.knowledge, finding))
        if held or finding.id in self.state.findings:
            self.change_result(finding, check)
        elif self.carry_out(check, [str(finding.id)], decides=True):
            self.ask(finding, rules, decides=True)

    def one_more(self) -> None:
        """Ask one question more. A command on the way leads to that question again, not back to the repair that waits."""
        while self.state.closing is None:
            with suppress(Anew):
                self._one_more()
                return

    def _one_more(self) -> None:
        seen = self.examined
        match one_more(self.knowledge, seen.conclusions, seen.standing, seen.progress):
            case Ask(finding, rules, worth):
                self.ask(self.knowledge.findings[finding], rules, worth)
            case DoCheck(check, finds, rules, worth):
                self.do_check(self.knowledge.checks[check], finds, rules, worth)
            case _:
                self.say("    There is no open question left that would tell anything.")

    def close(self, how: str, causes: Sequence[str]) -> None:
        self.log.append("closed", how=how, causes=list(causes))

    def _end(self) -> None:
        closing = self.state.closing
        assert closing is not None
        names = " and also: ".join(
            str(self.knowledge.causes[cause].name) if cause in self.knowledge.causes else cause for cause in closing.causes
        )
        self.say()
        endings = {"found": f"Closed: {names}.", NORMAL: f"Closed: nothing is wrong. {names}."}
        self.say(endings.get(closing.how, "Closed undecided. Do not fly it until the cause is known."), "head")
        if closing.how == "found" and not proved(self.state):
            self.say(NOT_PROVED, "warning")
            holds = "; ".join(str(self.knowledge.holds[name].name) for name in self.examined.conclusions.holds)
            if holds:
                self.say(f"    Still on hold: {holds}. The report says until when.")
        for says in not_found_yet(self.knowledge, self.state):
            self.show(screens.paragraph(says, self.width, "    "))
        self.write_report()

    def show_standing(self) -> None:
        self.show(screens.standing(self.examined, self.width))

    def show_how(self, named: str) -> None:
        ranked = self.examined.standing.causes
        if not ranked:
            self.say("    No cause applies to this machine.")
            return
        wanted = self._cause_named(named) if named else ranked[0].cause
        entry = self.examined.standing.of(wanted) if wanted else None
        if entry is None:
            self.say(f"    No cause stands under '{named}'; 'standing' lists them.")
            return
        turning: tuple[Turn, ...] = ()
        if entry is ranked[0]:
            turning = turns_of_mind(
                self.knowledge, self.examined.conclusions.answers, self.examined.progress.repairs, self.examined.learned
            )
        self.show(screens.how(self.examined, self.state, entry, turning, self.width))

    def _cause_named(self, named: str) -> str | None:
        """A cause by its place in the standing, its id, the beginning of its id, or words of its name."""
        ranked = self.examined.standing.causes
        typed = named.lower().strip()
        if typed.isdecimal():
            return ranked[int(typed) - 1].cause if 1 <= int(typed) <= len(ranked) else None
        if typed in self.knowledge.causes:
            return typed
        for entry in ranked:
            name = str(self.knowledge.causes[entry.cause].name).lower()
            if len(typed) >= SHORTEST_NAME and (entry.cause.startswith(typed) or typed in name):
                return entry.cause
        return self._cause_in_other_words(typed)

    def _cause_in_other_words(self, typed: str) -> str | None:
        """The likeliest of the causes whose names share most telling words with what was typed, if that is several and most
        of them."""
        words = set(stems(typed))
        if any(word.startswith("not ") for word in words):
            return None
        shared = {
            entry.cause: len(words & set(stems(str(self.knowledge.causes[entry.cause].name))))
            for entry in self.examined.standing.causes
        }
        best = max(shared, key=lambda cause: shared[cause], default=None)
        known = best is not None and shared[best] >= SEVERAL_WORDS and 2 * shared[best] > len(words)
        return best if known else None

    def also(self, words: str) -> bool:
        """More of what it does, told without being asked, at any time."""
        if not words:
            self.say("    Type what else it does after it, such as: also it bangs in the exhaust.")
            return False
        self.log.append("words", text=words)
        return True

    def found(self, rest: str) -> bool:
        if not rest:
            self.say("What was it? A cause from 'standing', or your own words.", "ask")
            rest = self.read_words()
        if not rest:
            return False
        cause = self._cause_named(rest)
        meant = [cause, rest] if cause else [rest]
        if self.state.to_retest in self.knowledge.causes:
            fixed = self.knowledge.causes[self.state.to_retest].name
            self.say(f"Done and not yet proved: {fixed}. Without its retests it stands so in the report.", "head")
        says = [str(self.knowledge.causes[cause].name)] if cause else []
        chosen = self.choose([*says, f"{rest} (not in these rules)", "no, go on"], "Close the case with this?")
        if chosen < len(meant):
            ask_before_proof(self)
            see_to_what_was_moved(self)
            show_what_stands_off(self)
            known = self.knowledge.causes.get(meant[chosen])
            self.close(NORMAL if known is not None and known.family == NORMAL else "found", (meant[chosen],))
        return True
