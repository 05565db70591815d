"""A new cause with its rules, drafted from a case whose cause the rules did not know. The case is their first test.

Pure: what a person said of the cause and what the case holds in, the files of a pack out.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import yaml

from ..case.state import CaseState, Given
from ..knowledge.checker import CLOSE_NEEDLE, weakens
from ..knowledge.frequency import FREQUENCY
from ..knowledge.hands import spoken_of, touched
from ..knowledge.merging import SHELVES
from ..knowledge.model import Knowledge
from .trying import CASES

LONGEST_STEM = 28
"""Letters of an id that are made from words; pack, hyphens and endings come to it."""

SMALL_WORDS = frozenset(
    ("a", "an", "and", "as", "at", "be", "by", "for", "from", "had", "has", "in", "is", "it", "its", "of", "on", "or",
     "so", "the", "this", "to", "was", "were", "with")
)  # fmt: skip
"""Words that an id does without."""

SIGNS = 3
"""Answers that a drafted rule rests on at most. With more of them it would hardly fire again."""

SEEN, LOOK, SOON, WARNS = ENDINGS = ("-seen", "-look", "-soon", "-warns")
"""What is put to the id of a cause for its finding, its check and its rules."""

WELL, SO = "well", "so"
"""Answers of a look of one's own: all is well there; it is this cause."""

SEEN_WELL, SEEN_SO, SHOWN_SO = "usually", "never", "nearly-always"
"""How often a look of one's own shows either with some other fault, and the second with this one: it is what showed that
it was this and nothing else."""


@dataclass(frozen=True, slots=True)
class Look:
    """A look of one's own that settles the cause: what to ask, what to do, what is seen when all is well and when it is
    this."""

    ask: str
    steps: tuple[str, ...]
    well: str
    so: str
    engine: str
    minutes: float


@dataclass(frozen=True, slots=True)
class Draft:
    """What is known of a new cause. `tells`: finding -> how often its answer in the case is seen with this cause.

    settled_by is a check of the rules, or a look of one's own. warns are cautions to be shown once it is settled.
    """

    name: str
    explains: str
    family: str
    how_common: str
    tells: Mapping[str, str]
    settled_by: str | Look
    steps: tuple[str, ...]
    minutes: float
    needle: str | None
    proof: str
    harm: str
    warns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Drafted:
    """Ids of what was drafted, the case as its test sees it, and the files: path inside the pack -> text."""

    cause: str
    rules: tuple[str, ...]
    state: CaseState
    files: Mapping[str, str]


def slug(words: str) -> str:
    """Return words as an id: whole words in plain lower-case letters, joined by hyphens; '' when there are none."""
    plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    found = re.findall(r"[a-z0-9]+", plain)
    name = ""
    for word in [word for word in found if word not in SMALL_WORDS] or found:
        longer = f"{name}-{word}" if name else word[:LONGEST_STEM]
        if len(longer) > LONGEST_STEM:
            break
        name = longer
    return name


def unused(name: str, taken: Collection[str]) -> str:
    """Return the name, or the name with the first number that makes it one of its own."""
    number, free = 2, name
    while free in taken:
        free = f"{name}-{number}"
        number += 1
    return free


def drafted(
    knowledge: Knowledge, draft: Draft, case: CaseState, pack: str, expect: str = "", files: Collection[str] = ()
) -> Drafted:
    """Return the cause with its rules, its case and a case of the other side, for the pack of this id.

    expect: `first` or `first_three`, what the case expects of the cause. files: names that the pack has already.
    """
    ids = {str(name) for shelf in SHELVES.values() for name in getattr(knowledge, shelf)}
    taken = ids | {name.removesuffix(ending) for name in ids for ending in ENDINGS}
    cause = unused(f"{pack}-{slug(draft.name) or 'cause'}", taken)
    look, tells, asked = _settling(knowledge, draft, case, cause)
    check = draft.settled_by if isinstance(draft.settled_by, str) else cause + LOOK
    signs = _signs(knowledge, draft, case, asked)
    rules = _rules(draft, cause, check, signs, asked, _basis(case))
    entries = [*look, _cause(knowledge, draft, case, cause, check, tells), *rules]
    state = CaseState(case=case.case, findings={**case.findings, **asked})
    stem = unused(slug(draft.name) or "cause", {name.removesuffix(".yaml") for name in files})
    names = [rule["rule"] for rule in rules]
    remark = (
        f"# Drafted from the case {case.case} and checked. Change what you like; then run\n"
        "# diagnose rules check and diagnose rules try on this folder.\n\n"
    )
    return Drafted(
        cause,
        tuple(names),
        state,
        MappingProxyType(
            {
                f"{CASES}/{stem}.yaml": _yaml(_its_case(draft, case, state, cause, names, expect)),
                f"{CASES}/{stem}-not.yaml": _yaml(_other_case(knowledge, draft, state, cause, names, signs, asked)),
                f"{stem}.yaml": remark + "\n".join(_yaml([entry]) for entry in entries),
            }
        ),
    )


