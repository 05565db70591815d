"""The content of a fault report, gathered from a case; how it looks is in the templates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..bench.needles import history
from ..case.casefile import MACHINE
from ..case.ledger import first_count, stands, told, turned
from ..case.readings import count_words, percent, times, turns
from ..case.state import CANNOT, DONE, NOT_DONE, SOUND, CaseState, RepairDone
from ..drawing.chart import Chart
from ..drawing.terminal import draw
from ..knowledge.checker import NEEDLE_HOLDS
from ..knowledge.frequency import FREQUENCY
from ..knowledge.model import NORMAL, Knowledge
from ..knowledge.setup_model import NEEDLES
from ..listen.record import chart
from ..planning.examine import Examined, examine
from ..planning.needles import (
    baseless,
    carburettor_of,
    in_words,
    next_move,
    places_unknown,
    stands_off,
    told_by_ledger,
    trusted,
)
from ..planning.plan import next_questions
from ..planning.proof import proved_by, retests_of
from ..planning.setup import in_order
from ..reasoning.rank import RankedCause
from ..reasoning.reason import Conclusions

MOST_CAUSES = 6
MOST_REASONS = 6

_RAN = re.compile(r" \(\d+ minutes\)")

PLOT_COLUMNS, PLOT_ROWS = 70, 8
"""Size of a drawing in text: it fits a printed page."""
WORTH_SAYING = 0.02
"""Share by which a word must mean something else in the club before the report says so."""


@dataclass(frozen=True, slots=True)
class Line:
    """A thing and what is said of it."""

    name: str
    says: str


@dataclass(frozen=True, slots=True)
class DoneLine:
    """A repair, what became of it, and its steps without any that a standing hold forbids."""

    name: str
    says: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BenchLine:
    """What a calculator worked out: when, out of which inputs, with which numbers, and what they mean."""

    title: str
    at: str
    inputs: tuple[str, ...]
    results: tuple[str, ...]
    says: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CauseLine:
    """A cause with its share, and the trail behind it: (what was found, what it multiplied the odds by). `repaired` says
    what became of its repair; share and trail are then as they were when it was begun."""

    name: str
    share: float
    trail: tuple[Line, ...]
    repaired: str = ""


@dataclass(frozen=True, slots=True)
class NeedleLine:
    """A needle: what was first counted in this case, its baseline, where it stands, how to put it back, and every move."""

    needle: str
    found: str
    baseline: str
    now: str
    back: str
    moves: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Needles:
    """The needles: where each stands, what is to be said of them now, and their whole history as a drawing in text."""

    lines: tuple[NeedleLine, ...]
    says: tuple[str, ...]
    plot: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeardLine:
    """A recording: its name, what was measured in it, and its picture."""

    name: str
    said: tuple[str, ...]
    chart: Chart


@dataclass(frozen=True, slots=True)
class FaultReport:
    """Everything on the page, in the order it is read."""

    case: str
    opened: str
    closed: str
    machine: str
    words: tuple[str, ...]
    outcome: str
    explains: tuple[Line, ...]
    cautions: tuple[Line, ...]
    holds: tuple[Line, ...]
    proved: bool
    causes: tuple[CauseLine, ...]
    pairs: tuple[Line, ...]
    other: float
    concluded: tuple[Line, ...]
    findings: tuple[Line, ...]
    checks: tuple[str, ...]
    bench: tuple[BenchLine, ...]
    recordings: tuple[HeardLine, ...]
    done: tuple[DoneLine, ...]
    needles: Needles
    set_up_in: str
    set_up: tuple[Line, ...]
    proof: tuple[str, ...]
    still_open: tuple[str, ...]
    notes: tuple[Line, ...]
    packs: tuple[Line, ...]
    program: str
    club: tuple[str, ...] = ()


STEP_SAYS = {DONE: "done", NOT_DONE: "not done", CANNOT: "could not be done"}

RESULTS = {
    "gone": "done; the symptom is gone",
    "better": "done; it helped, and a trouble is left",
    "same": "done; the symptom is still there",
    SOUND: "looked at, and found sound; nothing was done",
    "not-done": "put aside, not done",
    "not-proved": "done; not proved by a retest",
}


NOTHING_DONE = (SOUND, "not-done")
"""Results of a repair that was none: no step of it was taken."""

PUT_RIGHT = {
    "gone": "put right",
    "better": "put right; a trouble was left",
    "same": "done, and the symptom is still there",
    "not-proved": "done and not yet proved",
    "": "done and not yet proved",
}
"""Result of a repair ('': not retested yet) -> what is said beside its cause."""

EXPLAINED = "explained; nothing was changed"

ALSO_TOLD = "Also told, in words that were taken for no answer:"
"""Before words of which nobody picked what they mean; a repair that was proved says nothing about them."""

NOT_PROVED = "Not proved by a retest: no normal flight until the retests are passed."


def fault_report(knowledge: Knowledge, state: CaseState, examined: Examined, program: str) -> FaultReport:
    """Gather the report of a case as it stands."""
    conclusions = examined.conclusions
    return FaultReport(
        case=state.case,
        opened=when(state.opened),
        closed=when(state.closing.at) if state.closing else "",
        machine=answer_of(knowledge, state, MACHINE) or "not said",
        words=state.words,
        outcome=_outcome(knowledge, state),
        explains=_explains(knowledge, state),
        cautions=tuple(
            Line(f"{knowledge.cautions[name].level}", str(knowledge.cautions[name].says))
            for name in dict.fromkeys((*conclusions.cautions, *_of_the_repairs(knowledge, state)))
        ),
        holds=tuple(hold_line(knowledge, conclusions, name) for name in conclusions.holds),
        proved=proved(state),
        causes=_causes(examined, state),
        pairs=tuple(
            Line(" and ".join(str(knowledge.causes[c].name) for c in pair.causes), percent(pair.probability))
            for pair in examined.standing.pairs[:2]
            if pair.probability >= 0.05
        ),
        other=examined.standing.other,
        concluded=tuple(
            Line(str(knowledge.conditions[name].name), str(knowledge.rules[concluded.rules[0]].because))
            for name, concluded in conclusions.conditions.items()
            if not knowledge.conditions[name].unsaid
        ),
        findings=_findings(knowledge, state),
        checks=tuple(str(knowledge.checks[name].name) for name in state.checks if name in knowledge.checks),
        bench=bench_lines(state),
        recordings=tuple(HeardLine(kept.name, kept.said, chart(kept)) for kept in state.recordings),
        done=_done(knowledge, state, conclusions),
        needles=needles_of(knowledge, state, conclusions),
        set_up_in=state.set_up_in,
        set_up=tuple(
            Line(str(step.name), STEP_SAYS[state.steps[str(step.id)].outcome])
            for step in in_order(knowledge)
            if step.id in state.steps
        ),
        proof=tuple(repair.proof for repair in state.repairs if repair.proof),
        still_open=_still_open(knowledge, state, examined),
        notes=tuple(Line(when(at), text) for at, text in state.notes),
        packs=tuple(Line(str(pack.name), f"{pack.id} {pack.version}") for pack in knowledge.packs),
        program=program,
        club=_club(examined),
    )


def _of_the_repairs(knowledge: Knowledge, state: CaseState) -> tuple[str, ...]:
    """The cautions that go with what was done."""
    done = [repair.cause for repair in state.repairs if repair.result not in NOTHING_DONE]
    worked_on = (knowledge.causes[cause] for cause in (*done, state.to_retest) if cause in knowledge.causes)
    return tuple(str(name) for cause in worked_on for name in cause.fix.cautions)


def bench_lines(state: CaseState) -> tuple[BenchLine, ...]:
    """Gather what the calculators said in this case."""
    return tuple(
        BenchLine(
            reckoned.title,
            when(reckoned.at),
            tuple(f"{name.replace('-', ' ')} {value}" for name, value in reckoned.inputs.items()),
            reckoned.results,
            reckoned.says,
        )
        for reckoned in state.bench
    )


def for_the_workshop(report: FaultReport, knowledge: Knowledge, state: CaseState) -> FaultReport:
    """The same report without personal data: nothing that a person typed in their own words, and no name of a file.

    What it was is kept where the rules know it; a proof is kept where it is the rules' own.
    """
    return replace(
        report,
        words=(),
        notes=(),
        still_open=tuple(point for point in report.still_open if not point.startswith(ALSO_TOLD)),
        proof=tuple(says for says in report.proof if is_of_the_rules(says, knowledge)),
        outcome=report.outcome
        if all(cause in knowledge.causes for cause in state.closed_with)
        else _found("Cause found; not in these rules.", state),
        bench=without_files(report.bench),
        causes=tuple(
            replace(one, trail=tuple(replace(line, name=_unnamed(line.name, report.recordings)) for line in one.trail))
            for one in report.causes
        ),
        findings=tuple(replace(line, says=_unnamed(line.says, report.recordings)) for line in report.findings),
        recordings=tuple(
            replace(one, name=_unnamed(one.name, report.recordings), chart=replace(one.chart, title="Speed of the engine"))
            for one in report.recordings
        ),
    )


def is_of_the_rules(proof: str, knowledge: Knowledge) -> bool:
    """True if every word of it stands in the rules, but for how long it ran: nobody typed it."""
    proof = _RAN.sub("", proof)
    named = [retest for retest in knowledge.retests.values() if retest.name in proof]
    return proof == proved_by(named) or any(proof == cause.proof for cause in knowledge.causes.values())


def _unnamed(says: str, recordings: Sequence[HeardLine]) -> str:
    """The same with every recording called by its number."""
    for number, one in enumerate(recordings, 1):
        says = says.replace(one.name, f"recording {number}")
    return says


def without_files(bench: Sequence[BenchLine]) -> tuple[BenchLine, ...]:
    """The same without the inputs that name a file."""
    return tuple(replace(one, inputs=tuple(said for said in one.inputs if not _names_a_file(said))) for one in bench)


def _names_a_file(said: str) -> bool:
    return bool(re.search(r"[/\\]|\.\w{2,4}$", said))


def _club(examined: Examined) -> tuple[str, ...]:
    """What the club's own confirmed cases added to the causes shown, and what its words mean."""
    learned = examined.learned
    if learned is None:
        return ()
    cases = f"{learned.cases} confirmed {'case' if learned.cases == 1 else 'cases'}"
    lines = [f"{cases} of this club moved the odds above from what the rules say (--no-book leaves them out)."]
    for ranked in examined.standing.causes[:MOST_CAUSES]:
        seen, here = learned.seen.get(ranked.cause, 0), learned.seen_here.get(ranked.cause, 0)
        if seen:
            on_this = f", {count_words(here)} on this machine" if here else ""
            name = examined.knowledge.causes[ranked.cause].name
            lines.append(f"{name}: seen {count_words(seen)} in this club{on_this}; odds {times(ranked.learned_decibels)}.")
    moved = [
        f"'{word.replace('-', ' ')}' {percent(share)} (written {percent(FREQUENCY[word])})"
        for word, share in learned.words.items()
        if abs(share - FREQUENCY[word]) >= WORTH_SAYING
    ]
    if moved:
        lines.append(f"What the words of the rules mean here: {', '.join(moved)}.")
    return tuple(lines)


