"""What is asked of a cause that the rules do not know: each part of it in plain words, with what is usual in [ ]."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, MutableMapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import NoReturn, TypeVar

from ..case.state import CaseState
from ..clubrules.drafting import Draft, Look
from ..clubrules.start import CannotStart, fitting
from ..knowledge.checker import weakens
from ..knowledge.hands import NEEDLE, touched
from ..knowledge.model import ENGINE_STATES, NORMAL, Answered, Finding, Knowledge, Lacks, Warns, leaves
from ..knowledge.reader import FAMILIES
from ..knowledge.setup_model import NEEDLES
from ..report.wording import ENGINE
from . import screens
from .choices import NotUnderstood, choice_of, several_of
from .commands import Command
from .console import Left
from .sitting import Sitting

OUR_CLUB = "our-club"
OWN_LOOK = "own look"
SO_FAR = ", so far"
"""Ending of a part of which some lines were typed when it was left."""

HOW_COMMON = {
    "rarely": "rarely: seen once or twice",
    "sometimes": "sometimes: a few times a season",
    "often": "often: everybody here knows it",
}

MOST_CAUTIONS = 6

LOOK_MINUTES = 2.0
FIX_MINUTES = 10.0

Taken = TypeVar("Taken")
Said = tuple[str, ...]


class Back(Exception):
    """The question before is wanted again."""


def unknown_cause(knowledge: Knowledge, state: CaseState) -> str:
    """Return the words a case was closed with when no rule knows that cause; '' for any other case."""
    closing = state.closing
    if closing is None or closing.how != "found":
        return ""
    return next((cause for cause in closing.causes if cause not in knowledge.causes), "")


# Reading. A closed case takes no more answers, so of the usual commands only leaving is left.


def _leave(sitting: Sitting, rest: str) -> NoReturn:
    raise Left


def _back(sitting: Sitting, rest: str) -> NoReturn:
    raise Back


def help_here(sitting: Sitting, rest: str) -> bool:
    sitting.say("    Enter takes what stands in [ ]. 'back' goes one question back. 'leave' stops, and all is kept.")
    return False


_HERE = {
    "leave": Command("leave", "", "", _leave),
    "back": Command("back", "", "", _back),
    "help": Command("help", "", "", help_here),
}


def _read(sitting: Sitting, understand: Callable[[str], Taken]) -> Taken:
    def find(line: str) -> tuple[Command, str] | None:
        command = _HERE.get(line.strip().lower())
        return (command, "") if command else None

    return sitting.read(understand, find=find)


def choice(sitting: Sitting, says: Sequence[str], usual: int | None = None) -> int:
    sitting.show(screens.choices(says, sitting.width))
    return _read(sitting, lambda line: usual if usual is not None and not line.strip() else choice_of(line, says))


def _several(sitting: Sitting, says: Sequence[str], usual: Sequence[int] = ()) -> list[int]:
    sitting.show(screens.choices(says, sitting.width))
    return _read(sitting, lambda line: several_of(line, len(says)) if line.strip() else list(usual))


def _text(sitting: Sitting, usual: str) -> str:
    """A text that tells nobody to weaken a mixture: only a step may, and it waits for its hold."""

    def understand(line: str) -> str:
        text = line.strip() or usual
        if not text:
            raise NotUnderstood("a few words, please; 'leave' stops, and all is kept")
        if weakens(text):
            raise NotUnderstood("that tells somebody to close a needle; only a step of a fix may. Say it otherwise")
        return text

    return _read(sitting, understand)


def _steps(sitting: Sitting, usual: Said, steps: list[str]) -> Said:
    """Steps, one a line, until an empty line; those typed so far are in `steps`."""
    while True:

        def understand(line: str) -> str:
            if not (line.strip() or steps or usual):
                raise NotUnderstood("one step at least, such as: Let it cool and tighten both bolts")
            return line.strip()

        step = _read(sitting, understand)
        if not step:
            return tuple(steps) or usual
        steps.append(step)


def _minutes_of(text: str) -> str:
    """The minutes that a text begins with. Raises NotUnderstood."""
    try:
        minutes = float(text.replace(",", ".").split()[0])
    except (ValueError, IndexError):
        minutes = -1.0
    if not 0.1 <= minutes <= 2_000:
        raise NotUnderstood("a number of minutes, such as 10")
    return f"{minutes:g}"


def _minutes(sitting: Sitting, usual: str) -> str:
    return _read(sitting, lambda line: _minutes_of(line if line.strip() else usual))


def _bracketed(usual: str) -> str:
    return f" [{usual}]" if usual else ""


def done_checks(knowledge: Knowledge, case: CaseState) -> list[str]:
    """The checks that found something in this case."""
    return [str(name) for name, check in knowledge.checks.items() if not case.findings.keys().isdisjoint(check.finds)]


MAY_BE_NONE = frozenset({"signs", "nearly-always", "sometimes", "warns"})
"""Parts that may name nothing."""


def as_said_today(knowledge: Knowledge, case: CaseState) -> dict[str, Said]:
    """Return what was said of the cause so far, without what today's rules or the case no longer have, or never had."""
    named: dict[str, Collection[str]] = {
        "family": FAMILIES,
        "how-common": HOW_COMMON,
        "signs": case.findings,
        "nearly-always": case.findings,
        "sometimes": case.findings,
        "settled-by": (*done_checks(knowledge, case), OWN_LOOK),
        "look-engine": ENGINE_STATES,
        "needle": ("", *NEEDLES),
        "warns": knowledge.cautions,
    }
    said = {key: tuple(name for name in says if name in named.get(key, says)) for key, says in case.draft.items()}
    with suppress(KeyError, NotUnderstood):
        said["minutes"] = tuple(map(_minutes_of, said.pop("minutes")))
    return {key: says for key, says in said.items() if says or key in MAY_BE_NONE}


