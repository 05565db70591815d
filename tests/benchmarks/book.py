"""How fast the book is with many cases. A program that prints; no test.

    .venv/bin/python tests/benchmarks/book.py --cases 100000

It fills an invented book in a temporary folder, then times what is waited for at the pits: opening, the machines' names
before the first question, a machine's history, what the cases teach, search and the plots. Each is the middle of five,
in a fresh connection; aims are under 1 s for search and plots and under 0.2 s for opening.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from statistics import median

from sqlalchemy import insert

from diagnose.book import asking
from diagnose.book.access import open_book
from diagnose.book.charts import CHARTS
from diagnose.book.copies import back_up
from diagnose.book.entries import known
from diagnose.book.glance import machine_names
from diagnose.book.history import history_of
from diagnose.book.learning import counted, learn
from diagnose.book.rows import Rows, take_in, uid_of
from diagnose.book.schema import TABLES, machines
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load

MACHINES = 300
FINDINGS = 20
WORDS = ("it", "hunts", "surges", "sags", "fades", "dies", "burbles", "at", "idle", "hot", "load", "refit", "climb")


def invented(knowledge: Knowledge, first: int, many: int, rng: Random) -> Rows:
    """Cases with twenty answers each, over ten years, on three hundred machines."""
    causes, findings = list(map(str, knowledge.causes)), list(knowledge.findings.values())
    rows: dict[str, list[dict[str, object]]] = {
        name: [] for name in ("cases", "case_findings", "causes_found", "fixes", "settings")
    }
    for number in range(first, first + many):
        uid, cause = uid_of("case", str(number)), rng.choice(causes)
        at = f"{2016 + number % 10}-{rng.randint(1, 12):02}-{rng.randint(1, 28):02}T10:00:00+02:00"
        machine = uid_of("machine", f"machine {rng.randrange(MACHINES)}")
        rows["cases"].append(
            {
                "uid": uid, "name": f"{at[:10]}-{number}", "machine": machine,
                "kind": rng.choice(["helicopter", "aeroplane"]), "opened": at, "closed": at, "how": "found",
                "confirmed": "retest", "minutes": rng.uniform(5, 200),
                "words": " ".join(rng.sample(WORDS, 6)), "packs": "base", "changed": at,
            }
        )  # fmt: skip
        rows["causes_found"].append({"case": uid, "place": 1, "cause": cause})
        rows["fixes"].append({"case": uid, "place": 1, "cause": cause, "result": "gone", "at": at})
        for finding in rng.sample(findings, FINDINGS):
            answer = str(rng.choice(list(finding.answers)))
            rows["case_findings"].append({"case": uid, "finding": str(finding.id), "answer": answer})
        if number % 5 == 0:
            height = rng.uniform(-200, 2500)
            rows["settings"].append(
                {
                    "uid": uid, "machine": machine, "at": at, "h_sixteenths": rng.randint(14, 24), "changed": at,
                    "l_sixteenths": rng.randint(14, 24), "density_altitude_m": height, "air_density": 1.1,
                    "head_temperature_c": rng.uniform(90, 180),
                }
            )  # fmt: skip
    return rows


def timed(name: str, what: Callable[[], object]) -> None:
    times = []
    for _ in range(5):
        began = time.perf_counter()
        what()
        times.append(time.perf_counter() - began)
    print(f"{name:44}{median(times):8.3f} s")


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--cases", type=int, default=100_000)
    asked = options.parse_args()
    knowledge, rng = load([base_pack()]), Random(1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.sqlite"
        began = time.perf_counter()
        with open_book(str(path), make=True) as book:
            with book.writing() as connection:
                named = [
                    {"uid": uid_of("machine", f"machine {n}"), "name": f"machine {n}", "changed": "x"}
                    for n in range(MACHINES)
                ]
                connection.execute(insert(TABLES.tables["machines"]), named)
            for first in range(0, asked.cases, 2_000):
                with book.writing() as connection:
                    take_in(connection, invented(knowledge, first, min(2_000, asked.cases - first), rng))
        print(f"{asked.cases} cases taken in: {time.perf_counter() - began:.0f} s, {path.stat().st_size / 1e6:.0f} MB")

        def once(use: Callable[..., object]) -> None:
            with open_book(str(path)) as book, book.reading() as connection:
                use(connection)

        timed("opening", lambda: once(lambda connection: None))
        timed("the machines' names, before the question", lambda: machine_names(path))
        timed("history of a machine", lambda: once(lambda c: history_of(c, "machine 7", "2026")))
        timed("what all cases teach", lambda: once(lambda c: learn(knowledge, counted(c, uid_of("machine", "machine 7")))))
        for said, sought in (
            ("search: two words", asking.Sought(words=("hunts", "climb"))),
            ("search: a word that is nowhere", asking.Sought(words=("zeppelin",))),
            (
                "search: a cause, on a machine, since a day",
                asking.Sought(cause="carb-bolts-loose", machine="machine 7", since="2020"),
            ),
        ):
            timed(said, lambda sought=sought: once(lambda c: asking.search(c, sought)))  # type: ignore[misc]
        for what, draws in CHARTS.items():
            for whose in ("machine 7",) if what in ("needles", "heat") else (None, "machine 7"):
                timed(
                    f"plot: {what}" + (" of a machine" if whose else ""),
                    lambda draws=draws, whose=whose: once(  # type: ignore[misc]
                        lambda c: draws(c, knowledge, known(c, machines, whose) if whose else None)
                    ),
                )
        began = time.perf_counter()
        with open_book(str(path)) as book:
            back_up(book, Path(folder) / "copy")
        print(f"{'copy while in use, once':44}{time.perf_counter() - began:8.3f} s")


if __name__ == "__main__":
    main()
