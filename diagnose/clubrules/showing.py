"""Everything that touches one rule, cause, finding, check, condition, caution or hold, and where it is written.

Pure: knowledge and an id in, sheets of plain text out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePath
from types import MappingProxyType
from typing import Any as Whatever

from ..knowledge.chains import above, below, concluding, resting_on
from ..knowledge.fields import likeliest
from ..knowledge.hearing import MEASURED, Hearing
from ..knowledge.model import (
    Answered,
    Cause,
    Caution,
    Check,
    Condition,
    Finding,
    Hold,
    Holds,
    Is,
    IsNot,
    Kin,
    Knowledge,
    Means,
    Need,
    Retest,
    Rule,
    Slang,
    Step,
    Warns,
    leaves,
)
from ..knowledge.setup_model import Carburettor, NeedleMove, SetupStep
from ..knowledge.source import Place, printable
from .in_words import outcome, question_said, ratios, speaking, tell_said, when, word_said

WIDTH = 80

SHELVES: Mapping[str, str] = MappingProxyType(
    {
        "rule": "rules",
        "cause": "causes",
        "finding": "findings",
        "check": "checks",
        "condition": "conditions",
        "caution": "cautions",
        "hold": "holds",
        "retest": "retests",
        "need": "needs",
        "kin": "kin",
        "setup_step": "setup_steps",
        "carburettor": "carburettors",
        "needle_move": "needle_moves",
        "hearing": "hearings",
        "slang": "slang",
    }
)
"""What can be shown -> its shelf in Knowledge."""


class NotFound(Exception):
    """Nothing is called so; the message says what was probably meant."""


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its paragraphs; spaces before a paragraph say how deep it stands."""

    title: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One entry of a pack: what it is, where it is written, its own words, and what touches it."""

    kind: str
    id: str
    place: Place
    sections: tuple[Section, ...]


def sheets(knowledge: Knowledge, name: str) -> tuple[Sheet, ...]:
    """Return a sheet for every entry with this id; a finding and its check may share one. Raises NotFound."""
    found = tuple(
        Sheet(kind, name, shelf[name].id.place, tuple(s for s in _CONTENT[kind](knowledge, shelf[name]) if s.paragraphs))
        for kind, shelf in _shelves(knowledge)
        if name in shelf
    )
    if found:
        return found
    meant = likeliest(name, (one for _, shelf in _shelves(knowledge) for one in shelf))
    raise NotFound(
        f"nothing is called '{printable(name)}'"
        + (f"; did you mean {meant}?" if meant else "; name a rule, cause, finding, check, condition, caution or hold")
    )


def lines(sheet: Sheet, width: int = WIDTH) -> list[str]:
    """Return a sheet as lines of text. Only the place, which an editor must be able to open, is never broken."""
    said = [f"{sheet.kind} {sheet.id}", f"  written at {sheet.place}"]
    for section in sheet.sections:
        said += ["", section.title]
        for paragraph in section.paragraphs:
            text = printable(paragraph, " ")
            indent = "  " + " " * (len(paragraph) - len(paragraph.lstrip(" ")))
            said += textwrap.wrap(
                text, width, initial_indent=indent, subsequent_indent=indent + "    ", break_on_hyphens=False
            )
    return said


def _shelves(knowledge: Knowledge) -> Iterator[tuple[str, Mapping[str, Whatever]]]:
    return ((kind, getattr(knowledge, shelf)) for kind, shelf in SHELVES.items())


# Sections that several kinds share.


def _at(place: Place) -> str:
    """Where another entry is written, short: its pack's folder, file and line."""
    return f"({'/'.join(PurePath(place.file).parts[-2:])}:{place.line})"


def _own(**facts: str | None) -> Section:
    """The entry's own words, each with the key it is written under."""
    return Section("its own words", tuple(f"{key.replace('_', ' ')}: {text}" for key, text in facts.items() if text))