def proved(state: CaseState) -> bool:
    """True only if the case was closed with a cause whose repair was retested and ended the fault."""
    if state.closing is None or state.closing.how != "found":
        return False
    return any(repair.result == "gone" and repair.cause in state.closing.causes for repair in state.repairs)


def when(at: str) -> str:
    return at[:16].replace("T", " ")


def answer_of(knowledge: Knowledge, state: CaseState, name: str) -> str:
    given = state.findings.get(name)
    if given is None or name not in knowledge.findings or given.answer not in knowledge.findings[name].answers:
        return ""
    say = knowledge.findings[name].answers[given.answer].say
    return f"{given.reading} ({say})" if given.reading else str(say)


def _cause_name(knowledge: Knowledge, cause: str) -> str:
    return str(knowledge.causes[cause].name) if cause in knowledge.causes else f"{cause} (not in these rules)"


def _outcome(knowledge: Knowledge, state: CaseState) -> str:
    if state.closing is None:
        return "Still open."
    names = " and also: ".join(_cause_name(knowledge, cause) for cause in state.closing.causes)
    match state.closing.how:
        case "found":
            return _found(f"Cause found: {names}.", state)
        case "normal":
            return f"{names}."
        case _:
            return "Undecided. Do not fly it until the cause is known."


def _found(says: str, state: CaseState) -> str:
    return says if proved(state) else f"{says} {NOT_PROVED}"