def pack_file(pack: str, knowledge: Knowledge) -> str:
    """Return the pack.yaml of a new pack upon the base rules."""
    ground = knowledge.packs[0]
    said = {"pack": pack, "name": f"Rules of {pack}", "version": "0.1", "author": pack}
    return _yaml({**said, "needs": [f"{ground.id} {ground.version}"]})


def _yaml(content: Any) -> str:
    return yaml.safe_dump(content, sort_keys=False, allow_unicode=True, width=110, default_flow_style=None)


# Entries.


def _settling(
    knowledge: Knowledge, draft: Draft, case: CaseState, cause: str
) -> tuple[list[dict[str, Any]], dict[str, dict[str, str]], dict[str, Given]]:
    """The finding and check of a look of one's own (none for a check of the rules), the cause's words in every finding,
    and the answers that settle it."""
    tells = {name: {case.findings[name].answer: word} for name, word in draft.tells.items()}
    if isinstance(draft.settled_by, str):
        finds = [str(name) for name in knowledge.checks[draft.settled_by].finds if name in case.findings]
        tells = {**tells, **{name: {case.findings[name].answer: SHOWN_SO} for name in finds if name not in tells}}
        return [], tells, {name: case.findings[name] for name in finds}
    look, seen, check = draft.settled_by, cause + SEEN, cause + LOOK
    family = {str(one.settled_by) for one in knowledge.causes.values() if one.family == draft.family}
    in_this_state = [one for one in knowledge.checks.values() if one.engine == look.engine]
    alike = [one for one in in_this_state if one.id in family] or in_this_state
    finding = {
        "finding": seen, "ask": look.ask, "why": f"It settles whether it is this: {draft.name}.",
        "minutes": _number(look.minutes), "check": check,
        "answers": {WELL: {"say": look.well, "seen": SEEN_WELL}, SO: {"say": look.so, "seen": SEEN_SO}},
    }  # fmt: skip
    doing = {
        "check": check, "name": f"Look for it: {draft.name}", "why": "It settles in a short look whether it is this.",
        "minutes": _number(look.minutes), "engine": look.engine,
        **_filled(
            needs=_usual(one.needs for one in alike),
            cautions=_cautions(knowledge, look.steps, [one.cautions for one in alike]),
            under=_usual(one.under for one in alike),
        ),
        "steps": [_step(step) for step in look.steps], "finds": [seen], "basis": _basis(case),
    }  # fmt: skip
    return [finding, doing], {**tells, seen: {SO: SHOWN_SO}}, {seen: Given(SO)}


def _cause(
    knowledge: Knowledge, draft: Draft, case: CaseState, cause: str, check: str, tells: Mapping[str, Mapping[str, str]]
) -> dict[str, Any]:
    fixes = [one.fix.cautions for one in knowledge.causes.values() if one.family == draft.family]
    fix = {
        "minutes": _number(draft.minutes),
        **_filled(sets=draft.needle, cautions=_cautions(knowledge, draft.steps, fixes)),
        "steps": [_step(step) for step in draft.steps],
    }
    return {
        "cause": cause, "name": draft.name, "family": draft.family, "how_common": draft.how_common,
        "explains": draft.explains, "shows": tells, "settled_by": check, "fix": fix, "proof": draft.proof,
        "harm": draft.harm, "basis": _basis(case),
    }  # fmt: skip


