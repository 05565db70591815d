"""The things rules speak of: findings, conditions, causes, checks, cautions, holds and rules.

All are immutable. Every text that came from a file is a `source.Text`, which knows its place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePath

from .frequency import USUAL
from .hearing import Hearing
from .setup_model import Carburettor, NeedleMove, SetupStep
from .source import Place, Text

ENGINE_STATES = ("stopped", "cold", "then-run", "idling", "loaded")
"""State of the engine while something is done to it."""

KNOWN = "known"
"""Stands in a rule for any answer: the question has been answered."""


NORMAL = "normal"
"""Family of the causes that are no fault: the engine is as it should be."""


@dataclass(frozen=True, slots=True)
class Need:
    """A part the machine has, or a thing it can do now, on which questions and causes depend."""

    id: Text
    name: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer of a finding. `seen` is how often it is met on engines with some other fault; `mend` are the causes of
    which one is put right where this was seen, if the look that finds it settles none."""

    id: Text
    say: Text
    seen: Text
    like: tuple[Text, ...]
    below: float | None
    mend: tuple[Text, ...] = ()


@dataclass(frozen=True, slots=True)
class Measure:
    """What a number of a finding is: its kind, the unit of its bands, and the possible range."""

    kind: Text
    unit: Text
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Finding:
    """One question and its answers, from normal to worst unless `unordered`. What is `past` happened before the fault or
    beside it: no repair changes the answer. What `tests_the_whole` hangs on many parts: the repair of any fault that shows
    the answer may have changed it. `coincidence` is how often, at least, the answer is one of those that
    a tell does not name, because it has nothing to do with the fault."""

    id: Text
    ask: Text
    why: Text
    how: Text | None
    answers: Mapping[str, Answer]
    minutes: float
    needs: tuple[Text, ...]
    cautions: tuple[Text, ...]
    under: tuple[Text, ...]
    tools: tuple[Text, ...]
    check: Text | None
    unordered: bool
    past: bool
    tests_the_whole: bool
    unsure: Text | None
    coincidence: Text | None
    measure: Measure | None
    place: Place

    def complaint(self, answer: str) -> bool:
        """True for an answer that an owner would call across the pits, and that is not met on most engines anyway."""
        return bool(self.answers[answer].like) and self.unusual(answer)

    def unusual(self, answer: str) -> bool:
        """True for an answer that is neither the normal one nor met on most engines anyway."""
        normal = not self.unordered and answer == next(iter(self.answers))
        return self.answers[answer].seen not in USUAL and not normal

    def band(self, value: float) -> Answer:
        """Return the answer whose band holds `value`, given in the finding's own unit."""
        for answer in self.answers.values():
            if answer.below is None or value < answer.below:
                return answer
        raise ValueError(f"{self.id} has no band for {value}")