def _explains(knowledge: Knowledge, state: CaseState) -> tuple[Line, ...]:
    return tuple(
        Line(str(knowledge.causes[cause].explains), str(knowledge.causes[cause].harm))
        for cause in state.closed_with
        if cause in knowledge.causes
    )


def hold_line(knowledge: Knowledge, conclusions: Conclusions, name: str) -> Line:
    untils = [knowledge.rules[rule].until for rule in conclusions.holds[name]]
    return Line(str(knowledge.holds[name].name), " ".join(dict.fromkeys(untils)))


def _causes(examined: Examined, state: CaseState) -> tuple[CauseLine, ...]:
    """The causes that were put right, as they stood before; the likeliest of the others, and what the case was closed
    with; last what was done for nothing."""
    results = {done.cause: done.result for done in state.repairs if done.result not in NOTHING_DONE}
    if state.to_retest:
        results[state.to_retest] = ""
    repaired = [cause for cause in results if cause in examined.knowledge.causes and cause in state.begun]
    others = [ranked for ranked in examined.standing.causes if ranked.cause not in repaired]
    shown = [ranked for place, ranked in enumerate(others) if place < MOST_CAUSES or ranked.cause in state.closed_with]
    lines = {cause: _before_repair(examined, state, cause, results[cause]) for cause in repaired[-MOST_CAUSES:]}
    return (
        *(line for cause, line in lines.items() if results[cause] != "same"),
        *(_cause(examined, state, ranked) for ranked in shown),
        *(line for cause, line in lines.items() if results[cause] == "same"),
    )