def _rules(
    draft: Draft, cause: str, check: str, signs: Mapping[str, str], asked: Mapping[str, Given], basis: str
) -> list[dict[str, Any]]:
    """The check sooner where its signs come together, and the cautions once it is settled."""
    settled = {name: given.answer for name, given in asked.items()}
    rules: list[dict[str, Any]] = []
    if signs:
        because = f"These came together where it was: {draft.name}."
        rules.append({"rule": cause + SOON, "when": signs, "sooner": [check], "because": because})
    if draft.warns and settled:
        rules.append({"rule": cause + WARNS, "when": settled, "caution": list(draft.warns), "because": draft.harm})
    return [{**rule, "basis": basis} for rule in rules]


def _signs(knowledge: Knowledge, draft: Draft, case: CaseState, asked: Mapping[str, Given]) -> dict[str, str]:
    """The most telling answers of the case, but for those that settle it."""

    def telling(name: str) -> float:
        seen = knowledge.findings[name].answers[case.findings[name].answer].seen
        return FREQUENCY[draft.tells[name]] / FREQUENCY[seen]

    names = sorted((name for name in draft.tells if name not in asked), key=telling, reverse=True)
    return {name: case.findings[name].answer for name in names[:SIGNS]}


def _step(step: str) -> str | dict[str, Any]:
    """A step that weakens the mixture stands under the hold that can forbid it."""
    return {"do": step, "under": [CLOSE_NEEDLE]} if weakens(step) else step


def _number(minutes: float) -> int | float:
    return int(minutes) if minutes == int(minutes) else minutes


def _basis(case: CaseState) -> str:
    return f"seen in our case {case.case}"


def _filled(**fields: Any) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if value}


def _usual(several: Iterable[Sequence[str]]) -> list[str]:
    """What more than half of them carry."""
    groups = [set(map(str, one)) for one in several]
    counts = Counter(name for group in groups for name in group)
    return sorted(name for name, count in counts.items() if count > len(groups) / 2)


def _cautions(knowledge: Knowledge, steps: Iterable[str], alike: Sequence[Sequence[str]]) -> list[str]:
    """The cautions that most work of this sort carries, and of each thing touched beyond those the one used most."""
    usual = _usual(alike)
    said = {kind for name in usual for kind in spoken_of(knowledge.cautions[name])}
    work = [check.cautions for check in knowledge.checks.values()] + [c.fix.cautions for c in knowledge.causes.values()]
    used = Counter(str(name) for cautions in work for name in cautions)
    for kind in sorted({kind for step in steps for kind in touched(step)} - said):
        speaking = [str(name) for name, caution in knowledge.cautions.items() if kind in spoken_of(caution)]
        if speaking:
            usual.append(max(speaking, key=lambda name: used[name]))
    return list(dict.fromkeys(usual))


# Its cases.


def _input(findings: Mapping[str, Given]) -> dict[str, str]:
    return {str(name): given.reading or given.answer for name, given in findings.items()}


def _its_case(
    draft: Draft, case: CaseState, state: CaseState, cause: str, rules: Sequence[str], expect: str
) -> dict[str, Any]:
    warned = _filled(cautions=list(draft.warns)) if any(name.endswith(WARNS) for name in rules) else {}
    return {
        "title": f"{draft.name}, as in our case {case.case}", "input": _input(state.findings),
        **({expect: [cause]} if expect else {}), **warned, **_filled(fires=list(rules)),
    }  # fmt: skip


def _other_case(
    knowledge: Knowledge, draft: Draft, state: CaseState, cause: str, rules: Sequence[str],
    signs: Mapping[str, str], asked: Mapping[str, Given],
) -> dict[str, Any]:  # fmt: skip
    """The other side: what the rules rest on is otherwise, and they are silent."""
    other: dict[str, str] = {}
    for name in (*signs, *asked):
        if name in knowledge.findings:
            given = state.findings[name].answer
            other[name] = next(str(answer) for answer in knowledge.findings[name].answers if answer != given)
        else:
            other[name] = WELL
    return {
        "title": f"Not this: {draft.name}", "input": other, "never": [cause], **_filled(silent=list(rules)),
    }  # fmt: skip
