"""What the walk shows, as lines of text. Pure: knowledge and conclusions in, (line, tone) out.

Steps and advice pass through `steps`, which leaves out whatever a standing hold forbids.
"""

from __future__ import annotations

import string
from collections.abc import Collection, Iterable, Iterator, Sequence

from ..case.ledger import NeedleEntry, stands
from ..case.ledger import told as told_of
from ..case.readings import SHOWN, count_words, percent, times, turns
from ..case.state import CaseState
from ..knowledge.model import Cause, Check, Finding, Knowledge, Retest, Step
from ..knowledge.setup_model import NEEDLES, SetupStep
from ..planning.examine import Examined
from ..planning.plan import spoken_for
from ..planning.worth import Worth, parts
from ..reasoning.doubt import Turn
from ..reasoning.learned import Learned
from ..reasoning.rank import RankedCause, Weight
from ..reasoning.reason import Conclusions
from ..report.wording import ENGINE, minutes
from .console import wrapped

Lines = Iterator[tuple[str, str]]

LEADS = 0.10
"""A cause less likely than this is not named in the short line after an answer."""

BAR = 20


def paragraph(text: str, width: int, first: str = "", tone: str = "", rest: str | None = None) -> Lines:
    for line in wrapped(text, width, first, rest):
        yield line, tone


def question(finding: Finding, number: int, width: int) -> Lines:
    """A question with its numbered answers. Its handle stands at the end, for `change`."""
    yield "", ""
    yield from paragraph(f"{finding.ask} [{finding.id}]", width, f"{number:>2}. ", "ask")
    if finding.how:
        yield from paragraph(finding.how, width, "    ", "quiet")
    if finding.measure:
        unit = SHOWN.get(finding.measure.unit, finding.measure.unit)
        yield from paragraph(f"A number{' in ' + unit if unit else ''}, or the nearest of these:", width, "    ", "quiet")
    for mark, answer in zip(marks(finding), finding.answers.values(), strict=False):
        yield from paragraph(str(answer.say), width, f"    {mark}  ")
    yield from paragraph("don't know", width, "    ?  ")


def marks(finding: Finding) -> Sequence[str]:
    """What picks an answer: numbers, or letters where a number is itself the answer."""
    return string.ascii_lowercase if finding.measure else [str(n) for n in range(1, len(finding.answers) + 1)]


def choices(says: Sequence[str], width: int) -> Lines:
    for place, say in enumerate(says, 1):
        yield from paragraph(say, width, f"    {place}  ")


def caution(knowledge: Knowledge, name: str, width: int) -> Lines:
    """A caution in full."""
    found = knowledge.cautions[name]
    yield from paragraph(f"{found.level.upper()}: {found.says}", width, "  ! ", str(found.level), "    ")


def reminder(names: Sequence[str], width: int) -> Lines:
    """Cautions already shown in full, by name."""
    if names:
        said = ", ".join(name.replace("-", " ") for name in names)
        yield from paragraph(f"Still holds: {said} ('cautions' shows them).", width, "  ! ", "warning", "    ")


def reminder_of_holds(knowledge: Knowledge, names: Iterable[str], width: int) -> Lines:
    """Holds that stand, by name."""
    said = "; ".join(str(knowledge.holds[name].name) for name in names)
    if said:
        yield from paragraph(f"On hold: {said} ('cautions' shows until when).", width, "  # ", "warning", "    ")


def hold(knowledge: Knowledge, conclusions: Conclusions, name: str, width: int) -> Lines:
    """A hold that stands, and what lifts it."""
    yield from _on_hold(knowledge, name, width)
    for rule in conclusions.holds[name]:
        yield from paragraph(f"Until: {knowledge.rules[rule].until}", width, "    ")


def new_hold(knowledge: Knowledge, conclusions: Conclusions, name: str, width: int) -> Lines:
    """A hold that has come up, with the first thing that lifts it; the rest is shown where somebody asks, or is refused."""
    yield from _on_hold(knowledge, name, width)
    yield from paragraph(f"Until: {_first_until(knowledge, conclusions, name)}", width, "    ")


def _on_hold(knowledge: Knowledge, name: str, width: int) -> Lines:
    held = knowledge.holds[name]
    yield from paragraph(f"ON HOLD: {held.name}. {held.says}", width, "  # ", "warning", "    ")


def _first_until(knowledge: Knowledge, conclusions: Conclusions, hold: str) -> str:
    untils = list(dict.fromkeys(knowledge.rules[rule].until for rule in conclusions.holds[hold]))
    more = f" (and {len(untils) - 1} more: 'cautions' shows them)" if len(untils) > 1 else ""
    return f"{untils[0]}{more}"


def steps(knowledge: Knowledge, conclusions: Conclusions, several: Iterable[Step], width: int) -> Lines:
    """Numbered steps. A step under a standing hold is left out, and the hold is named in its place."""
    for place, step in enumerate(several, 1):
        held = conclusions.held(step.under)
        if held:
            names = ", ".join(str(knowledge.holds[name].name) for name in held)
            yield from paragraph(f"(this step is on hold: {names})", width, f"    {place}. ", "quiet")
            yield from _instead(knowledge, conclusions, held, width)
        else:
            yield from paragraph(str(step.do), width, f"    {place}. ")