def _before_repair(examined: Examined, state: CaseState, cause: str, result: str) -> CauseLine:
    """A cause as it stood when its repair was begun, with what has been answered anew since beside what was found."""
    number = state.begun[cause]
    before = replace(
        state,
        findings=state.known_before(number),
        repairs=tuple(done for done in state.repairs if state.begun.get(done.cause, number) < number),
    )
    then = examine(examined.knowledge, before, examined.learned)
    ranked = then.standing.of(cause)
    if ranked is None:
        return CauseLine(_cause_name(examined.knowledge, cause), 0.0, (), PUT_RIGHT[result])
    said = EXPLAINED if _is_explained(examined.knowledge, cause, result) else PUT_RIGHT[result]
    return replace(_cause(then, before, ranked, state), repaired=said)


def _cause(examined: Examined, state: CaseState, ranked: RankedCause, since: CaseState | None = None) -> CauseLine:
    """A cause and its trail in a state; where the case has gone on `since`, with what is answered now."""
    knowledge = examined.knowledge
    trail = []
    for weight in examined.standing.trail(ranked.cause)[:MOST_REASONS]:
        factor = 10 ** (abs(weight.decibels) / 10)
        if factor < 1.1:
            continue
        parts = [
            str(knowledge.conditions[name].name)
            if name in knowledge.conditions
            else f"{knowledge.findings[name].ask} {_found_and_now(knowledge, state, since or state, name)}"
            for name in weight.of
        ]
        trail.append(Line("; ".join(parts), f"{'for' if weight.decibels > 0 else 'against'}, {factor:.1f} times"))
    return CauseLine(str(knowledge.causes[ranked.cause].name), ranked.probability, tuple(trail))


