"""How many confirmed cases it takes before learning helps, and how much it can harm. A program that prints; no test.

    .venv/bin/python tests/benchmarks/learning.py --clubs 3 --cases 800 --judged 200

Clubs are invented: each is what is true of its machines and owners, drawn by chance around the base rules. Cases are
drawn from a club, the book learns from the first N of them, and the rest are ranked with and without what was learned.
A case holds what the machine is and twenty answers, ten of them to questions that its true cause speaks of, as a walk
that found it would have asked them; 15 % are not known and 5 % wrong.
"""

import argparse
import math
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from random import Random
from statistics import fmean

from diagnose.book.learning import Counts, learn
from diagnose.knowledge.frequency import FREQUENCY
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load
from diagnose.measuring.cases import machine_findings
from diagnose.planning.steps import needs_of
from diagnose.reasoning.learned import ANY_KIND, Learned
from diagnose.reasoning.rank import rank
from diagnose.reasoning.reason import Conclusions, reason
from diagnose.reasoning.tables import general_rates, shown_rates

SIZES = (0, 10, 25, 50, 100, 200, 400, 800)
UNKNOWN, WRONG = 0.15, 0.05

KNOWS_ALL = -1
"""Stands for what is true in the club, instead of a number of cases."""

DULLER = {"never": 0.04, "rarely": 0.12, "sometimes": 0.26, "often": 0.42, "usually": 0.60, "nearly-always": 0.75}
"""A club where things show less clearly than the rules say."""

KINDS = ("as the rules say", "faults less alike", "faults and words")


@lru_cache(maxsize=1)
def rules() -> Knowledge:
    return load([base_pack()])


def club(kind: str, seed: int) -> Learned:
    """What is true in an invented club."""
    rng = Random(f"{kind}/{seed}")
    spread = 0.0 if kind == "as the rules say" else 0.8
    weights = {
        str(cause.id): FREQUENCY[cause.how_common] * math.exp(rng.gauss(0, spread)) for cause in rules().causes.values()
    }
    total = sum(weights.values())
    shares = {cause: weight / total for cause, weight in weights.items()}
    return Learned(0, {}, {}, {ANY_KIND: shares}, DULLER if kind == "faults and words" else dict(FREQUENCY))


@dataclass(frozen=True)
class Case:
    cause: str
    answers: dict[str, str]


def drawn(task: tuple[str, int, int]) -> Case:
    """One case with one fault of a club."""
    kind, seed, number = task
    knowledge, truth = rules(), club(kind, seed)
    rng = Random(f"{kind}/{seed}/{number}")
    causes = list(map(str, knowledge.causes))
    cause, able = "", reason(knowledge, {})
    parts = machine_findings(knowledge)
    answers: dict[str, str] = {}
    while not cause or not able.applies(knowledge.causes[cause].needs):
        cause = rng.choices(causes, truth.weights(causes, ANY_KIND).tolist())[0]
        answers = {name: answered(cause, name, truth, rng) for name in parts}
        able = reason(knowledge, answers)
    open_to_it = [
        str(f.id) for f in knowledge.findings.values() if able.applies(needs_of(knowledge, f)) and f.id not in parts
    ]
    shown = [name for name in open_to_it if name in knowledge.causes[cause].shows]
    asked = [*rng.sample(shown, min(10, len(shown))), *rng.sample([n for n in open_to_it if n not in shown], 10)]
    answers |= {name: answered(cause, name, truth, rng, WRONG) for name in asked if rng.random() >= UNKNOWN}
    return Case(cause, answers)


def answered(cause: str, name: str, truth: Learned, rng: Random, wrong: float = 0.0) -> str:
    """What the owner says, by what is true in this club."""
    finding = rules().findings[name]
    tell = rules().causes[cause].shows.get(name)
    rates = general_rates(finding) if tell is None else shown_rates(finding, tell, truth.words)
    answers = list(map(str, finding.answers))
    return rng.choice(answers) if rng.random() < wrong else rng.choices(answers, rates.tolist())[0]


def learned_from(cases: Sequence[Case]) -> Learned | None:
    answers = Counter((case.cause, name, answer) for case in cases for name, answer in case.answers.items())
    causes = Counter(case.cause for case in cases)
    return learn(rules(), Counts({(ANY_KIND, False): causes}, answers, len(cases)))


@dataclass(frozen=True)
class Score:
    first: float
    loss: float
    error: float


def score(judged: Sequence[tuple[Case, Conclusions]], learned: Learned | None) -> Score:
    """First place, mean log-loss of the true cause, and calibration error of the leader in ten bins."""
    first, loss = [], []
    bins: list[list[tuple[float, bool]]] = [[] for _ in range(10)]
    for case, conclusions in judged:
        standing = rank(rules(), conclusions, learned=learned)
        leader = standing.causes[0]
        true = standing.of(case.cause)
        right = leader.cause == case.cause
        first.append(right)
        loss.append(-math.log(max(true.probability if true else 0.0, 1e-4)))
        bins[min(int(leader.probability * 10), 9)].append((leader.probability, right))
    gap = sum(abs(sum(p for p, _ in one) - sum(r for _, r in one)) for one in bins) / len(judged)
    return Score(fmean(first), fmean(loss), gap)


def one_club(task: tuple[str, int, int, int]) -> list[tuple[int, Score]]:
    kind, seed, most, judged_many = task
    cases = [drawn((kind, seed, number)) for number in range(most + judged_many)]
    judged = [(case, reason(rules(), case.answers)) for case in cases[:judged_many]]
    teaching = cases[judged_many:]
    scores = [(size, score(judged, learned_from(teaching[:size]))) for size in SIZES if size <= min(most, len(teaching))]
    knows_all = club(kind, seed)
    return [*scores, (KNOWS_ALL, score(judged, knows_all))]


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--clubs", type=int, default=3)
    options.add_argument("--cases", type=int, default=800)
    options.add_argument("--judged", type=int, default=200)
    asked = options.parse_args()
    tasks = [(kind, seed, asked.cases, asked.judged) for kind in KINDS for seed in range(asked.clubs)]
    with ProcessPoolExecutor() as pool:
        results = dict(zip(tasks, pool.map(one_club, tasks), strict=True))
    print(f"{asked.clubs} invented clubs of each kind, {asked.judged} cases judged in each: first place, log-loss of")
    print("the true cause and calibration error, by confirmed cases learnt from; and the most")
    print("that any one club lost in log-loss against the packs alone.")
    print(f"{'cases':>9}" + "".join(f"{kind:>20}" for kind in KINDS) + f"{'most lost':>11}")
    for size in (*(size for size in SIZES if size <= asked.cases), KNOWS_ALL):
        cells, lost = [], []
        for kind in KINDS:
            here = [(dict(scores)[0], dict(scores)[size]) for task, scores in results.items() if task[0] == kind]
            some = [one for _, one in here]
            first, loss, error = (fmean(getattr(one, part) for one in some) for part in ("first", "loss", "error"))
            cells.append(f"{first:.2f} {loss:.2f} {error:.3f}")
            lost += [one.loss - none.loss for none, one in here]
        said = "all known" if size == KNOWS_ALL else str(size)
        print(f"{said:>9}" + "".join(f"{cell:>20}" for cell in cells) + f"{max(*lost, 0.0):>11.3f}")


if __name__ == "__main__":
    main()