@dataclass(frozen=True, slots=True)
class Part:
    """One thing to be asked: the key it is kept under, how it is asked, and whether it is wanted after what was said."""

    key: str
    ask: Callable[[], Said]
    wanted: Callable[[], bool] = lambda: True


class Questions:
    """What is asked of one cause. `said` is what was answered so far, part by part; who asks adds to it."""

    def __init__(self, sitting: Sitting, said: MutableMapping[str, Said]) -> None:
        self._sitting = sitting
        self._knowledge = sitting.knowledge
        self._case = sitting.state
        self._said = said
        self.parts = (
            Part("pack", self._ask_pack),
            Part("name", self._ask_name),
            Part("explains", self._ask_explains),
            Part("family", self._ask_family),
            Part("how-common", self._ask_how_common),
            Part("signs", self._ask_signs, lambda: bool(self._offered())),
            Part("nearly-always", self._ask_nearly_always, lambda: bool(self._signs())),
            Part("sometimes", self._ask_sometimes, lambda: bool(self._not_nearly_always())),
            Part("settled-by", self._ask_settled_by, lambda: bool(done_checks(self._knowledge, self._case))),
            Part("look", self._ask_look, self._by_own_look),
            Part("look-question", self._ask_look_question, self._by_own_look),
            Part("look-so", self._ask_look_so, self._by_own_look),
            Part("look-well", self._ask_look_well, self._by_own_look),
            Part("look-engine", self._ask_look_engine, self._by_own_look),
            Part("steps", self._ask_steps),
            Part("minutes", self._ask_minutes),
            Part("needle", self._ask_needle, self._moves_a_needle),
            Part("proof", self._ask_proof),
            Part("harm", self._ask_harm),
            Part("warns", self._ask_warns, lambda: bool(self._given_by_rules())),
        )

    def draft(self) -> Draft:
        """Return the cause as it was told."""
        said = self._said

        def word(name: str) -> str:
            if name in said.get("nearly-always", ()):
                return "nearly-always"
            return "sometimes" if name in said.get("sometimes", ()) else "usually"

        findings = self._knowledge.findings
        seen = {name: findings[name].answers[self._case.findings[name].answer].seen for name in self._signs()}
        look = Look(
            ask=self._before("look-question"),
            steps=said.get("look", ()),
            well=self._before("look-well"),
            so=self._before("look-so"),
            engine=self._before("look-engine"),
            minutes=LOOK_MINUTES,
        )
        return Draft(
            name=said["name"][0],
            explains=said["explains"][0],
            family=said["family"][0],
            how_common=said["how-common"][0],
            tells={name: word(name) for name in seen if word(name) != seen[name]},  # an equal word is no news
            settled_by=look if self._by_own_look() else said["settled-by"][0],
            steps=said["steps"],
            minutes=float(said["minutes"][0]),
            needle=self._before("needle") or None,
            proof=said["proof"][0],
            harm=said["harm"][0],
            warns=said.get("warns", ()),
        )

    # What is asked, in order.

    def _before(self, key: str, otherwise: str = "") -> str:
        """What was said of this before, offered again."""
        return self._said.get(key, (otherwise,))[0]

    def _ask_text(self, key: str, question: str, otherwise: str = "") -> Said:
        usual = self._before(key, otherwise)
        self._sitting.say(f"{question}{_bracketed(usual)}", "ask")
        return (_text(self._sitting, usual),)

    def _ask_pack(self) -> Said:
        own = [str(pack.id) for pack in self._knowledge.packs[1:]]
        if own:
            self._sitting.say(f"Into which rules of yours shall it go?{_bracketed(own[0])}", "ask")
            chosen = choice(self._sitting, [*own, "new rules of their own"], 0)
            if chosen < len(own):
                return (own[chosen],)
        usual = self._before("pack", OUR_CLUB)
        self._sitting.say(f"What shall your own rules be called? One short name for all of them.{_bracketed(usual)}", "ask")

        def understand(line: str) -> str:
            try:
                return fitting(line.strip() or usual)
            except CannotStart as trouble:
                raise NotUnderstood(str(trouble)) from None

        return (_read(self._sitting, understand),)

    def _ask_name(self) -> Said:
        words = unknown_cause(self._knowledge, self._case)
        return self._ask_text("name", "What is the cause called, in a few words?", words[:1].upper() + words[1:])

    def _ask_explains(self) -> Said:
        return self._ask_text("explains", "What goes wrong there, in a sentence or two?", f"{self._said['name'][0]}.")

    def _ask_family(self) -> Said:
        families = [family for family in FAMILIES if family != NORMAL]
        leading = self._sitting.examined.standing.causes
        usual = self._before("family", str(self._knowledge.causes[leading[0].cause].family) if leading else "")
        place = families.index(usual) if usual in families else 0
        self._sitting.say(f"Where does it belong?{_bracketed(families[place].replace('-', ' '))}", "ask")
        return (families[choice(self._sitting, [family.replace("-", " ") for family in families], place)],)

    def _ask_how_common(self) -> Said:
        words = list(HOW_COMMON)
        usual = self._before("how-common", words[0])
        self._sitting.say(f"How common is it, of all faults at your field?{_bracketed(usual)}", "ask")
        return (words[choice(self._sitting, list(HOW_COMMON.values()), words.index(usual))],)

    def _offered(self) -> list[str]:
        """The answers that may be its signs: all but what the machine is or has, which no fault changes."""
        return [name for name in self._case.findings if not self._of_the_machine(self._knowledge.findings[name])]

    def _of_the_machine(self, finding: Finding) -> bool:
        return any(
            str(leaf.finding) == finding.id
            for rule in self._knowledge.rules.values() if isinstance(rule.outcome, Lacks)
            for leaf in leaves(rule.when) if isinstance(leaf, Answered)
        ) and not finding.needs  # fmt: skip

    def _sign(self, name: str) -> bool:
        """True for an answer that is not the normal one."""
        finding, answer = self._knowledge.findings[name], self._case.findings[name].answer
        return finding.complaint(answer) or (not finding.unordered and answer != next(iter(finding.answers)))

    def _ask_signs(self) -> Said:
        offered = self._offered()
        usual = self._said.get("signs", tuple(name for name in offered if self._sign(name)))
        return self._ask_which("Which of these answers come from this fault? Type the numbers.", offered, usual)

    def _ask_nearly_always(self) -> Said:
        question = "Which of those would you see nearly every time it has this fault? Type the numbers, or none."
        return self._ask_which(question, self._signs(), self._said.get("nearly-always", ()))

    def _signs(self) -> Said:
        return self._said.get("signs", ())

    def _not_nearly_always(self) -> list[str]:
        return [name for name in self._signs() if name not in self._said["nearly-always"]]

    def _ask_sometimes(self) -> Said:
        question = "And which only now and then? Type the numbers, or none."
        return self._ask_which(question, self._not_nearly_always(), self._said.get("sometimes", ()))

    def _ask_which(self, question: str, names: Sequence[str], usual: Sequence[str]) -> Said:
        places = [place for place, name in enumerate(names) if name in usual]
        self._sitting.say(f"{question}{_bracketed(' '.join(str(place + 1) for place in places) or 'none')}", "ask")
        says = []
        for name in names:
            finding = self._knowledge.findings[name]
            says.append(f"{finding.ask} {screens.said(finding, self._case, self._case.findings[name].answer)}")
        return tuple(names[place] for place in _several(self._sitting, says, places))

    def _ask_settled_by(self) -> Said:
        checks = done_checks(self._knowledge, self._case)
        usual = self._before("settled-by", OWN_LOOK)
        self._sitting.say("What showed that it was this, and nothing else?" + _bracketed(OWN_LOOK), "ask")
        says = [*(str(self._knowledge.checks[name].name) for name in checks), "a look of our own, not in this list"]
        at = checks.index(usual) if usual in checks else len(checks)
        chosen = choice(self._sitting, says, at)
        return (checks[chosen] if chosen < len(checks) else OWN_LOOK,)

    def _by_own_look(self) -> bool:
        return self._before("settled-by", OWN_LOOK) == OWN_LOOK

    def _ask_look(self) -> Said:
        return self._ask_steps_of("look", "How does one look for it? One step a line; an empty line ends.")

    def _ask_look_question(self) -> Said:
        name = self._said["name"][0]
        return self._ask_text("look-question", "What question does that look answer?", f"Is it this: {name}?")

    def _ask_look_so(self) -> Said:
        return self._ask_text("look-so", "And the answer when it is this fault?", "yes")

    def _ask_look_well(self) -> Said:
        return self._ask_text("look-well", "The answer when all is well there?", "no")

    def _ask_look_engine(self) -> Said:
        usual = self._before("look-engine", "cold")
        self._sitting.say(f"How must the engine be for that look?{_bracketed(usual)}", "ask")
        says = [ENGINE[state] for state in ENGINE_STATES]
        return (ENGINE_STATES[choice(self._sitting, says, ENGINE_STATES.index(usual))],)

    def _ask_steps(self) -> Said:
        return self._ask_steps_of("steps", "How is it put right? One step a line; an empty line ends.")

    def _ask_steps_of(self, key: str, question: str) -> Said:
        usual = self._said.get(key) or self._said.get(key + SO_FAR, ())
        self._sitting.say(f"{question}{_bracketed(' / '.join(usual))}", "ask")
        typed: list[str] = []
        try:
            return _steps(self._sitting, usual, typed)
        except (Left, Back):
            if typed:
                self._said[key + SO_FAR] = tuple(typed)
                self._sitting.log.append("draft", part=key + SO_FAR, says=typed)
            raise

    def _ask_minutes(self) -> Said:
        usual = self._before("minutes", f"{FIX_MINUTES:g}")
        self._sitting.say(f"About how many minutes does that take?{_bracketed(usual)}", "ask")
        return (_minutes(self._sitting, usual),)

    def _moves_a_needle(self) -> bool:
        return any(NEEDLE in touched(step) for step in self._said["steps"])

    def _ask_needle(self) -> Said:
        self._sitting.say("Does it move a needle for good? [no]", "ask")
        return ((("", *NEEDLES)[choice(self._sitting, ["no", *NEEDLES], 0)]),)

    def _ask_proof(self) -> Said:
        proved = next((done.proof for done in reversed(self._case.repairs) if done.proof), "")
        otherwise = proved or "It runs as it should, restrained first and then low and short, and it stays so."
        return self._ask_text("proof", "How does one know that it is cured?", otherwise)

    def _ask_harm(self) -> Said:
        return self._ask_text("harm", "What happens if it is left?", "It may get worse in the air.")

    def _given_by_rules(self) -> list[str]:
        """The cautions that most rules give: what may be said at once."""
        warns = (rule.outcome for rule in self._knowledge.rules.values() if isinstance(rule.outcome, Warns))
        counts = Counter(str(name) for outcome in warns for name in outcome.cautions)
        return [name for name, _ in counts.most_common(MOST_CAUTIONS)]

    def _ask_warns(self) -> Said:
        names = self._given_by_rules()
        places = [place for place, name in enumerate(names) if name in self._said.get("warns", ())]
        usual = " ".join(str(place + 1) for place in places) or "none"
        self._sitting.say(
            f"Must one of these cautions be shown at once, when it is found? Type the numbers, or none.{_bracketed(usual)}",
            "ask",
        )
        says = [str(self._knowledge.cautions[name].says).partition(". ")[0].rstrip(".") + "." for name in names]
        return tuple(names[place] for place in _several(self._sitting, says, places))
