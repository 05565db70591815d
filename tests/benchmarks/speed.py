"""How fast it is, as ratios: python tests/benchmarks/speed.py  (needs the `benchmark` extra).

Prints the time of loading and building the rules, of an answer to the next question, and the ratios against plain
experta, CLIPS (through clipspy) and pgmpy on the same rules and the same answers. How often the engines fire the same
rules is printed beside.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from statistics import median

import clips
import numpy as np

from diagnose.case.state import CaseState, Given
from diagnose.knowledge.model import Answered, Any, Is, IsNot, Knowledge, Means, Term
from diagnose.knowledge.packs import base_pack, load
from diagnose.planning.examine import examine
from diagnose.reasoning.chainer import (
    EVIDENCE_SALIENCE,
    SALIENCE,
    AnswerFact,
    Fired,
    answer_key,
    evidence_rules,
    experta,
    pack_rules,
)
from diagnose.reasoning.rank import OTHER, TWO_FAULTS, rank
from diagnose.reasoning.reason import chainer_of, reason
from diagnose.reasoning.tables import tables_of

ANSWERS = 25
CASES = 20


def main() -> None:
    knowledge = load([base_pack()])
    rng = random.Random(1)
    cases = [some_answers(knowledge, rng) for _ in range(CASES)]
    loading()
    whole = milliseconds(lambda answers: next_step(knowledge, answers), cases)
    fire = milliseconds(chainer_of(knowledge).fire, cases)
    print(f"answer to next question, {ANSWERS} answers  {whole:8.1f} ms median")
    print(f"  of it the rules                   {fire:8.1f} ms")

    plain = plain_experta(knowledge)
    slow = milliseconds(plain, cases)
    same = agreeing(knowledge, plain, cases)  # Its agenda can miss a removal, so it may fire a rule too many.
    print(f"plain experta, the same rules       {slow:8.1f} ms   {slow / fire:6.1f} times ours, the same in {same}/{CASES}")

    in_clips = Clips(knowledge)
    fast = milliseconds(in_clips.fire, cases)
    same = agreeing(knowledge, in_clips.fire, cases)
    print(f"CLIPS, the same rules               {fast:8.1f} ms   {fast / fire:6.2f} times ours, the same in {same}/{CASES}")

    posterior(knowledge, cases)
    folder(knowledge, rng)


def some_answers(knowledge: Knowledge, rng: random.Random) -> dict[str, str]:
    chosen = rng.sample(list(knowledge.findings.values()), ANSWERS)
    return {str(finding.id): str(rng.choice(list(finding.answers))) for finding in chosen}


def milliseconds(run: Callable[[dict[str, str]], object], cases: list[dict[str, str]]) -> float:
    times = []
    for answers in cases:
        begin = time.perf_counter()
        run(answers)
        times.append(time.perf_counter() - begin)
    return median(times) * 1000


def next_step(knowledge: Knowledge, answers: Mapping[str, str]) -> object:
    return examine(knowledge, CaseState(findings={name: Given(answer) for name, answer in answers.items()})).next


def loading() -> None:
    """Processor seconds of loading and building in a fresh process, the best of five: read anew, and as at every start but
    the first, when what was read is taken up again."""
    with tempfile.TemporaryDirectory() as kept:
        for how, read in (("read anew", "load([base_pack()])"), ("taken up", f"load_kept([base_pack()], Path({kept!r}))")):
            program = (
                "import time; from pathlib import Path\n"
                "from diagnose.knowledge.kept import load_kept; from diagnose.knowledge.packs import base_pack, load\n"
                "from diagnose.reasoning.reason import chainer_of\n"
                f"a = time.process_time(); k = {read}; b = time.process_time(); chainer_of(k)\n"
                "print(b - a, time.process_time() - b)"
            )
            runs = [
                [
                    float(word)
                    for word in subprocess.run([sys.executable, "-c", program], capture_output=True).stdout.split()
                ]
                for _ in range(6)
            ]
            seconds, build = min(runs, key=sum)
            print(f"rules {how} {seconds:.2f} s, built {build:.2f} s, together {seconds + build:.2f} s")


def agreeing(knowledge: Knowledge, other: Callable[[dict[str, str]], set[str]], cases: list[dict[str, str]]) -> int:
    """Count the cases in which the other engine fires the same rules of the packs."""
    ours = [{fired.rule for fired in chainer_of(knowledge).fire(answers) if fired.rule} for answers in cases]
    return sum(other(answers) == fired for answers, fired in zip(cases, ours, strict=True))


def plain_experta(knowledge: Knowledge) -> Callable[[dict[str, str]], set[str]]:
    """The same productions in experta as it comes, with its own matcher and strategy."""
    record: list[Fired] = []
    methods = {**evidence_rules(knowledge, record), **pack_rules(knowledge, record)}
    engine = type("Plain", (experta.KnowledgeEngine,), methods)()

    def fire(answers: dict[str, str]) -> set[str]:
        record.clear()
        engine.reset()
        engine.declare(*(AnswerFact(key=answer_key(name, answer)) for name, answer in answers.items()))
        engine.run()
        return {fired.rule for fired in record if fired.rule}

    return fire


class Clips:
    """The same rules written for CLIPS."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._engine = clips.Environment()
        self._fired: set[str] = set()
        self._engine.define_function(lambda rule: self._fired.add(str(rule)), name="fired")
        for rule in knowledge.rules.values():
            premises = "" if rule.when is None else self._term(rule.when)
            told = f'(fired "{rule.id}")'
            if isinstance(rule.outcome, Means):
                told += f" (assert (condition {rule.outcome.condition}))"
            self._define(str(rule.id), SALIENCE[type(rule.outcome)], premises, told)
        shown = {name for cause in knowledge.causes.values() for name in cause.shows}
        for name in shown & knowledge.findings.keys():
            for answer in knowledge.findings[name].answers:
                self._define(f"evidence-{name}-{answer}", EVIDENCE_SALIENCE, f"(answer {name} {answer})", "")
        for name in shown & knowledge.conditions.keys():
            self._define(f"evidence-{name}", EVIDENCE_SALIENCE, f"(condition {name})", "")

    def _define(self, name: str, salience: int, premises: str, told: str) -> None:
        self._engine.build(f"(defrule {name} (declare (salience {salience})) (logical-root) {premises} => {told})")

    def _term(self, term: Term) -> str:
        match term:
            case Answered(finding, answers):
                return f"(exists (answer {finding} {'?' if answers == ('known',) else '|'.join(answers)}))"
            case Is(condition):
                return f"(exists (condition {condition}))"
            case IsNot(condition):
                return f"(not (condition {condition}))"
            case Any(terms):
                return f"(or {' '.join(map(self._term, terms))})"
        return f"(and {' '.join(map(self._term, term.terms))})"

    def fire(self, answers: dict[str, str]) -> set[str]:
        self._fired.clear()
        self._engine.reset()
        self._engine.assert_string("(logical-root)")
        for name, answer in answers.items():
            self._engine.assert_string(f"(answer {name} {answer})")
        self._engine.run()
        return set(self._fired)