def _rules(title: str, knowledge: Knowledge, several: Iterable[Rule]) -> Section:
    return Section(title, tuple(f"{rule.id}: {outcome(knowledge, rule.outcome)} {_at(rule.id.place)}" for rule in several))


def _steps(several: Iterable[Step]) -> Section:
    said = []
    for place, step in enumerate(several, 1):
        held = f" (not while on hold: {', '.join(step.under)})" if step.under else ""
        said.append(f"{place}. {step.do}{held}")
    return Section("steps", tuple(said))


def _minutes(count: float) -> str:
    return f"{count:g} minute{'' if count == 1 else 's'}"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(map(str, names))


def _showing(knowledge: Knowledge, of: str) -> Section:
    """The causes that show a finding or a condition, the strongest tell first: the word here, otherwise, the strength."""
    showing = [cause for cause in knowledge.causes.values() if of in cause.shows]
    showing.sort(key=lambda cause: -max(ratios(knowledge, str(cause.id), of).values()))
    said = []
    for cause in showing:
        tell = cause.shows[of]
        said.append(f"{cause.id}: {cause.name} {_at(tell.of.place)}")
        for answer in speaking(knowledge, str(cause.id), tell):
            which = "" if of in knowledge.conditions else f"{answer}: "
            said.append(f"  {which}{tell_said(knowledge, str(cause.id), tell, answer)}")
    return Section("causes that show it", tuple(said))


def _users(knowledge: Knowledge, attribute: str, name: str) -> Iterator[str]:
    """The questions, checks, retests, fixes and steps that carry a caution or stand under a hold or a need."""
    shelves = ("findings", "checks", "retests", "setup_steps")
    for kind, shelf in ((kind, getattr(knowledge, shelf)) for kind, shelf in SHELVES.items() if shelf in shelves):
        for thing in shelf.values():
            if name in getattr(thing, attribute, ()):
                yield f"{kind} {thing.id} {_at(thing.id.place)}"
            elif attribute == "under" and any(name in step.under for step in getattr(thing, "steps", ())):
                yield f"{kind} {thing.id}, a step of it {_at(thing.id.place)}"
    for cause in knowledge.causes.values():
        holder = cause if attribute == "needs" else cause.fix
        what = "cause" if attribute == "needs" else "the fix of cause"
        if name in getattr(holder, attribute):
            yield f"{what} {cause.id} {_at(cause.id.place)}"
        elif attribute == "under" and any(name in step.under for step in cause.fix.steps):
            yield f"a step of the fix of cause {cause.id} {_at(cause.id.place)}"


# Kinds, each as its sections.


def _rule(knowledge: Knowledge, rule: Rule) -> Iterator[Section]:
    yield Section("when", tuple(when(knowledge, rule.when)))
    yield Section("then", (outcome(knowledge, rule.outcome),))
    yield _own(because=rule.because, basis=rule.basis)
    for leaf in dict.fromkeys(leaf for leaf in leaves(rule.when) if isinstance(leaf, (Is, IsNot))):
        yield _rules(f"rules that conclude {leaf.condition}", knowledge, concluding(knowledge).get(leaf.condition, ()))
    if isinstance(rule.outcome, Means):
        condition = rule.outcome.condition
        others = tuple(one for one in concluding(knowledge)[condition] if one is not rule)
        yield _rules("other rules that conclude the same", knowledge, others)
        yield _rules("what it leads on to", knowledge, above(knowledge, [condition]))
        yield _showing(knowledge, str(condition))
    if isinstance(rule.outcome, Warns):
        cautions = (knowledge.cautions[name] for name in rule.outcome.cautions)
        yield Section("what the caution says", tuple(f"{one.level.upper()}: {one.says} [{one.id}]" for one in cautions))
    if isinstance(rule.outcome, Holds):
        for name in rule.outcome.holds:
            yield Section(f"what {name} forbids", tuple(_users(knowledge, "under", name)))