def _findings(knowledge: Knowledge, state: CaseState) -> tuple[Line, ...]:
    """Every question that was answered, with what was found before a repair where that is no longer the answer."""
    befores = [replace(state, findings=known) for known in state.known_before_repairs]
    answered = {finding for _, finding in state.answered}
    lines = []
    for name in dict.fromkeys(one.finding for one in state.told if one.finding in knowledge.findings):
        now = answer_of(knowledge, state, name)
        was = [before for before in befores if answer_of(knowledge, before, name) not in ("", now)]
        if was:
            lines.append(Line(str(knowledge.findings[name].ask), _found_and_now(knowledge, was[-1], state, name)))
        elif now and name in answered:
            lines.append(Line(str(knowledge.findings[name].ask), now))
    return tuple(lines)


def _found_and_now(knowledge: Knowledge, before: CaseState, since: CaseState, name: str) -> str:
    """What was found before a repair, and what is answered now where that is something else."""
    found, now = answer_of(knowledge, before, name), answer_of(knowledge, since, name)
    if found == now:
        return found
    return f"{found} (found before the repair; {f'now: {now}' if now else 'not looked at since'})"


def _done(knowledge: Knowledge, state: CaseState, conclusions: Conclusions) -> tuple[DoneLine, ...]:
    """Every repair and what became of it, the last of them perhaps done and not proved. What was put aside and taken up
    again is told once."""
    lines = [
        DoneLine(
            _cause_name(knowledge, repair.cause),
            f"{_became(knowledge, repair)} ({when(repair.at)})",
            _steps(knowledge, repair.cause, conclusions) if repair.result not in NOTHING_DONE else (),
        )
        for place, repair in enumerate(state.repairs)
        if repair.result != "not-done" or repair.cause not in [later.cause for later in state.repairs[place + 1 :]]
    ]
    if state.to_retest:
        passed = "; ".join(str(knowledge.retests[name].name) for name in state.passed if name in knowledge.retests)
        so_far = f"; gone so far in: {passed}" if passed else ""
        says = f"done, and not proved by a retest{so_far}"
        lines.append(
            DoneLine(_cause_name(knowledge, state.to_retest), says, _steps(knowledge, state.to_retest, conclusions))
        )
    return tuple(lines)


def _became(knowledge: Knowledge, repair: RepairDone) -> str:
    return EXPLAINED if _is_explained(knowledge, repair.cause, repair.result) else RESULTS[repair.result]


def _is_explained(knowledge: Knowledge, cause: str, result: str) -> bool:
    """True for what owners take for a fault and is none: nothing was put right."""
    return result == "gone" and cause in knowledge.causes and knowledge.causes[cause].family == NORMAL


def _steps(knowledge: Knowledge, cause: str, conclusions: Conclusions) -> tuple[str, ...]:
    steps = knowledge.causes[cause].fix.steps if cause in knowledge.causes else ()
    return tuple(str(step.do) for step in steps if not conclusions.held(step.under))


