"""Walking a drawn case with a simulated owner until it is cured or given up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from random import Random
from types import MappingProxyType

from ..case.state import CaseState, Given, RepairDone
from ..knowledge.model import Finding, Knowledge, Tell
from ..planning.examine import Examined, examine
from ..planning.mending import may_be_gone, may_mend, put_right
from ..planning.steps import Ask, AskAgain, DoCheck, Next, Repair
from ..planning.worth import ASKING, CALL_FOR_HELP, minutes_of
from ..reasoning.tables import shown_rates
from .cases import DrawnCase, Owner, complaint_of, most_usual
from .ways import Way, asking, most_a_minute

MOST_STEPS = 400
"""A walk longer than this goes round in a circle."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """How the case stood when the first repair was put forward as the cause, or when the walk gave up. What is put right
    only because it forbids every start or keeps another repair on hold is put forward as no cause."""

    leader: str
    probability: float
    first_three: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Walked:
    """What one walk came to. Minutes: of questions and checks; of repairs in vain with their retests, and of going for help
    where it is given up; and of the right repairs with theirs, which every way of asking needs alike."""

    case: DrawnCase
    verdict: Verdict
    cured: bool
    asked: int
    asked_before_verdict: int
    repairs: int
    asking_minutes: float
    vain_minutes: float
    right_minutes: float

    @property
    def minutes_to_cause(self) -> float:
        """What it took until nothing but the right repairs was left to do."""
        return self.asking_minutes + self.vain_minutes

    @property
    def minutes(self) -> float:
        """What it took in all."""
        return self.minutes_to_cause + self.right_minutes


@dataclass
class _Bench:
    """The case as it grows."""

    knowledge: Knowledge
    drawn: DrawnCase
    findings: dict[str, Given] = field(default_factory=dict)
    unknown: set[str] = field(default_factory=set)
    asked_again: set[str] = field(default_factory=set)
    repairs: dict[str, str] = field(default_factory=dict)
    owner: Owner = field(init=False)

    def __post_init__(self) -> None:
        self.owner = self.drawn.owner

    def seen(self) -> Examined:
        return examine(
            self.knowledge,
            CaseState(
                findings=MappingProxyType(dict(self.findings)),
                unknown=frozenset(self.unknown),
                asked_again=frozenset(self.asked_again),
                repairs=tuple(RepairDone(cause, result, "") for cause, result in self.repairs.items()),
            ),
        )

    def answer(self, names: Iterable[str], decides: bool = False) -> None:
        for name in names:
            if name in self.owner.told:
                self.findings[name] = Given(self.owner.told[name])
            else:
                self.unknown.add(name)
                if decides:
                    self.asked_again.add(name)

    def look_again(self, name: str) -> None:
        self.asked_again.add(name)
        if name in self.owner.looked_again:
            self.findings[name] = Given(self.owner.looked_again[name])
            self.unknown.discard(name)

    def repair(self, cause: str) -> bool:
        """Put a cause right; True when nothing is left of the fault."""
        open_faults = set(self.drawn.faults) - self.repairs.keys()
        self.repairs[cause] = "better" if cause in open_faults else "same"
        if open_faults == {cause}:
            return True
        if cause in open_faults:
            self.owner = self.drawn.left[cause]
            self._forget_what_is_gone(cause)
        self._mend(cause)
        return False

    def _forget_what_is_gone(self, cause: str) -> None:
        """As in the walk: what was asked anew and is no longer so is forgotten."""
        given = {name: given.answer for name, given in self.findings.items()}
        asked = may_be_gone(self.knowledge, cause, given)
        self._forget([name for name in asked if self.owner.told.get(name, given[name]) != given[name]])

    def _mend(self, cause: str) -> None:
        """As in the walk: what was seen of the part is forgotten, and is well on the next look, but for what a fault that
        is left shows itself."""
        seen = {name: given.answer for name, given in self.findings.items()}
        mended = put_right(self.knowledge, cause, seen)
        left = set(self.drawn.faults) - self.repairs.keys()
        self.owner = self.owner.after(
            {
                name: most_usual(self.knowledge.findings[name])
                for name in mended
                if not any(fault in may_mend(self.knowledge, name, seen[name]) for fault in left)
            }
        )
        self._forget(mended)

    def _forget(self, names: Iterable[str]) -> None:
        for name in names:
            del self.findings[name]
            self.asked_again.discard(name)


def walk(knowledge: Knowledge, drawn: DrawnCase, way: Way) -> Walked:
    """Return how this case goes when what comes next is chosen in this way."""
    bench = _Bench(knowledge, drawn)
    bench.answer(drawn.complaint)
    retest = min((retest.minutes for retest in knowledge.retests.values()), default=0.0)
    asked, asking_minutes, vain_minutes, right_minutes = 0, 0.0, 0.0, 0.0
    verdict: Verdict | None = None
    before_verdict = 0
    cured = False
    for _ in range(MOST_STEPS):
        seen = bench.seen()
        match way(seen):
            case Ask(finding, _, _, waits):
                asked += 1
                asking_minutes += minutes_of(knowledge, knowledge.findings[finding]) + ASKING
                bench.answer([finding], bool(waits))
                continue
            case AskAgain(finding):
                asked += 1
                asking_minutes += minutes_of(knowledge, knowledge.findings[finding]) + ASKING
                bench.look_again(finding)
                continue
            case DoCheck(check, finds, _, _, waits):
                asked += 1
                asking_minutes += knowledge.checks[check].minutes + ASKING
                bench.answer(finds, bool(waits))
                continue
            case step:
                on_the_way = isinstance(step, Repair) and bool(step.rules)
                if verdict is None and not on_the_way:
                    verdict, before_verdict = _verdict(seen), asked
        if not isinstance(step, Repair):
            vain_minutes += CALL_FOR_HELP
            break
        minutes = knowledge.causes[step.cause].fix.minutes + retest
        if step.cause in drawn.faults:
            right_minutes += minutes
        else:
            vain_minutes += minutes
        cured = bench.repair(step.cause)
        if cured:
            break
        if bench.repairs[step.cause] == "better":
            asked += 1
            asking_minutes += ASKING
    if verdict is None and not cured:
        raise RuntimeError(f"case {drawn.number} is asked without end")
    if verdict is None:
        verdict, before_verdict = _verdict(seen), asked
    return Walked(
        drawn, verdict, cured, asked, before_verdict, len(bench.repairs), asking_minutes, vain_minutes, right_minutes
    )


def _verdict(seen: Examined) -> Verdict:
    causes = seen.standing.causes
    return Verdict(causes[0].cause, causes[0].probability, tuple(ranked.cause for ranked in causes[:3]))


ANSWERS_WITH_A_SLIP = 9


def place_after_a_slip(knowledge: Knowledge, drawn: DrawnCase, rng: Random) -> int:
    """Return the place (1 is first) of the true cause when eight answers are right and one, any one, is wrong.

    They are the first nine that the cause speaks of, beginning with what the owner tells and going on with the most telling
    questions, the slip among them; right is what the cause most often shows.
    """
    cause = knowledge.causes[drawn.faults[0]]
    right = {
        name: _most_often(knowledge.findings[name], cause.shows[name])
        for name in knowledge.findings
        if name in cause.shows and name in drawn.owner.told
    }
    bench = _Bench(knowledge, drawn)
    bench.owner = replace(drawn.owner, told={**drawn.owner.told, **right})
    slip = rng.randrange(ANSWERS_WITH_A_SLIP)
    go_on = asking(most_a_minute, lambda seen, telling: False)
    to_answer = complaint_of(knowledge, bench.owner.told, rng)
    told = 0
    while to_answer and told < ANSWERS_WITH_A_SLIP:
        for name in (name for name in to_answer if name in right and told < ANSWERS_WITH_A_SLIP):
            if told == slip:
                others = [answer for answer in knowledge.findings[name].answers if answer != right[name]]
                bench.owner = bench.owner.after({name: str(rng.choice(others))})
            told += 1
        bench.answer(to_answer)
        to_answer = _asks(go_on(bench.seen()))
    places = [ranked.cause for ranked in bench.seen().standing.causes]
    # A slip about what the engine can do may rule the cause out altogether.
    return places.index(cause.id) + 1 if cause.id in places else len(places) + 1


def _most_often(finding: Finding, tell: Tell) -> str:
    return str(list(finding.answers)[int(shown_rates(finding, tell).argmax())])


def _asks(step: Next) -> tuple[str, ...]:
    """The findings that a step asks for the first time."""
    match step:
        case Ask(finding):
            return (finding,)
        case DoCheck(_, finds):
            return finds
    return ()
