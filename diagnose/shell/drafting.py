"""After a case whose cause was not in the rules: what the person knows of it becomes a cause with its rules in a pack of
their own, with the case as its first test.

Every answer is kept in the log of the case before the next question; whoever stops goes on later where it was left. The
pack is touched only when all of it was proved.
"""

from __future__ import annotations

from pathlib import Path

from ..clubrules.placing import Proved, prove, put_in_place
from ..report.files import CannotWrite
from .console import Left
from .draft_questions import Back, Questions, Said, as_said_today, choice, help_here, unknown_cause
from .sitting import Sitting

WRITTEN = "written"
"""Part of a draft that says into which folder it went."""


def offer(sitting: Sitting, rules: Path, named: bool) -> Path | None:
    """Offer to write down the cause of a case just closed, if the rules did not know it. Return the pack it went into.

    rules: the folder whose packs are read without being named. named: packs are named elsewhere now, so it is not read.
    """
    if not unknown_cause(sitting.knowledge, sitting.state):
        return None
    sitting.say()
    sitting.say("These rules do not know this cause. Write it down as a rule of your own club? A few minutes.", "ask")
    try:
        if choice(sitting, ("yes, now", "not now")):
            raise Left
    except Left:
        _kept(sitting)
        return None
    return draft(sitting, rules, named)


def draft(sitting: Sitting, rules: Path, named: bool) -> Path | None:
    """Ask what is not yet known of the cause, prove the draft and write it. Return the pack, or None when it is stopped.

    Raises CannotWrite.
    """
    try:
        return _Drafting(sitting, rules, named).run()
    except Left:
        _kept(sitting)
        return None
    except CannotWrite:
        _kept(sitting)
        raise


def _kept(sitting: Sitting) -> None:
    sitting.say()
    sitting.say("The rules are as they were. What you said is kept; it goes on with:")
    sitting.say(f"    diagnose rules draft {sitting.state.case}")


class _Drafting:
    """One cause being drafted at one console."""

    def __init__(self, sitting: Sitting, rules: Path, named: bool) -> None:
        self._sitting = sitting
        self._rules, self._named = rules, named
        self._said: dict[str, Said] = as_said_today(sitting.knowledge, sitting.state)
        self._questions = Questions(sitting, self._said)

    def run(self) -> Path | None:
        """Ask, prove, and write what is proved; None when it was written before."""
        if WRITTEN in self._said:
            self._sitting.say(f"This cause is written down already, in {self._said[WRITTEN][0]}.")
            return None
        if "name" in self._said:
            self._sitting.say(f"Going on with: {self._said['name'][0]}", "head")
        help_here(self._sitting, "")
        parts = self._questions.parts
        said_then = self._sitting.state.draft
        anew = {at for at, part in enumerate(parts) if self._said.get(part.key) != said_then.get(part.key)}
        while True:
            self._ask(anew)
            proved = self._prove()
            self._tell(proved)
            wrong = bool(proved.wrong)
            offers = ([] if wrong else ["write it into the rules", "show it first"]) + ["change something", "stop here"]
            chosen = ""
            while chosen not in ("write it into the rules", "change something"):
                chosen = offers[choice(self._sitting, offers)]
                if chosen == "stop here":
                    raise Left
                if chosen == "show it first":
                    self._show(proved)
            if chosen == "write it into the rules":
                return self._write(proved)
            first = 0 if wrong or proved.place == 1 else next(at for at, part in enumerate(parts) if part.key == "signs")
            anew = set(range(first, len(parts)))

    def _ask(self, anew: set[int]) -> None:
        """Ask what is wanted and was not said yet, and the places `anew` once more."""
        parts = self._questions.parts
        place = 0
        while place < len(parts):
            part = parts[place]
            if not part.wanted() or (part.key in self._said and place not in anew):
                place += 1
                continue
            self._sitting.say()
            try:
                said = part.ask()
            except Back:
                place = max((at for at in range(place) if parts[at].wanted()), default=place)
                anew.add(place)
                continue
            anew.discard(place)
            self._said[part.key] = said
            self._sitting.log.append("draft", part=part.key, says=list(said))
            place += 1

    def _prove(self) -> Proved:
        knowledge, case = self._sitting.knowledge, self._sitting.state
        return prove(knowledge, self._questions.draft(), case, self._target(), self._said["pack"][0])

    def _target(self) -> Path:
        """The folder of the pack: one in use, else a folder of that name beside the others."""
        name = self._said["pack"][0]
        used = {str(pack.id): Path(pack.folder) for pack in self._sitting.knowledge.packs[1:]}
        return used.get(name, self._rules / name)

    def _tell(self, proved: Proved) -> None:
        say = self._sitting.say
        say()
        if proved.wrong:
            say("It cannot be put in like this:", "head")
            for problem in proved.wrong:
                say(f"    {problem.says}")
            return
        if proved.place == 1:
            say("Checked with all rules: it reads well, and in its own case it stands first.", "head")
        else:
            say(f"Checked. In its own case it would only stand at place {proved.place}, behind:", "head")
            for name in proved.ahead:
                say(f"    {name}")
            say("    Signs that one sees nearly every time, and seldom with other faults, bring it forward.")
        for problem in proved.advice:
            say(f"    Advice: {problem.says}.")

    def _show(self, proved: Proved) -> None:
        for name, text in proved.drafted.files.items():
            self._sitting.say()
            self._sitting.say(name, "head")
            for line in text.splitlines():
                self._sitting.say(f"  {line}")

    def _write(self, proved: Proved) -> Path | None:
        target = self._target()
        put_in_place(target, self._said["pack"][0], proved.drafted.files, self._sitting.knowledge)
        self._sitting.log.append("draft", part=WRITTEN, says=[str(target)])
        self._sitting.say(f"Written into {target}:")
        for name in proved.drafted.files:
            self._sitting.say(f"    {name}")
        used = any(Path(pack.folder) == target for pack in self._sitting.knowledge.packs)
        if self._named and not used:
            self._sitting.say(f"Packs are named by --rules or DIAGNOSE_RULES now; name this one too: --rules {target}")
        else:
            self._sitting.say("It is read from the next start on. Any text editor changes it.")
        return target