def _cause(knowledge: Knowledge, cause: Cause) -> Iterator[Section]:
    yield _own(
        name=cause.name, explains=cause.explains, family=cause.family, how_common=word_said(cause.how_common),
        needs=_listed(cause.needs), proof=cause.proof, harm=cause.harm, basis=cause.basis,
    )  # fmt: skip
    said = []
    for tell in cause.shows.values():
        of = str(tell.of)
        if of in knowledge.conditions:
            said.append(f"concluded: {knowledge.conditions[of].name} [{of}]")
        else:
            said.append(question_said(knowledge, of))
        for answer in speaking(knowledge, str(cause.id), tell):
            say = "" if of in knowledge.conditions else f"{answer}: "
            said.append(f"  {say}{tell_said(knowledge, str(cause.id), tell, answer)}")
    yield Section("what it shows", tuple(said))
    check = knowledge.checks[cause.settled_by]
    yield Section("settled by", (f"{check.id}: {check.name} {_at(check.id.place)}",))
    fix = cause.fix
    yield Section(
        "its fix",
        tuple(
            f"{key}: {text}"
            for key, text in (
                ("takes", _minutes(fix.minutes)),
                ("tools", _listed(fix.tools)),
                ("sets" if fix.sets else "needle", fix.needle),
                ("cautions", _listed(fix.cautions)),
                ("not while on hold", _listed(fix.under)),
                ("proved also by", _listed(cause.prove)),
            )
            if text
        ),
    )
    yield _steps(fix.steps)
    shown = [name for name in cause.shows if name in knowledge.conditions]
    for name in shown:
        yield _rules(f"rules that conclude {name}", knowledge, concluding(knowledge).get(str(name), ()))


def _finding(knowledge: Knowledge, finding: Finding) -> Iterator[Section]:
    unit = finding.measure.unit if finding.measure else None
    yield _own(
        ask=finding.ask, why=finding.why, how=finding.how, number_in=unit, takes=_minutes(finding.minutes),
        tools=_listed(finding.tools), needs=_listed(finding.needs), cautions=_listed(finding.cautions),
        not_while_on_hold=_listed(finding.under), check=finding.check,
    )  # fmt: skip
    order = "answers, in no order" if finding.unordered else "answers, normal first and worst last"
    yield Section(
        order,
        tuple(
            f"{answer.id}: {answer.say}, {word_said(answer.seen)} otherwise"
            + (f"; owners say: {', '.join(answer.like)}" if answer.like else "")
            for answer in finding.answers.values()
        ),
    )
    name = str(finding.id)
    yield _showing(knowledge, name)
    rules = resting_on(knowledge).get(name, ())
    yield _rules("rules that rest on it", knowledge, rules)
    conditions = [rule.outcome.condition for rule in rules if isinstance(rule.outcome, Means)]
    further = tuple(rule for rule in above(knowledge, conditions) if rule not in rules)
    yield _rules("what those lead on to", knowledge, further)
    yield _rules("rules that say when it is asked", knowledge, concluding(knowledge).get(name, ()))
    checks = (check for check in knowledge.checks.values() if name in check.finds)
    yield Section("checks that find it", tuple(f"{c.id}: {c.name} {_at(c.id.place)}" for c in checks))
    asking = (s for s in knowledge.setup_steps.values() if name in (*s.asks, *s.finds, *s.makes, *s.done, *s.not_done))
    yield Section("steps of the set-up that ask or answer it", tuple(f"{s.id}: {s.name} {_at(s.id.place)}" for s in asking))
    heard = (hearing for hearing in knowledge.hearings.values() if name in hearing.says)
    yield Section("what a recording must have to answer it", tuple(f"{h.id} {_at(h.id.place)}" for h in heard))
    groups = (kin for kin in knowledge.kin.values() if name in kin.of)
    yield Section("kin", tuple(f"{k.id}: {k.are} with {_listed(o for o in k.of if o != name)}" for k in groups))