def needles_of(knowledge: Knowledge, state: CaseState, conclusions: Conclusions) -> Needles:
    """Gather what there is to say of the needles. Nothing that a hold forbids is among it."""
    lines = _needle_lines(knowledge, state, not conclusions.held(NEEDLE_HOLDS))
    if not lines:
        return Needles((), (), ())
    says = []
    kind = carburettor_of(knowledge, state.answers)
    if kind is not None:
        says.append(f"Carburettor: {kind.name}. {kind.says}")
    move = next_move(knowledge, conclusions, trusted(knowledge, state)) if state.closing is None else None
    if move is not None:
        says.append(f"{move.because} {'What would follow is on hold: see above.' if move.held else in_words(move)}")
    plot = draw(history(state.needles), PLOT_COLUMNS, PLOT_ROWS) if turned(state.needles) else ()
    return Needles(lines, tuple(says), tuple(plot))


def _needle_lines(knowledge: Knowledge, state: CaseState, may_close: bool) -> tuple[NeedleLine, ...]:
    unknown = places_unknown(knowledge, state)
    lines = []
    for needle in NEEDLES:
        place = stands(state.needles, needle)
        if place is None:
            continue
        moves = tuple(Line(when(entry.at), told(entry)) for entry in state.needles if entry.needle == needle)
        now, back = turns(place.now), place.way_back() if place.moved_by <= 0 or may_close else "on hold: see above"
        baseline = turns(place.baseline)
        if needle in baseless(state):
            baseline, back = "not known", "to be set up anew"
        if needle in unknown:
            now, back = "not known", "not counted since it was turned"
        first = first_count(state.needles, needle)
        found = "not counted" if first is None else turns(first)
        lines.append(NeedleLine(needle, found, baseline, now, back, moves))
    return tuple(lines)


def _still_open(knowledge: Knowledge, state: CaseState, examined: Examined) -> tuple[str, ...]:
    open_points = [
        f"Not known: {knowledge.findings[name].ask}"
        for name in sorted(state.unknown - told_by_ledger(state.needles).keys())
        if name in knowledge.findings and name not in examined.conclusions.skips
    ]
    if state.closing is not None:
        open_points += stands_off(knowledge, state, examined.conclusions)
        open_points += not_found_yet(knowledge, state)
    open_points += [f"{ALSO_TOLD} {words}" for words in state.passed_over]
    open_points += _to_prove(knowledge, state, examined.conclusions)
    aside = sorted(state.put_aside.difference(state.closed_with))
    open_points += [f"Put aside: {_cause_name(knowledge, cause)}" for cause in aside]
    open_points += [f"Done and not proved by a retest: {_cause_name(knowledge, one)}" for one in sorted(state.unproved)]
    if state.closing is None or state.closing.how == "undecided":
        questions = next_questions(knowledge, examined.conclusions, examined.standing, examined.progress, most=3)
        open_points += [f"Would tell most next: {knowledge.findings[name].ask}" for name, _ in questions]
    return tuple(open_points)


def not_found_yet(knowledge: Knowledge, state: CaseState) -> tuple[str, ...]:
    """Return what brought on the fault that was put right, where nothing else was found beside it: it comes again."""
    if state.closing is None or state.closing.how != "found" or len(state.closing.causes) != 1:
        return ()
    cause = knowledge.causes.get(state.closing.causes[0])
    return (f"Not found yet is {cause.comes_of}",) if cause is not None and cause.comes_of else ()


def _to_prove(knowledge: Knowledge, state: CaseState, conclusions: Conclusions) -> list[str]:
    """The retests that are still to be passed by what was done, or named as the cause, and not proved."""
    named = state.closing.causes if state.closing and state.closing.how == "found" and not proved(state) else ()
    open_points = []
    for cause in dict.fromkeys((state.to_retest, *named)):
        if cause in knowledge.causes:
            passed = state.passed if cause == state.to_retest else ()
            retests = retests_of(knowledge, conclusions, knowledge.causes[cause])
            names = "; ".join(str(retest.name) for retest in retests if retest.id not in passed)
            open_points.append(f"Not proved: {_cause_name(knowledge, cause)}. Retests still to be passed: {names}.")
    return open_points
