"""plan(): the next question, check or repair by expected minutes saved, the safe order first.

Repairs go in order of probability over minutes. A question is asked only while it is expected to save more repair
minutes than it costs, and among those the one with most information per minute. After a failed repair the
questions resume. DEVELOPERS.md has what this was measured to save.
The short look that settles a likely repair comes before any question. While no repair is likely enough the most telling
question is asked even so, up to a bound. An unlikely repair is begun only when its chance of sparing the call for help is
worth its minutes. What keeps a likely repair on hold is asked once more, and put right where it was found bad.
"""

from __future__ import annotations

from collections.abc import Iterable

from ..knowledge.model import NORMAL, Answered, Finding, Knowledge, leaves
from ..reasoning.doubt import WORTH_ASKING_AGAIN, doubtful
from ..reasoning.rank import RankedCause, Standing
from ..reasoning.reason import Conclusions
from .lifting import way_to_lift
from .mending import seen_bad
from .steps import (
    Ask,
    AskAgain,
    DoCheck,
    Next,
    Progress,
    Repair,
    Undecided,
    askable,
    can_be_seen,
    in_the_way,
    open_questions,
    question,
    standing_of,
)
from .waiting import makes_it_run, what_lifts
from .worth import CALL_FOR_HELP, LIKELY_ENOUGH, PAYS, Worth, minutes_of, repair_minutes, worths

TELLS_NOTHING = 1e-6
"""Information a minute below which a question is not asked at all."""

SOONER = 2.0
"""What a rule that puts a question sooner multiplies its information by. It changes the order, never the stop."""

QUICK = 5.0
"""Minutes of a check that can be offered to someone who has run out of answers."""

SURE_ENOUGH = 0.8
SHORT_LOOK = 0.5
"""Below this probability a repair waits for the check that settles its cause, if that takes at most this share of the
repair's minutes. By minutes alone it seldom pays; but a wrong repair also opens what was tight and costs the owner's
trust. Measured on 150 drawn cases: 4 in 100 more right at the first repair, a fifth fewer repairs, one question more."""

SOUND_LOOK = 10.0
"""Minutes of the look that is taken before an engine is called sound, whatever its odds: to explain costs nothing and needs
no look, and yet a new engine set too lean is told the same words as one set rich."""

QUICK_LOOK = 0.25
"""Share of a repair's minutes for which its settling look is taken however sure it seems: nobody strips a clutch for an
hour and a half without two minutes at its bell, or fits a coil without ten at the hot spark."""

SOON_MENDED = 15.0
"""Minutes of a repair that is not put off by questions once its part was seen bad and it is the likely cause: loose bolts
are tightened, not talked about."""

FOUND_LIKELY = 0.25
"""Probability from which a part that was found bad and is soon mended is put right before anything else is asked."""

MOST_AGAIN = 4
"""Answers that are doubted in one case; more would be nagging."""

AT_A_LOSS = 0.05
"""As WORTH_ASKING_AGAIN, where nothing is left to ask or to put right: one wrong answer may be why. Measured on 240 drawn
cases: two in a hundred more cured, for less than half a minute a case."""

PATIENCE = 15
MOST_ANSWERS = 40
"""Past so many questions not known, or so many answers, nobody wants to be asked more for want of a likely repair."""

FRESH = 15
PROMISE = 0.9
"""The longer it has gone on, the more a question asked for want of a likely repair must promise: after so many answers
anything, after the most answers this share of its minutes. Measured on 240 drawn cases: 10 minutes a case less than
without it, 5 less than with 0.3, and one case in a hundred more that is taken home; first and first three as before."""

LEAST_CURE = 0.02
"""A repair less likely than this to end the fault is not put forward."""

SPOKEN_FOR = 2.0
"""Decibels of evidence a cause needs before its repair is put forward: no cause is claimed on its prior alone."""


