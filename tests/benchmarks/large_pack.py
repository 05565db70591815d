"""How long `diagnose rules check` takes over a made-up pack of 10,000 rules, and a walk over it from answer to answer.

    python tests/benchmarks/large_pack.py [RULES [KIND]]

Prints for each kind of pack, or for one, the seconds of the check (aim: under 10) and, where it loads, those of reading
and building the rules before the walk, and the median and longest milliseconds from an answer to the next question
(aim: under 200), through the real shell with the log on disk. Everything in the packs is made up.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median

from diagnose.knowledge.packs import base_pack, load
from diagnose.planning.examine import ready
from diagnose.testing import Owner, walk_with

ANSWERS = 40

PACK = "pack: large\nname: A large pack\nversion: 0.1\nauthor: the benchmarks\nneeds: [base 1.0]\n"


def findings(count: int) -> Iterator[str]:
    """Questions with three answers, each used by many rules."""
    for number in range(count):
        yield (
            f"- finding: sign-{number}\n  ask: Is sign {number} there?\n  why: Made up.\n  minutes: 0.5\n  answers:\n"
            "    absent: {say: no, seen: usually}\n    faint: {say: faintly, seen: sometimes}\n"
            "    plain: {say: plainly, seen: rarely}\n"
        )


def conditions(count: int) -> Iterator[str]:
    for number in range(count):
        yield f"- condition: state-{number}\n  name: State {number}\n  says: Made up.\n  seen: rarely\n"


def rule(number: int, when: str, outcome: str) -> str:
    return (
        f"- rule: made-{number}\n  when: {when}\n  {outcome}\n  because: Made up for number {number}.\n  basis: invented\n"
    )


def sound(count: int, chance: random.Random) -> Iterator[str]:
    """Chains of conditions, alternatives and cautions, as a large club would write them."""
    states = count // 10
    yield from findings(count // 20)
    yield from conditions(states)
    for number in range(count):
        a, b, c = (f"sign-{chance.randrange(count // 20)}" for _ in range(3))
        state = number if number < states else chance.randrange(states)
        when = f"{{all: [{{{a}: plain}}, {{any: [{{{b}: [faint, plain]}}, {{{c}: plain}}]}}]}}"
        if state and number >= states:
            when = f"{{all: [{{{a}: plain}}, {{is: state-{chance.randrange(state)}}}]}}"
        yield rule(number, when, f"means: state-{state}")


def large_club(count: int, chance: random.Random) -> Iterator[str]:
    """The same with causes, a tenth as many as rules up to 400, each with eight tells, two conditions and a check."""
    yield from sound(count, chance)
    causes = min(count // 10, 400)
    for number in range(-(-causes // 8)):
        yield (
            f"- check: look-{number}\n  name: Look {number}\n  why: Made up.\n  minutes: 2\n  engine: cold\n"
            f"  steps: [Look.]\n  finds: [result-{number}]\n  basis: invented\n"
            f"- finding: result-{number}\n  ask: Result {number}?\n  why: Made up.\n  minutes: 2\n  check: look-{number}\n"
            "  answers:\n    good: {say: good, seen: usually}\n    bad: {say: bad, seen: rarely}\n"
        )
    for number in range(causes):
        signs = chance.sample(range(count // 20), 8)
        shows = "".join(f"    sign-{sign}: {{plain: {chance.choice(['often', 'usually'])}}}\n" for sign in signs)
        shows += "".join(f"    state-{state}: usually\n" for state in chance.sample(range(count // 10), 2))
        shows += f"    result-{number // 8}: {{bad: nearly-always}}\n"
        yield (
            f"- cause: fault-{number}\n  name: Fault {number}\n  family: fuel\n"
            f"  how_common: {chance.choice(['rarely', 'sometimes'])}\n  explains: Made up.\n  shows:\n{shows}"
            f"  settled_by: look-{number // 8}\n  fix: {{minutes: {5 + number % 40}, steps: [Put it right.]}}\n"
            "  proof: It runs.\n  harm: None.\n  basis: invented\n"
        )


def chained(count: int, _: random.Random) -> Iterator[str]:
    """One chain of conditions, each concluded in two ways from the one after it, and a hold that its first lifts."""
    yield from findings(3)
    yield from conditions(count // 2)
    for number in range(count // 2):
        last = number == count // 2 - 1
        for sign in (1, 2):
            after = f"{{sign-{sign}: plain}}" if last else f"{{is: state-{number + 1}, sign-{sign}: [faint, plain]}}"
            yield rule(2 * number + sign, after, f"means: state-{number}")
    yield rule(0, "{is_not: state-0}", "hold: [close-needle]\n  until: it is shown")


def alike(count: int, _: random.Random) -> Iterator[str]:
    """Every rule says the same on the same premises."""
    yield from findings(1)
    yield from conditions(1)
    for number in range(count):
        yield rule(number, "{sign-0: plain}", "means: state-0")


def crossed(count: int, chance: random.Random) -> Iterator[str]:
    """Every rule speaks of one question and one outcome, and no two are quite alike."""
    yield from findings(200)
    yield from conditions(1)
    for number in range(count):
        a, b, c = chance.sample(range(1, 200), 3)
        yield rule(number, f"{{sign-0: plain, sign-{a}: plain, sign-{b}: faint, sign-{c}: absent}}", "means: state-0")


def misspelt(count: int, _: random.Random) -> Iterator[str]:
    """Every rule names a question and a condition that are not there, among ten thousand that nearly are."""
    yield from findings(count // 2)
    for number in range(count):
        yield rule(number, f"{{sing-{number}: plain}}", f"means: stat-{number}")


def switched(count: int, chance: random.Random) -> Iterator[str]:
    """Every entry switches off a rule that is not there."""
    yield from sound(count // 2, chance)
    for number in range(count // 2):
        yield f"- switch_off: maid-{number}\n  because: Made up.\n"


def checked(folder: Path) -> tuple[float, str]:
    start = time.perf_counter()
    command = [sys.executable, "-m", "diagnose", "rules", "check", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True)
    took = time.perf_counter() - start
    return took, f"{len(done.stdout.splitlines()):,} lines said, exit {done.returncode}{done.stderr[-300:]}"


class Stopwatch:
    """An owner at the console, and the seconds from each of their answers to the next prompt."""

    def __init__(self, owner: Owner, clock: Callable[[], float] = time.perf_counter, most: int = ANSWERS) -> None:
        self._owner, self._clock, self._most = owner, clock, most
        self._since: float | None = None
        self.waits: list[float] = []

    def __call__(self, lines: list[str]) -> str | None:
        if self._since is not None:
            self.waits.append(self._clock() - self._since)
        reply = self._owner(lines) if len(self.waits) < self._most else None
        self._since = self._clock()
        return reply


def walked(folder: Path) -> str:
    """Read and build the rules as `diagnose` does, then answer at random; each answer's wait is timed."""
    start = time.perf_counter()
    knowledge = ready(load([base_pack(), folder]))
    built = time.perf_counter() - start
    rng = random.Random(1)
    answers = {name: str(rng.choice(list(finding.answers))) for name, finding in knowledge.findings.items()}
    owner = Stopwatch(Owner("it dies at idle", answers, frozenset(), knowledge))
    with tempfile.TemporaryDirectory() as cases:
        walk_with(knowledge, owner, Path(cases))
    waits = sorted(1_000 * wait for wait in owner.waits)
    return f"ready in {built:.1f} s, {len(waits)} answers: median {median(waits):.0f} ms, longest {waits[-1]:.0f} ms"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    kinds = [sound, large_club, chained, alike, crossed, misspelt, switched]
    for kind in (kind for kind in kinds if len(sys.argv) < 3 or kind.__name__ == sys.argv[2]):
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "pack.yaml").write_text(PACK)
            (Path(folder) / "rules.yaml").write_text("".join(kind(count, random.Random(1))))
            took, said = checked(Path(folder))
            print(f"{kind.__name__:10} {count:,} rules: {took:5.1f} s  ({said})", flush=True)
            if "exit 0" in said:
                print(f"{'':10} walk: {walked(Path(folder))}", flush=True)


if __name__ == "__main__":
    main()