def _check(knowledge: Knowledge, check: Check) -> Iterator[Section]:
    yield _own(
        name=check.name, why=check.why, takes=_minutes(check.minutes), engine=check.engine, tools=_listed(check.tools),
        needs=_listed(check.needs), cautions=_listed(check.cautions), not_while_on_hold=_listed(check.under),
        basis=check.basis,
    )  # fmt: skip
    yield _steps(check.steps)
    found = (knowledge.findings[name] for name in check.finds)
    yield Section("what it finds", tuple(f"{f.id}: {f.ask} {_at(f.id.place)}" for f in found))
    settled = (cause for cause in knowledge.causes.values() if cause.settled_by == check.id)
    yield Section("causes that it settles", tuple(f"{c.id}: {c.name} {_at(c.id.place)}" for c in settled))
    yield _rules("rules that say when it is done", knowledge, concluding(knowledge).get(str(check.id), ()))
    rules = {str(rule.id): rule for name in check.finds for rule in resting_on(knowledge).get(str(name), ())}
    yield _rules("rules that rest on what it finds", knowledge, rules.values())


def _condition(knowledge: Knowledge, condition: Condition) -> Iterator[Section]:
    name = str(condition.id)
    yield _own(name=condition.name, says=condition.says, seen=f"{word_said(condition.seen)} with some other fault")
    yield _rules("rules that conclude it", knowledge, concluding(knowledge).get(name, ()))
    yield Section("answers it rests on in the end", tuple(question_said(knowledge, one) for one in roots(knowledge, name)))
    yield _showing(knowledge, name)
    rules = resting_on(knowledge).get(name, ())
    yield _rules("rules that rest on it", knowledge, rules)
    yield _rules("what those lead on to", knowledge, tuple(r for r in above(knowledge, [name]) if r not in rules))
    moves = (move for move in knowledge.needle_moves.values() if name in move.concluded)
    yield Section("needles it moves", tuple(f"{m.id}: {m.needle} {m.way} {_at(m.id.place)}" for m in moves))


def roots(knowledge: Knowledge, condition: str) -> tuple[str, ...]:
    """Return the findings that can bring a condition about, through every link of the chain."""
    premises = (leaf for rule in below(concluding(knowledge), [condition]) for leaf in leaves(rule.when))
    return tuple(dict.fromkeys(str(leaf.finding) for leaf in premises if isinstance(leaf, Answered)))


def _caution(knowledge: Knowledge, caution: Caution) -> Iterator[Section]:
    yield _own(level=caution.level, says=caution.says, basis=caution.basis)
    yield _rules("rules that give it", knowledge, concluding(knowledge).get(str(caution.id), ()))
    yield Section("shown with", tuple(_users(knowledge, "cautions", caution.id)))


def _hold(knowledge: Knowledge, hold: Hold) -> Iterator[Section]:
    yield _own(name=hold.name, says=hold.says)
    yield _rules("rules that put it on", knowledge, concluding(knowledge).get(str(hold.id), ()))
    yield Section("what it forbids", tuple(_users(knowledge, "under", hold.id)))


def _retest(knowledge: Knowledge, retest: Retest) -> Iterator[Section]:
    yield _own(
        name=retest.name, takes=_minutes(retest.minutes), engine=retest.engine, needs=_listed(retest.needs),
        runs_at_least=_minutes(retest.lasts) if retest.lasts else None,
        and_longer_than=None if retest.beyond is None else retest.beyond.finding, asks=_listed(retest.asks),
        cautions=_listed(retest.cautions),
    )  # fmt: skip
    yield _steps(retest.steps)
    if retest.only_when_asked:
        yield _rules("rules that ask for it", knowledge, concluding(knowledge).get(str(retest.id), ()))
        asking = (cause for cause in knowledge.causes.values() if retest.id in cause.prove)
        yield Section("causes that ask for it", tuple(f"{cause.id} {_at(cause.id.place)}" for cause in asking))