@dataclass(frozen=True, slots=True)
class Kin:
    """Findings that say nearly the same (`same`), or share a root (`related`)."""

    id: Text
    of: tuple[Text, ...]
    are: Text
    because: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Slang:
    """What people say `also` for one thing; `stands_for` is the word that phrases of answers have for it."""

    id: Text
    stands_for: Text
    also: tuple[Text, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Condition:
    """What a mechanic concludes on the way: concluded or not, never a number. What is `unsaid` goes without saying: rules
    rest on it, and nobody is told. What the walk itself brings about (`by_the_walk`) no answer and no rule concludes."""

    id: Text
    name: Text
    says: Text
    seen: Text
    unsaid: bool
    by_the_walk: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do; `under` names the holds that forbid it."""

    do: Text
    under: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Fix:
    """How a cause is put right.

    needle  H or L when the fix turns that needle
    sets    True: setting it is the repair, so that it is good where the fault was cured. Any other fix opens it for the
            first run, to be on the safe side, or brings it back to where it was
    """

    minutes: float
    tools: tuple[Text, ...]
    cautions: tuple[Text, ...]
    under: tuple[Text, ...]
    needle: Text | None
    sets: bool
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Tell:
    """What a cause shows in one finding: frequency word by answer. A condition's tell has the one answer `concluded`."""

    of: Text
    words: Mapping[str, Text]


CONCLUDED = "concluded"


@dataclass(frozen=True, slots=True)
class Cause:
    """A fault, what it shows, how it is settled, put right and proved.

    prove: retests its repair needs by its nature, besides those that every repair has.
    comes_of: what brings it on, where it does not come by itself; it comes again while that is not found.
    """

    id: Text
    name: Text
    family: Text
    how_common: Text
    needs: tuple[Text, ...]
    explains: Text
    shows: Mapping[str, Tell]
    settled_by: Text
    fix: Fix
    proof: Text
    prove: tuple[Text, ...]
    harm: Text
    comes_of: Text | None
    basis: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Check:
    """Something done to the machine whose results are findings."""

    id: Text
    name: Text
    why: Text
    minutes: float
    tools: tuple[Text, ...]
    engine: Text
    needs: tuple[Text, ...]
    cautions: tuple[Text, ...]
    under: tuple[Text, ...]
    steps: tuple[Step, ...]
    finds: tuple[Text, ...]
    basis: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Retest:
    """How a fix is proved: restrained first, then low and short, then as the fault itself asks.

    only_when_asked: done when a rule or the cause asks for it; any other is done whenever the machine can.
    lasts: minutes it must have run before anything counts as gone; 0 where the steps say all.
    beyond: a finding in minutes, with the answers that count; the minutes given there must be outlasted as well.
    asks: findings that are asked before a repair is proved, where nobody was asked yet: their answers say whether this
        retest is wanted.
    """

    id: Text
    name: Text
    only_when_asked: bool
    minutes: float
    lasts: float
    beyond: Answered | None
    asks: tuple[Text, ...]
    engine: Text
    needs: tuple[Text, ...]
    cautions: tuple[Text, ...]
    steps: tuple[Step, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Caution:
    """What the person must be told. `level`: danger, warning or care."""

    id: Text
    level: Text
    says: Text
    basis: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Hold:
    """What the tool must not suggest while it stands."""

    id: Text
    name: Text
    says: Text
    place: Place


# What a rule rests on.


@dataclass(frozen=True, slots=True)
class Answered:
    """The finding has one of these answers; `answers` holding only KNOWN takes any."""

    finding: Text
    answers: tuple[Text, ...]

    def holds(self, answers: Mapping[str, str]) -> bool:
        """True if the question was answered (finding -> answer), and so."""
        return self.finding in answers and (self.answers == (KNOWN,) or answers[self.finding] in self.answers)


@dataclass(frozen=True, slots=True)
class Is:
    """The condition is concluded."""

    condition: Text


@dataclass(frozen=True, slots=True)
class IsNot:
    """The condition is not concluded. Silence counts as not concluded, so only cautions and questions may use it."""

    condition: Text


@dataclass(frozen=True, slots=True)
class All:
    """Every term holds."""

    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Any:
    """At least one term holds."""

    terms: tuple[Term, ...]


Term = Answered | Is | IsNot | All | Any

# What a rule concludes.


@dataclass(frozen=True, slots=True)
class Means:
    """A condition is concluded."""

    condition: Text


@dataclass(frozen=True, slots=True)
class Lacks:
    """The machine has not got, or cannot do, these needs."""

    needs: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Clash:
    """These answers cannot all be true."""

    says: Text


@dataclass(frozen=True, slots=True)
class Warns:
    """These cautions must be shown now."""

    cautions: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Holds:
    """These holds stand, until what `until` says."""

    holds: tuple[Text, ...]
    until: Text


@dataclass(frozen=True, slots=True)
class Skips:
    """These findings or checks are not worth asking."""

    ids: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class First:
    """These findings or checks come before anything else, in this order."""

    ids: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Sooner:
    """These findings or checks are asked sooner than what they tell a minute would say; they must still pay."""

    ids: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Proves:
    """After a repair these retests are done too: the fault does not show in a shorter or colder run."""

    retests: tuple[Text, ...]


Outcome = Means | Lacks | Clash | Warns | Holds | Skips | First | Sooner | Proves


def names_in(outcome: Outcome) -> tuple[str, ...]:
    """Return the ids that a rule's outcome names."""
    match outcome:
        case Means(condition):
            return (str(condition),)
        case Lacks(names) | Warns(names) | Holds(names, _) | Skips(names) | First(names) | Sooner(names) | Proves(names):
            return tuple(map(str, names))
    return ()


@dataclass(frozen=True, slots=True)
class Rule:
    """When the term holds (None: always), the outcome follows, because."""

    id: Text
    when: Term | None
    outcome: Outcome
    because: Text
    basis: Text
    place: Place

    @property
    def until(self) -> str:
        """What lifts the holds of this rule; '' for a rule that holds nothing."""
        return str(self.outcome.until) if isinstance(self.outcome, Holds) else ""

    @property
    def clash(self) -> str:
        """What this rule says of answers that cannot all be true; '' for any other rule."""
        return str(self.outcome.says) if isinstance(self.outcome, Clash) else ""


@dataclass(frozen=True, slots=True)
class SwitchOff:
    """A pack switches off a rule of an earlier pack, because. `id` is the rule."""

    id: Text
    because: Text
    place: Place


@dataclass(frozen=True, slots=True)
class Reweigh:
    """A pack gives a cause of an earlier pack other words, because. `id` is the cause.

    how_common replaces that of the cause; None keeps it. shows replaces or adds the cause's words, finding by finding.
    """

    id: Text
    because: Text
    how_common: Text | None
    shows: Mapping[str, Tell]
    place: Place


Change = SwitchOff | Reweigh


@dataclass(frozen=True, slots=True)
class Requirement:
    """A pack that another pack needs, and its least version (None: any)."""

    pack: Text
    least: str | None


@dataclass(frozen=True, slots=True)
class Pack:
    """A folder of rules: its name, version, author, and the packs it needs."""

    id: Text
    name: Text
    version: Text
    author: Text
    folder: str
    needs: tuple[Requirement, ...] = ()

    def wrote(self, place: Place) -> bool:
        """True if this place lies in a file of this pack."""
        return PurePath(place.file).parent == PurePath(self.folder)


@dataclass(frozen=True, eq=False, repr=False)
class Knowledge:
    """Everything the packs say, by id, in the order it was written. Compared by identity, so that it can key a cache.

    `changes` are what packs switched off or weighed anew; the shelves hold what is left and what it weighs now.
    """

    packs: tuple[Pack, ...] = ()
    needs: Mapping[str, Need] = field(default_factory=dict)
    findings: Mapping[str, Finding] = field(default_factory=dict)
    kin: Mapping[str, Kin] = field(default_factory=dict)
    conditions: Mapping[str, Condition] = field(default_factory=dict)
    causes: Mapping[str, Cause] = field(default_factory=dict)
    checks: Mapping[str, Check] = field(default_factory=dict)
    retests: Mapping[str, Retest] = field(default_factory=dict)
    cautions: Mapping[str, Caution] = field(default_factory=dict)
    holds: Mapping[str, Hold] = field(default_factory=dict)
    rules: Mapping[str, Rule] = field(default_factory=dict)
    setup_steps: Mapping[str, SetupStep] = field(default_factory=dict)
    carburettors: Mapping[str, Carburettor] = field(default_factory=dict)
    needle_moves: Mapping[str, NeedleMove] = field(default_factory=dict)
    hearings: Mapping[str, Hearing] = field(default_factory=dict)
    slang: Mapping[str, Slang] = field(default_factory=dict)
    changes: tuple[Change, ...] = ()


def leaves(term: Term | None) -> tuple[Answered | Is | IsNot, ...]:
    """Return the plain premises of a term, from left to right."""
    if term is None:
        return ()
    if isinstance(term, (All, Any)):
        return tuple(leaf for inner in term.terms for leaf in leaves(inner))
    return (term,)