def posterior(knowledge: Knowledge, cases: list[dict[str, str]]) -> None:
    """Single causes and some other fault, given the answers: our ranking against exact inference by pgmpy."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    tables = tables_of(knowledge)
    single = tables.how_common / tables.how_common.sum() * (1 - OTHER - TWO_FAULTS)
    prior = np.append(single, OTHER) / (1 - TWO_FAULTS)

    def network(answers: dict[str, str]) -> VariableElimination:
        model = DiscreteBayesianNetwork([("fault", name) for name in answers])
        model.add_cpds(TabularCPD("fault", len(prior), prior[:, None]))
        for name in answers:
            table = np.column_stack([tables.likelihood[name].T, tables.general[name]])
            model.add_cpds(TabularCPD(name, len(table), table, evidence=["fault"], evidence_card=[len(prior)]))
        return VariableElimination(model)

    built = {number: network(answers) for number, answers in enumerate(cases)}

    def theirs(answers: dict[str, str]) -> np.ndarray:
        evidence = {name: tables.column[name][answer] for name, answer in answers.items()}
        asked = built[cases.index(answers)]
        return asked.query(["fault"], evidence=evidence, show_progress=False).values

    concluded = {number: reason(knowledge, answers) for number, answers in enumerate(cases)}
    ours = milliseconds(lambda answers: rank(knowledge, concluded[cases.index(answers)]), cases)
    their = milliseconds(theirs, cases)
    print(f"ranking with pairs and kinship      {ours:8.1f} ms")
    print(f"pgmpy, single causes, naive, query  {their:8.1f} ms   {their / ours:6.1f} times ours")


def folder(knowledge: Knowledge, rng: random.Random) -> None:
    """`diagnose rank FOLDER` with a thousand cases."""
    with tempfile.TemporaryDirectory() as made:
        for number in range(1000):
            answers = some_answers(knowledge, rng)
            lines = [f'  {n}: "{answer}"' for n, answer in answers.items() if knowledge.findings[n].measure is None]
            text = f"title: case {number}\nfindings:\n" + "\n".join(lines) + "\n"
            (Path(made) / f"{number}.yaml").write_text(text, encoding="utf-8")
        begin = time.perf_counter()
        command = [sys.executable, "-m", "diagnose", "rank", made, "--json"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        seconds = time.perf_counter() - begin
    print(f"rank FOLDER, 1,000 cases of {ANSWERS} answers  {seconds:.0f} s, {60_000 / seconds:,.0f} cases a minute")


if __name__ == "__main__":
    main()
