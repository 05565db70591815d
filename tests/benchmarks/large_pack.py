"""How long `diagnose rules check` takes over a generated pack of 10,000 rules, sound and with faults in every rule.

    python tests/benchmarks/large_pack.py [RULES [KIND]]

Prints seconds for each kind of pack, or for one. The aim is under 10 s. Everything in the packs is invented.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

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


def seconds(folder: Path) -> tuple[float, str]:
    start = time.perf_counter()
    command = [sys.executable, "-m", "diagnose", "rules", "check", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True)
    took = time.perf_counter() - start
    return took, f"{len(done.stdout.splitlines()):,} lines said, exit {done.returncode}{done.stderr[-300:]}"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    kinds: list[Callable[[int, random.Random], Iterator[str]]] = [sound, alike, crossed, misspelt, switched]
    for kind in (kind for kind in kinds if len(sys.argv) < 3 or kind.__name__ == sys.argv[2]):
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "pack.yaml").write_text(PACK)
            (Path(folder) / "rules.yaml").write_text("".join(kind(count, random.Random(1))))
            took, said = seconds(Path(folder))
        print(f"{kind.__name__:9} {count:,} rules: {took:5.1f} s  ({said})", flush=True)


if __name__ == "__main__":
    main()