def _need(knowledge: Knowledge, need: Need) -> Iterator[Section]:
    yield _own(name=need.name)
    yield _rules("rules that say a machine is without it", knowledge, concluding(knowledge).get(str(need.id), ()))
    yield Section("what needs it", tuple(_users(knowledge, "needs", need.id)))


def _kin(knowledge: Knowledge, kin: Kin) -> Iterator[Section]:
    yield _own(are=kin.are, because=kin.because)
    yield Section("of", tuple(f"{question_said(knowledge, name)}" for name in kin.of))


def _setup_step(knowledge: Knowledge, step: SetupStep) -> Iterator[Section]:
    yield _own(
        name=step.name, why=step.why, takes=_minutes(step.minutes), engine=step.engine, tools=_listed(step.tools),
        needs=_listed(step.needs), comes_after=step.after, counts=_listed(step.counts), settles=_listed(step.settles),
        cautions=_listed(step.cautions), not_while_on_hold=_listed(step.under), basis=step.basis,
    )  # fmt: skip
    yield _steps(step.steps)
    yield Section("asked with it", tuple(question_said(knowledge, name) for name in (*step.asks, *step.finds)))
    for title, answers in (
        ("so for the rest of the set-up, once it is done", step.makes),
        ("kept for later faults when it was done", step.done),
        ("kept for later faults when it was not done", step.not_done),
    ):
        yield Section(title, tuple(f"{name}: {answer}" for name, answer in answers.items()))


def _carburettor(knowledge: Knowledge, kind: Carburettor) -> Iterator[Section]:
    yield _own(
        name=kind.name, says=kind.says, needles=_listed(kind.needles), h_moves_l=_words(kind.h_moves_l),
        l_moves_h=_words(kind.l_moves_h), basis=kind.basis,
    )  # fmt: skip
    yield Section("told by", tuple(f"{question_said(knowledge, n)} {answer}" for n, answer in kind.told_by.items()))


def _needle_move(knowledge: Knowledge, move: NeedleMove) -> Iterator[Section]:
    yield _own(needle=move.needle, way=move.way, because=move.because, basis=move.basis)
    names = (f"{knowledge.conditions[name].name} [{name}]" for name in move.concluded)
    yield Section("when this is concluded", tuple(names))


def _words(word: str) -> str:
    return word.replace("-", " ")


def _hearing(knowledge: Knowledge, hearing: Hearing) -> Iterator[Section]:
    measured = ((MEASURED[name], span) for name, span in hearing.measured.items())
    yield Section("when a recording has", tuple(f"{of.label}: {span} {of.unit} {of.says}" for of, span in measured))
    said = (f"{question_said(knowledge, of)} {_answered(knowledge, of, answer)}" for of, answer in hearing.says.items())
    yield Section("it answers", tuple(said))
    yield _own(because=hearing.because, basis=hearing.basis)


def _slang(knowledge: Knowledge, slang: Slang) -> Iterator[Section]:
    yield Section("it stands for", (slang.stands_for,))
    yield Section("people say", tuple(map(str, slang.also)))


def _answered(knowledge: Knowledge, finding: str, answer: str) -> str:
    answers = knowledge.findings[finding].answers
    return f"'{answers[answer].say}'" if answer in answers else f"the {answer} measured"


_CONTENT: Mapping[str, Callable[[Knowledge, Whatever], Iterator[Section]]] = MappingProxyType(
    {
        "rule": _rule,
        "cause": _cause,
        "finding": _finding,
        "check": _check,
        "condition": _condition,
        "caution": _caution,
        "hold": _hold,
        "retest": _retest,
        "need": _need,
        "kin": _kin,
        "setup_step": _setup_step,
        "carburettor": _carburettor,
        "needle_move": _needle_move,
        "hearing": _hearing,
        "slang": _slang,
    }
)
