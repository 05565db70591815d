"""The standing as a plain document for programs. Its shape is described in DEVELOPERS.md and changes only with VERSION."""

from __future__ import annotations

from typing import Any

from ..planning.examine import Examined
from ..planning.plan import next_questions
from ..planning.steps import Ask, AskAgain, DoCheck, Repair, Undecided
from ..reasoning.rank import RankedCause

FORMAT = "diagnose-standing"
VERSION = 1


def documents(cases: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the whole document for these cases."""
    return {"format": FORMAT, "version": VERSION, "cases": cases}


def standing_document(title: str, examined: Examined) -> dict[str, Any]:
    """Return one case: causes with probabilities and evidence, conditions, cautions, holds, and what comes next."""
    knowledge, conclusions, standing = examined.knowledge, examined.conclusions, examined.standing
    learned = examined.learned
    taught = {} if learned is None else {"learned": {"cases": learned.cases, "words": dict(learned.words)}}
    return {
        "title": title,
        "packs": [{"pack": str(pack.id), "version": str(pack.version)} for pack in knowledge.packs],
        "findings": dict(conclusions.answers),
        "causes": [_cause(examined, ranked) for ranked in standing.causes],
        "pairs": [{"causes": list(pair.causes), "probability": pair.probability} for pair in standing.pairs],
        "other": standing.other,
        **taught,
        "conditions": [
            {
                "condition": concluded.condition,
                "name": str(knowledge.conditions[concluded.condition].name),
                "rules": list(concluded.rules),
                "rests_on": sorted(concluded.rests_on),
            }
            for concluded in conclusions.conditions.values()
        ],
        "cautions": [
            {
                "caution": name,
                "level": str(knowledge.cautions[name].level),
                "says": str(knowledge.cautions[name].says),
                "rules": list(rules),
            }
            for name, rules in conclusions.cautions.items()
        ],
        "holds": [
            {
                "hold": name,
                "name": str(knowledge.holds[name].name),
                "until": [knowledge.rules[rule].until for rule in rules],
                "rules": list(rules),
            }
            for name, rules in conclusions.holds.items()
        ],
        "clashes": [{"rule": rule, "says": knowledge.rules[rule].clash} for rule in conclusions.clashes],
        "next": _next(examined),
        "questions": [
            {
                "finding": finding,
                "ask": str(knowledge.findings[finding].ask),
                "check": str(knowledge.findings[finding].check) if knowledge.findings[finding].check else None,
                "minutes": worth.minutes,
                "saves_minutes": worth.saves,
            }
            for finding, worth in next_questions(knowledge, conclusions, standing, examined.progress)
        ],
    }


def _cause(examined: Examined, ranked: RankedCause) -> dict[str, Any]:
    cause = examined.knowledge.causes[ranked.cause]
    learned = examined.learned
    taught = {}
    if learned is not None:
        taught = {"seen": learned.seen.get(ranked.cause, 0), "learned_decibels": ranked.learned_decibels}
    return {
        "cause": ranked.cause,
        "name": str(cause.name),
        "family": str(cause.family),
        "probability": ranked.probability,
        "alone": ranked.alone,
        "prior_decibels": ranked.prior_decibels,
        "told_decibels": ranked.told_decibels,
        **taught,
        "evidence": [
            {
                "of": list(weight.of),
                "decibels": weight.decibels,
                "undamped_decibels": weight.undamped,
                "because": reasons(examined, weight.of),
            }
            for weight in examined.standing.trail(ranked.cause)
        ],
    }


def reasons(examined: Examined, of: tuple[str, ...]) -> list[str]:
    """Return the reasons for these observations: of a question why it tells, of a condition why it follows."""
    knowledge = examined.knowledge
    said: list[str] = []
    for name in of:
        if name in knowledge.findings:
            said.append(str(knowledge.findings[name].why))
        elif name in examined.conclusions.conditions:
            said += [str(knowledge.rules[rule].because) for rule in examined.conclusions.conditions[name].rules]
    return said


def _next(examined: Examined) -> dict[str, Any]:
    match examined.next:
        case Ask(finding, rules, _):
            return {"do": "ask", "finding": finding, "rules": list(rules)}
        case DoCheck(check, finds, rules, _):
            return {"do": "check", "check": check, "finds": list(finds), "rules": list(rules)}
        case AskAgain(finding, rules, chance, waits):
            return {"do": "ask-again", "finding": finding, "rules": list(rules), "chance": chance, "waits": waits}
        case Repair(cause, probability, rules, waits):
            return {"do": "repair", "cause": cause, "probability": probability, "rules": list(rules), "waits": waits}
        case Undecided(held, even_so):
            return {"do": "undecided", "held": list(held), "even_so": even_so.cause if even_so else None}