def _instead(knowledge: Knowledge, conclusions: Conclusions, held: Sequence[str], width: int) -> Lines:
    """What to do while a step is on hold, and the first thing that lifts it of each hold."""
    yield from paragraph("Leave it out for now, and go on. It waits until:", width, "       ", "quiet")
    for name in held:
        until = _first_until(knowledge, conclusions, name)
        yield from paragraph(f"{knowledge.holds[name].name}: {until}", width, "       - ", "quiet")


def procedure(thing: Check | Retest | SetupStep, width: int, title: str) -> Lines:
    yield "", ""
    yield from paragraph(f"{title}: {thing.name} [{thing.id}]", width, "", "ask", "    ")
    facts = [f"about {minutes(thing.minutes)}", ENGINE[thing.engine]]
    if not isinstance(thing, Retest):
        yield from paragraph(str(thing.why), width, "    ", "quiet")
        if thing.tools:
            facts.append("you need " + ", ".join(thing.tools))
    yield from paragraph("; ".join(facts) + ".", width, "    ")


def brief(examined: Examined, width: int) -> Lines:
    """The short line after an answer."""
    done = examined.progress.repairs.done
    leaders = [r for r in examined.standing.causes if r.cause not in done][:3]
    leaders = [r for r in leaders if r.probability >= LEADS and spoken_for(r)]
    if leaders:
        said = "; ".join(f"{name_of(examined.knowledge, r.cause)} {percent(r.probability)}" for r in leaders)
        yield from paragraph(said + ".", width, "    so far: ", "quiet", "    ")


def name_of(knowledge: Knowledge, cause: str) -> str:
    return str(knowledge.causes[cause].name)


def standing(examined: Examined, width: int, most: int = 8) -> Lines:
    """The causes as they stand, with a bar each."""
    ranked = examined.standing
    yield "", ""
    yield "As it stands:", "head"
    for place, cause in enumerate(ranked.causes[:most], 1):
        name = name_of(examined.knowledge, cause.cause)
        handle = f"[{cause.cause}]" + (", done" if cause.cause in examined.progress.repairs.done else "")
        yield from _bar(name, handle, cause.probability, width, place)
    yield from _bar("something not in these rules", "", ranked.other, width, 0)
    for pair in ranked.pairs[:2]:
        if pair.probability >= 0.05:
            both = " and ".join(name_of(examined.knowledge, cause) for cause in pair.causes)
            yield from paragraph(f"Both at once: {both}, {percent(pair.probability)}.", width, "    ")
    conditions = [examined.knowledge.conditions[name] for name in examined.conclusions.conditions]
    said = [str(condition.name).lower() for condition in conditions if not condition.unsaid]
    if said:
        yield from paragraph("Concluded: " + "; ".join(said) + ".", width, "    ")
    yield from paragraph("'how' with a number or name shows why, and what would settle it.", width, "    ", "quiet")


def _bar(name: str, handle: str, share: float, width: int, place: int) -> Lines:
    lead = f"{place:>2}. " if place else "    "
    room = BAR if width >= 60 else BAR // 2
    filled = round(share * room)
    yield from paragraph(f"{name} {handle}".strip(), width, lead)
    yield f"    {'=' * filled}{'.' * (room - filled)} {percent(share)}", ""


def how(examined: Examined, state: CaseState, ranked: RankedCause, turns_of_mind: Sequence[Turn], width: int) -> Lines:
    """How a cause got where it stands, what would settle it, and what would change the leader."""
    knowledge, cause = examined.knowledge, examined.knowledge.causes[ranked.cause]
    yield "", ""
    yield from paragraph(f"{cause.name}: {percent(ranked.probability)}", width, "", "head")
    yield from paragraph(str(cause.explains), width, "    ")
    yield from paragraph("Each line multiplies its odds against some other fault:", width, "    ", "quiet")
    written = ranked.prior_decibels - ranked.learned_decibels
    yield from paragraph(f"{times(written)}: how common it is to begin with", width, "      ")
    if examined.learned is not None:
        counted = club_words(examined.learned, ranked.cause)
        yield from paragraph(f"{times(ranked.learned_decibels)}: {counted}", width, "      ", rest="        ")
    for weight in examined.standing.trail(ranked.cause):
        yield from paragraph(
            f"{times(weight.decibels)}: {told(examined, state, weight, cause)}", width, "      ", rest="        "
        )
    if ranked.repaired_decibels:
        yield from paragraph(
            f"{times(ranked.repaired_decibels)}: {_of_repairs(examined, ranked)}", width, "      ", rest="        "
        )
    together = times(ranked.prior_decibels + ranked.told_decibels + ranked.repaired_decibels)
    yield from paragraph(f"together {together}", width, "      ")
    check = knowledge.checks[cause.settled_by]
    open_finds = [f for f in check.finds if f not in examined.conclusions.answers]
    if open_finds and examined.conclusions.applies(check.needs):
        held = examined.conclusions.held(check.under)
        wait = f", on hold for now: {', '.join(str(knowledge.holds[h].name) for h in held)}" if held else ""
        yield from paragraph(f"Would settle it: {check.name} ({minutes(check.minutes)}{wait}).", width, "    ")
    else:
        yield from paragraph(f"The check that settles it is done: {check.name}.", width, "    ")
    for turn in turns_of_mind:
        finding = knowledge.findings[turn.finding]
        yield from paragraph(
            f"If '{turn.finding}' were '{finding.answers[turn.answer].say}', {name_of(knowledge, turn.leader)} would lead.",
            width,
            "    ",
        )


