"""Whether a change in the code changes what is concluded: 300 random cases, written down before and compared after.

    python tests/benchmarks/same_conclusions.py write before.json     in the code as it was
    python tests/benchmarks/same_conclusions.py compare before.json   in the code as it is

Half of the cases are answered at random on the base rules alone, half on the base with a made-up pack of 2,000 rules.
Compared are the rules that fire, every conclusion with what it rests on, the order and shares of the causes, and what
is to be done next.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
from pathlib import Path

from large_pack import PACK, large_club

from diagnose.case.state import CaseState, Given
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load
from diagnose.planning.examine import examine

CASES = 300
RULES = 2_000


def concluded(knowledge: Knowledge, seed: int) -> dict[str, object]:
    """All that follows from a random case, as plain data."""
    rng = random.Random(seed)
    asked = rng.sample(list(knowledge.findings.values()), rng.randint(0, 40))
    answers = {str(finding.id): str(rng.choice(list(finding.answers))) for finding in asked}
    seen = examine(knowledge, CaseState(findings={name: Given(answer) for name, answer in answers.items()}))
    it = seen.conclusions
    groups = {name: dict(getattr(it, name)) for name in ("lacks", "cautions", "holds", "skips", "first", "sooner")}
    return {
        "answers": answers,
        "fired": sorted(it.fired),
        "conditions": {name: [one.rules, sorted(one.rests_on)] for name, one in it.conditions.items()},
        "evidence": [repr(one) for one in it.evidence],
        "clashes": it.clashes,
        **groups,
        "causes": [[ranked.cause, round(ranked.probability, 9)] for ranked in seen.standing.causes],
        "next": repr(seen.next),
    }


def cases() -> list[dict[str, object]]:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "pack.yaml").write_text(PACK)
        (Path(folder) / "rules.yaml").write_text("".join(large_club(RULES, random.Random(1))))
        sets = [load([base_pack()]), load([base_pack(), Path(folder)])]
    return [concluded(sets[seed % 2], seed) for seed in range(CASES)]


def main() -> int:
    what, file = sys.argv[1], Path(sys.argv[2])
    now = json.loads(json.dumps(cases()))
    if what == "write":
        file.write_text(json.dumps(now))
        print(f"{len(now)} cases written")
        return 0
    before = json.loads(file.read_text())
    differ = [
        (place, key) for place, (was, is_now) in enumerate(zip(before, now, strict=True))
        for key in was if was[key] != is_now[key]
    ]  # fmt: skip
    for place, key in differ[:20]:
        print(f"case {place}, {key}:\n  was {before[place][key]}\n  is  {now[place][key]}")
    print(f"{len(now)} cases, {len({place for place, _ in differ}) or 'none'} differ")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
