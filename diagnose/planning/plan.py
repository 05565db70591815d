"""plan(): the next question, check or repair by expected minutes saved, the safe order first.

Repairs go in order of probability over minutes. A question is asked only while it is expected to save more repair
minutes than it costs, and among those the one with most information per minute. After a failed repair the
questions resume. Measured on synthetic bases: 44 minutes a case, against 76 for asking until 90 % sure.
The short look that settles a likely repair comes before any question. While no repair is likely enough the most telling
question is asked even so, up to a bound. An unlikely repair is begun only when its chance of sparing the call for help is
worth its minutes. What keeps a likely repair on hold is asked once more, and put right where it was found bad.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ..knowledge.model import Answered, Finding, Fix, Knowledge, leaves
from ..knowledge.source import Text
from ..reasoning.doubt import doubtful
from ..reasoning.rank import RankedCause, Repairs, Standing
from ..reasoning.reason import Conclusions, reason
from .lifting import behind, way_to_lift
from .mending import mending
from .worth import CALL_FOR_HELP, Worth, kin_of, minutes_of, repair_minutes, worths

TELLS_NOTHING = 1e-6
"""Information a minute below which a question is not asked at all."""

SOONER = 2.0
"""What a rule that puts a question sooner multiplies its information by. It changes the order, never the stop."""

QUICK = 5.0
"""Minutes of a check that can be offered to someone who has run out of answers."""

LIKELY_ENOUGH = 0.45
"""A repair less likely than this waits while there is something telling to ask. One answer alone often changes no
decision, so it seems not to pay, and yet the next few together find the cause."""

SURE_ENOUGH = 0.8
SHORT_LOOK = 0.5
"""Below this probability a repair waits for the check that settles its cause, if that takes at most this share of the
repair's minutes. By minutes alone it seldom pays; but a wrong repair also opens what was tight and costs the owner's
trust. Measured on 150 drawn cases: 4 in 100 more right at the first repair, a fifth fewer repairs, one question more."""

MOST_AGAIN = 4
"""Answers that are doubted in one case; more would be nagging."""

MOST_IN_THE_WAY = 3
"""Answers that are asked again for one repair on hold; where more stand against it, they are hardly all mistaken."""

PATIENCE = 15
MOST_ANSWERS = 40
"""Past so many questions not known, or so many answers, nobody wants to be asked more for want of a likely repair."""

FRESH = 15
PROMISE = 0.3
"""The longer it has gone on, the more a question asked for want of a likely repair must promise: after so many answers
anything, after the most answers this share of its minutes. Measured on 240 drawn cases: 5 minutes a case less, and half a
case in a hundred less with its cause among the first three."""

LEAST_CURE = 0.02
"""A repair less likely than this to end the fault is not put forward."""

PAYS = 1.0
"""What an unlikely repair must promise for each of its minutes, in minutes of help spared, to be begun."""

SPOKEN_FOR = 2.0
"""Decibels of evidence a cause needs before its repair is put forward: no cause is claimed on its prior alone."""


@dataclass(frozen=True, slots=True)
class Progress:
    """What the case has been through: unanswerable questions, answers asked twice, repairs put aside or done."""

    unknown: frozenset[str] = frozenset()
    asked_again: frozenset[str] = frozenset()
    put_aside: frozenset[str] = frozenset()
    repairs: Repairs = Repairs()


@dataclass(frozen=True, slots=True)
class Ask:
    """Ask this question. `rules` put it first; else `worth` says what it is expected to save."""

    finding: str
    rules: tuple[str, ...] = ()
    worth: Worth | None = None


@dataclass(frozen=True, slots=True)
class DoCheck:
    """Do this check and answer what it finds."""

    check: str
    finds: tuple[str, ...]
    rules: tuple[str, ...] = ()
    worth: Worth | None = None


@dataclass(frozen=True, slots=True)
class AskAgain:
    """This answer fits badly: by a rule that names the clash, or by its chance of being wrong. Or the repair of the cause
    `waits` is on hold by these rules, and this answer, or that it was not known, keeps it there."""

    finding: str
    rules: tuple[str, ...] = ()
    chance: float = 0.0
    waits: str = ""


@dataclass(frozen=True, slots=True)
class Repair:
    """Put this cause right and retest. It may be unlikely, and yet was found so, and keeps the repair of the cause `waits`
    on hold by these rules."""

    cause: str
    probability: float
    rules: tuple[str, ...] = ()
    waits: str = ""


@dataclass(frozen=True, slots=True)
class Undecided:
    """Nothing left is worth asking or trying. `held` are causes whose fix a hold forbids; `even_so` is the repair with
    most chance a minute, not worth its minutes, for someone who would rather try than take it home."""

    held: tuple[str, ...] = ()
    even_so: Repair | None = None


Next = Ask | DoCheck | AskAgain | Repair | Undecided


def plan(knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress) -> Next:
    """Return what to do next."""
    must = compelled(knowledge, conclusions, progress)
    if must:
        return must
    work = work_next(knowledge, conclusions, standing, progress)
    # What would be looked at before the likeliest repair anyway is looked at before anything else is asked.
    if isinstance(work, Repair) and work.probability >= LIKELY_ENOUGH:
        look = _settling_look(knowledge, conclusions, progress, work)
        if look:
            return look
    telling = telling_questions(knowledge, conclusions, standing, progress)
    for finding, worth in telling:
        if worth.saves > worth.minutes:
            return question(knowledge, conclusions, progress, finding, _sooner(conclusions, finding), worth)
    answers = len(conclusions.answers)
    go_on = patient(answers, progress) and promises_enough(answers, (worth for _, worth in telling))
    if go_on and _nothing_likely(standing, work):
        finding, worth = telling[0]
        return question(knowledge, conclusions, progress, finding, _sooner(conclusions, finding), worth)
    return before_work(knowledge, conclusions, standing, progress, work)


def compelled(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> Ask | DoCheck | AskAgain | None:
    """Return what comes before any weighing: an answer that clashes with another, or what a rule puts first."""
    clash = _clash(knowledge, conclusions, progress)
    return clash or _first(knowledge, conclusions, progress)


def work_next(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, pays: float = PAYS
) -> Ask | DoCheck | AskAgain | Repair | Undecided:
    """Return the repair with most chance a minute, or, when a hold forbids a likelier one, what may lift the hold.

    pays: what an unlikely repair must promise a minute; 0 begins every one that can cure at all.
    """
    repair, held = _repairs(knowledge, conclusions, standing, progress, pays)
    if held and (repair is None or standing_of(standing, held[0]) > repair.probability):
        return _lifting(knowledge, conclusions, standing, progress, held[0]) or Undecided(held)
    return repair or Undecided(held, _repairs(knowledge, conclusions, standing, progress, 0.0)[0])


def _lifting(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, cause: str
) -> Ask | DoCheck | AskAgain | Repair | None:
    """What may lift the holds on a repair: an open question, or else, for a likely cause, an answer to be given anew, or a
    part to be put right that was found bad."""
    holds = _in_the_way(conclusions, knowledge.causes[cause].fix)
    holding = _holding(conclusions, holds)
    to_ask = {str(f.id): minutes_of(knowledge, f) for f in open_questions(knowledge, conclusions, progress)}
    for name in way_to_lift(knowledge, conclusions, holds, to_ask):
        return question(knowledge, conclusions, progress, knowledge.findings[name], holding, None)
    if standing_of(standing, cause) < LIKELY_ENOUGH:
        return None
    again = {
        str(finding.id): minutes_of(knowledge, finding)
        for finding in knowledge.findings.values()
        if (finding.id in conclusions.answers or finding.id in progress.unknown)
        and finding.id not in progress.asked_again
        and can_be_seen(knowledge, conclusions, finding)
    }
    found = way_to_lift(knowledge, conclusions, holds, to_ask | again)
    if len([name for name in found if name in conclusions.answers]) > MOST_IN_THE_WAY:
        return None
    for name in found:
        if name in again:
            return AskAgain(name, holding, waits=cause)
        return question(knowledge, conclusions, progress, knowledge.findings[name], holding, None)
    return _mending(knowledge, conclusions, standing, progress, cause, to_ask | again)


def _mending(
    knowledge: Knowledge,
    conclusions: Conclusions,
    standing: Standing,
    progress: Progress,
    waiting: str,
    minutes: Mapping[str, float],
) -> AskAgain | Repair | None:
    """The shortest repair of a part that was found bad, if a way to the waiting one is open once all such are put right.
    What was found is looked at once more before. minutes: what each question costs that may be asked, or asked again."""
    bad = _to_mend(knowledge, conclusions, standing, progress, waiting)
    fix = knowledge.causes[waiting].fix
    holds = _in_the_way(conclusions, fix)
    mended = reason(knowledge, {name: answer for name, answer in conclusions.answers.items() if name not in bad})
    looks = {name: minutes_of(knowledge, knowledge.findings[name]) for name in bad}
    left = _in_the_way(mended, fix)
    found = way_to_lift(knowledge, mended, left, {**looks, **minutes})
    if left and not found:
        return None
    holding = _holding(conclusions, holds)
    in_the_way = {name for hold in holds for name in behind(knowledge, conclusions, hold)} | set(found)
    to_do = sorted((knowledge.causes[bad[name]].fix.minutes, name) for name in bad if name in in_the_way)
    for _, name in to_do:
        if name not in progress.asked_again:
            return AskAgain(name, holding, waits=waiting)
        return Repair(bad[name], standing_of(standing, bad[name]), holding, waits=waiting)
    return None


def _to_mend(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, waiting: str
) -> dict[str, str]:
    """Finding -> the likeliest cause that puts its answer right, where that is not done yet, not on hold itself, and worth
    its minutes for what waits."""
    worth_it = standing_of(standing, waiting) * CALL_FOR_HELP / PAYS
    bad = {}
    for name, answer in conclusions.answers.items():
        open_causes = [
            cause
            for cause in mending(knowledge, name, answer)
            if cause != waiting
            and standing.of(cause) is not None
            and cause not in progress.repairs.done | progress.put_aside
            and not _in_the_way(conclusions, knowledge.causes[cause].fix)
            and knowledge.causes[cause].fix.minutes <= worth_it
        ]
        if open_causes:
            bad[name] = max(open_causes, key=lambda cause: standing_of(standing, cause))
    return bad


def before_work(
    knowledge: Knowledge,
    conclusions: Conclusions,
    standing: Standing,
    progress: Progress,
    work: Ask | DoCheck | AskAgain | Repair | Undecided,
) -> Next:
    """Return what comes before a repair, if anything does: the look that settles it, or an answer to be given again. What
    was found bad, and looked at twice, is put right whatever it is the cause of."""
    if not isinstance(work, Repair) or work.waits:
        return work
    look = _settling_look(knowledge, conclusions, progress, work)
    if look or len(progress.asked_again) >= MOST_AGAIN:
        return look or work
    doubt = doubtful(knowledge, conclusions, standing, progress.asked_again)
    return AskAgain(doubt.finding, chance=doubt.chance) if doubt else work


def _settling_look(
    knowledge: Knowledge, conclusions: Conclusions, progress: Progress, work: Repair
) -> Ask | DoCheck | None:
    """The check that settles this cause, while it is in doubt, open, and far shorter than the repair."""
    cause = knowledge.causes[work.cause]
    check = knowledge.checks[cause.settled_by]
    if work.probability >= SURE_ENOUGH or check.minutes > SHORT_LOOK * cause.fix.minutes:
        return None
    for finding in (knowledge.findings[name] for name in check.finds if name in cause.shows):
        if askable(knowledge, conclusions, progress, finding):
            return question(knowledge, conclusions, progress, finding)
    return None


def patient(answers: int, progress: Progress) -> bool:
    """True while somebody would still want to be asked for want of a likely repair. What helped gives new patience."""
    searches = 1 + len(progress.repairs.better)
    return len(progress.unknown) < PATIENCE * searches and answers < MOST_ANSWERS * searches


def promises_enough(answers: int, worths: Iterable[Worth]) -> bool:
    """True while a question promises what one may ask after so many answers."""
    gone_on = min(1.0, (answers - FRESH) / (MOST_ANSWERS - FRESH))
    return any(worth.saves > PROMISE * gone_on * worth.minutes for worth in worths)


def _nothing_likely(standing: Standing, work: Next) -> bool:
    """True when what would be put right, or waits for a hold, is hardly likelier than the next best."""
    match work:
        case Repair(cause, _, _, waits):
            return standing_of(standing, waits or cause) < LIKELY_ENOUGH
        case Undecided(held):
            return not held or standing_of(standing, held[0]) < LIKELY_ENOUGH
    return False


def open_questions(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> list[Finding]:
    """Return the findings that can be asked for now, in the order of the packs."""
    return [f for f in knowledge.findings.values() if askable(knowledge, conclusions, progress, f)]


def _holding(conclusions: Conclusions, holds: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(rule for hold in holds for rule in conclusions.holds[hold]))


def _in_the_way(conclusions: Conclusions, fix: Fix) -> tuple[str, ...]:
    """The holds that forbid the fix as a whole, or else all of its steps; a step held alone only waits."""
    as_a_whole = conclusions.held(fix.under)
    return as_a_whole or conclusions.held(tuple(hold for step in fix.steps for hold in step.under))


def standing_of(standing: Standing, cause: str) -> float:
    """Return the probability of a cause, 0 if the machine cannot have it."""
    ranked = standing.of(cause)
    return ranked.probability if ranked else 0.0


def one_more(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress
) -> Ask | DoCheck | None:
    """Return the most telling open question whether or not it pays, for someone who would rather ask than repair."""
    telling = telling_questions(knowledge, conclusions, standing, progress)
    return question(knowledge, conclusions, progress, telling[0][0], (), telling[0][1]) if telling else None


def next_questions(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, most: int = 5
) -> tuple[tuple[str, Worth], ...]:
    """Return the open questions that tell most a minute, best first, with what each costs and saves."""
    telling = telling_questions(knowledge, conclusions, standing, progress)
    return tuple((str(finding.id), worth) for finding, worth in telling[:most])


def still_to_prove(knowledge: Knowledge, conclusions: Conclusions, progress: Progress, hold: str) -> tuple[str, ...]:
    """Return the open questions that would lift a hold by proof; () when it does not stand or no answer can."""
    if hold not in conclusions.holds:
        return ()
    open_findings = open_questions(knowledge, conclusions, progress)
    minutes = {str(finding.id): minutes_of(knowledge, finding) for finding in open_findings}
    return way_to_lift(knowledge, conclusions, (hold,), minutes)


def safe_looks(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, most: int = 5
) -> tuple[DoCheck, ...]:
    """Return the quick checks on a stopped engine that are still open, the most telling a minute first."""
    looks: dict[str, DoCheck] = {}
    for finding, worth in next_questions(knowledge, conclusions, standing, progress, most=len(knowledge.findings)):
        name = knowledge.findings[finding].check
        if name is None or knowledge.checks[name].engine not in ("stopped", "cold"):
            continue
        if knowledge.checks[name].minutes <= QUICK and name not in looks:
            finds = tuple(str(f) for f in knowledge.checks[name].finds if f not in conclusions.answers)
            looks[str(name)] = DoCheck(str(name), finds, worth=worth)
    return tuple(looks.values())[:most]


def askable(knowledge: Knowledge, conclusions: Conclusions, progress: Progress, finding: Finding) -> bool:
    """True if this question is open: not answered, not known otherwise, not beyond the machine, not held."""
    name = finding.id
    if name in conclusions.answers or name in progress.unknown or name in conclusions.skips:
        return False
    if finding.check is not None and finding.check in conclusions.skips:
        return False
    return can_be_seen(knowledge, conclusions, finding) and not _said_otherwise(knowledge, conclusions, name)


def can_be_seen(knowledge: Knowledge, conclusions: Conclusions, finding: Finding) -> bool:
    """True if the machine can show this now and no hold forbids looking."""
    return conclusions.applies(needs_of(knowledge, finding)) and not conclusions.held(under_of(knowledge, finding))


def needs_of(knowledge: Knowledge, finding: Finding) -> tuple[Text, ...]:
    """Return what a machine must have and be able to do for this finding to be answered."""
    return finding.needs if finding.check is None else (*finding.needs, *knowledge.checks[finding.check].needs)


def under_of(knowledge: Knowledge, finding: Finding) -> tuple[Text, ...]:
    """Return the holds that forbid answering this finding: its own, and those of the check that answers it."""
    return finding.under if finding.check is None else (*finding.under, *knowledge.checks[finding.check].under)


def _said_otherwise(knowledge: Knowledge, conclusions: Conclusions, finding: str) -> bool:
    return any(
        kin.are == "same" and any(other in conclusions.answers for other in kin.of)
        for kin in kin_of(knowledge).get(finding, ())
    )


def _clash(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> AskAgain | None:
    """Clashing facts are certain: one of the answers is wrong. The first of them not yet asked again is asked."""
    for rule in conclusions.clashes:
        for leaf in leaves(knowledge.rules[rule].when):
            if isinstance(leaf, Answered) and leaf.holds(conclusions.answers) and leaf.finding not in progress.asked_again:
                return AskAgain(str(leaf.finding), rules=(rule,))
    return None


def _first(knowledge: Knowledge, conclusions: Conclusions, progress: Progress) -> Ask | DoCheck | None:
    for name, rules in conclusions.first.items():
        finds = knowledge.checks[name].finds if name in knowledge.checks else (name,)
        for one in finds:
            finding = knowledge.findings[one]
            if askable(knowledge, conclusions, progress, finding):
                return question(knowledge, conclusions, progress, finding, rules, None)
    return None


def question(
    knowledge: Knowledge,
    conclusions: Conclusions,
    progress: Progress,
    finding: Finding,
    rules: tuple[str, ...] = (),
    worth: Worth | None = None,
) -> Ask | DoCheck:
    """Return the asking for one finding: by itself, or with all that its check still has to find."""
    if finding.check is None:
        return Ask(str(finding.id), rules, worth)
    finds = (knowledge.findings[name] for name in knowledge.checks[finding.check].finds)
    still = tuple(str(one.id) for one in finds if askable(knowledge, conclusions, progress, one))
    return DoCheck(str(finding.check), still, rules, worth)


def telling_questions(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress
) -> list[tuple[Finding, Worth]]:
    """Return the open questions by what they serve a minute, most first, those that tell nothing left out."""
    open_findings = open_questions(knowledge, conclusions, progress)
    telling = []
    for finding, worth in zip(open_findings, worths(knowledge, conclusions, standing, open_findings), strict=True):
        if worth.tells_a_minute > TELLS_NOTHING:
            sooner = SOONER if _sooner(conclusions, finding) else 1.0
            telling.append((worth.serves_a_minute * sooner, finding, worth))
    telling.sort(key=lambda one: -one[0])
    return [(finding, worth) for _, finding, worth in telling]


def _sooner(conclusions: Conclusions, finding: Finding) -> tuple[str, ...]:
    """The rules that put this question, or the check that answers it, sooner."""
    return conclusions.sooner.get(finding.id, ()) or conclusions.sooner.get(finding.check or "", ())


def _repairs(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, pays: float
) -> tuple[Repair | None, tuple[str, ...]]:
    """The repair with most chance a minute, and the causes whose fix a hold forbids, likeliest first.

    A likely cause is named however long its repair takes: then it is a job for the workshop, and they know which.
    """
    minutes = repair_minutes(knowledge)
    chance = dict(zip(standing.tables.causes, map(float, standing.cures), strict=True))
    open_repairs: list[RankedCause] = []
    held: list[str] = []
    for ranked in standing.causes:
        if ranked.cause in progress.put_aside or chance[ranked.cause] < LEAST_CURE or not spoken_for(ranked):
            continue
        spared = chance[ranked.cause] * CALL_FOR_HELP
        if ranked.probability < LIKELY_ENOUGH and spared < pays * minutes[ranked.cause]:
            continue
        fix = knowledge.causes[ranked.cause].fix
        if conclusions.held(fix.under) or all(conclusions.held(step.under) for step in fix.steps):
            held.append(ranked.cause)
        else:
            open_repairs.append(ranked)
    if not open_repairs:
        return None, tuple(held)
    best = max(open_repairs, key=lambda ranked: chance[ranked.cause] / minutes[ranked.cause])
    return Repair(best.cause, best.probability), tuple(held)


def spoken_for(ranked: RankedCause) -> bool:
    """True if the answers speak for this cause: none is put forward on how common it is alone."""
    return ranked.told_decibels >= SPOKEN_FOR