def _of_repairs(examined: Examined, ranked: RankedCause) -> str:
    """What the repairs that were done say of a cause as the only fault."""
    repairs = examined.progress.repairs
    if ranked.cause in repairs.same:
        return "its repair changed nothing; what is left of it is as one of two faults"
    if ranked.cause in repairs.better:
        return "its repair helped and did not end it; what is left of it is as one of two faults"
    return "more than one other repair helped"


def club_words(learned: Learned, cause: str) -> str:
    """How often a cause was confirmed in this club, and on this machine."""
    seen, here = learned.seen.get(cause, 0), learned.seen_here.get(cause, 0)
    if not seen:
        return f"not seen in the {learned.cases} confirmed cases of this club"
    on_this = f", {count_words(here)} on this machine" if here else ""
    return f"seen {count_words(seen)} in this club{on_this}"


def seen_in_club(examined: Examined, ranked: RankedCause, width: int, first: str) -> Lines:
    """What the club's own cases add to a cause, where it was confirmed before."""
    if examined.learned is not None and examined.learned.seen.get(ranked.cause):
        said = f"{club_words(examined.learned, ranked.cause)} ({times(ranked.learned_decibels)})"
        yield from paragraph(said, width, first)


def _often(word: str) -> str:
    """A word of frequency as it is said: what the rules call never is met once in fifty."""
    return "hardly ever" if word == "never" else word.replace("-", " ")


def told(examined: Examined, state: CaseState, weight: Weight, cause: Cause) -> str:
    """What a group of observations said of a cause, in words."""
    parts = []
    for name in weight.of:
        if name in examined.knowledge.conditions:
            parts.append(f"it is concluded: {str(examined.knowledge.conditions[name].name).lower()}")
            continue
        answer = examined.conclusions.answers[name]
        finding = examined.knowledge.findings[name]
        word = cause.shows[name].words.get(answer) if name in cause.shows else None
        here = f" ({_often(word)} here, {_often(finding.answers[answer].seen)} otherwise)" if word else ""
        parts.append(f"{name}: {said(finding, state, answer)}{here}")
    damped = " (these are akin, so they count less together)" if len(parts) > 1 else ""
    return "; ".join(parts) + damped


def said(finding: Finding, state: CaseState, answer: str) -> str:
    """An answer in words, with the number that was given."""
    given = state.findings.get(str(finding.id))
    reading = f"{given.reading}, " if given and given.reading and given.answer == answer else ""
    return f"{reading}{finding.answers[answer].say}"


def first_because(knowledge: Knowledge, rules: Sequence[str], width: int) -> Lines:
    """The reasons of the rules that put something first."""
    for rule in rules:
        yield from paragraph(f"It comes first because: {knowledge.rules[rule].because}", width, "    ")


def why(examined: Examined, finding: Finding, rules: Sequence[str], worth: Worth | None, width: int) -> Lines:
    """Why a question is asked."""
    knowledge = examined.knowledge
    yield from paragraph(str(finding.why), width, "    ")
    yield from first_because(knowledge, rules, width)
    if worth:
        saves = f" and saves about {minutes(worth.saves)} of needless work on average" if worth.saves >= 1 else ""
        yield from paragraph(f"It costs {minutes(worth.minutes)}{saves}.", width, "    ")
        between = [name_of(knowledge, cause) for cause in parts(knowledge, examined.standing, finding)]
        if between:
            yield from paragraph(f"It helps tell '{between[0]}' from '{between[1]}'.", width, "    ")


def ledger(
    entries: Sequence[NeedleEntry], unknown: Collection[str], no_baseline: Collection[str], may_close: bool, width: int
) -> Lines:
    """Where each needle stands, and how to put it back if that is allowed now. Of the `unknown` nobody knows where they
    stand, of those with `no_baseline` where they belong."""
    yield "", ""
    yield "Needles, turns out from lightly seated:", "head"
    for needle in NEEDLES:
        place = stands(entries, needle)
        if place is None:
            yield from paragraph(f"{needle}: not counted yet", width, "    ")
            continue
        belongs = "where it belongs is not known" if needle in no_baseline else place.told(may_close)
        stood = "not counted since it was turned" if needle in unknown else f"{turns(place.now)}; {belongs}"
        yield from paragraph(f"{needle}: {stood}", width, "    ")
        for entry in entries:
            if entry.needle == needle:
                yield from paragraph(told_of(entry), width, f"      {entry.at[11:16]} ", "quiet")