def plan(knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress) -> Next:
    """Return what to do next."""
    must = compelled(knowledge, conclusions, progress) or makes_it_run(knowledge, conclusions, standing, progress)
    if must:
        return must
    work = work_next(knowledge, conclusions, standing, progress)
    # What would be looked at before the likeliest repair anyway is looked at before anything else is asked.
    if isinstance(work, Repair) and work.probability >= LIKELY_ENOUGH:
        look = _settling_look(knowledge, conclusions, progress, work)
        if look:
            return look
        sure = work.probability >= SURE_ENOUGH and seen_bad(knowledge, work.cause, conclusions.answers)
        if sure or _found_and_soon_mended(knowledge, conclusions, work.cause):
            return work
    found = _found_and_quite_likely(knowledge, conclusions, standing, progress)
    if found:
        return found
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
    """Return what may lift the hold on a repair that is likelier than any other; when nothing does, or none is on hold, the
    repair with most chance a minute.

    pays: what an unlikely repair must promise a minute; 0 begins every one that can cure at all.
    """
    repair, held = _repairs(knowledge, conclusions, standing, progress, pays)
    if held and (repair is None or standing_of(standing, held[0]) > repair.probability):
        lifts = what_lifts(knowledge, conclusions, standing, progress, held[0])
        if lifts:
            return lifts
    return repair or Undecided(held, _repairs(knowledge, conclusions, standing, progress, 0.0)[0])


def before_work(
    knowledge: Knowledge,
    conclusions: Conclusions,
    standing: Standing,
    progress: Progress,
    work: Ask | DoCheck | AskAgain | Repair | Undecided,
) -> Next:
    """Return what comes before a repair, if anything does: the look that settles it, or an answer to be given again. What
    was found bad, and looked at twice, is put right whatever it is the cause of. Before it is given up, too, an answer is
    given again."""
    match work:
        case Repair(waits=""):
            look = _settling_look(knowledge, conclusions, progress, work)
            return look or _doubted(knowledge, conclusions, standing, progress, WORTH_ASKING_AGAIN) or work
        case Undecided(held=()):
            return _doubted(knowledge, conclusions, standing, progress, AT_A_LOSS) or work
    return work


def _doubted(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress, least: float
) -> AskAgain | None:
    """The answer most worth giving again, until so many were that more would be nagging."""
    if len(progress.asked_again) >= MOST_AGAIN:
        return None
    doubt = doubtful(conclusions, standing, progress.asked_again, least)
    return AskAgain(doubt.finding, chance=doubt.chance) if doubt else None


def _settling_look(
    knowledge: Knowledge, conclusions: Conclusions, progress: Progress, work: Repair
) -> Ask | DoCheck | AskAgain | None:
    """The check that settles this cause, while it is open and, as long as the cause is in doubt, far shorter than the
    repair; a look that is next to nothing beside it is taken in any case. One that could not be taken is asked for once
    more: no coil is bought whose spark nobody has seen."""
    cause = knowledge.causes[work.cause]
    check = knowledge.checks[cause.settled_by]
    share = QUICK_LOOK if work.probability >= SURE_ENOUGH else SHORT_LOOK
    longest = SOUND_LOOK if cause.family == NORMAL else share * cause.fix.minutes
    if check.minutes > longest:
        return None
    finds = [knowledge.findings[name] for name in check.finds if name in cause.shows]
    for finding in finds:
        if askable(knowledge, conclusions, progress, finding):
            return question(knowledge, conclusions, progress, finding)
    for finding in finds:
        passed = finding.id in progress.unknown - progress.asked_again
        if passed and can_be_seen(knowledge, conclusions, finding):
            return AskAgain(str(finding.id), waits=work.cause)
    return None


def _found_and_soon_mended(knowledge: Knowledge, conclusions: Conclusions, cause: str) -> bool:
    """True if what this repair puts right was seen, and the repair is short."""
    short = knowledge.causes[cause].fix.minutes <= SOON_MENDED
    return short and bool(seen_bad(knowledge, cause, conclusions.answers))


def _found_and_quite_likely(
    knowledge: Knowledge, conclusions: Conclusions, standing: Standing, progress: Progress
) -> Repair | None:
    """The likeliest cause whose part was found bad and is soon mended, if it is likely enough not to ask further: nobody
    strips a carburettor over loose bolts."""
    for ranked in standing.causes:
        if ranked.probability < FOUND_LIKELY:
            return None
        if (
            ranked.cause not in progress.put_aside | progress.repairs.done
            and _found_and_soon_mended(knowledge, conclusions, ranked.cause)
            and not in_the_way(conclusions, knowledge.causes[ranked.cause].fix)
        ):
            return Repair(ranked.cause, ranked.probability)
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
        if any(conclusions.held(step.under) for step in knowledge.checks[name].steps):
            continue
        if knowledge.checks[name].minutes <= QUICK and name not in looks:
            finds = tuple(str(f) for f in knowledge.checks[name].finds if f not in conclusions.answers)
            looks[str(name)] = DoCheck(str(name), finds, worth=worth)
    return tuple(looks.values())[:most]


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
        if in_the_way(conclusions, knowledge.causes[ranked.cause].fix):
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
