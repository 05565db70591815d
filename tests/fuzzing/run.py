"""Fuzz the readers of what strangers send: packs, case files, case logs. Needs the `fuzz` extra (atheris, Linux).

    python tests/fuzzing/run.py [pack|head|case|log|all] [SECONDS]

Each reader runs in a process of its own for so many seconds (60), with two gigabytes and ten seconds an input at most.
What breaks a reader is written to a file beside, whose path is said; put it into tests/fuzzing/found/ under READER-NAME
and mend the reader: tests/test_untrusted.py reads all that is there. Ends with 1 when something was found.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
MEGABYTES, SECONDS_AN_INPUT = 2_048, 10


def fuzz(reader: str, seconds: int) -> None:
    """Run one reader in this process; libFuzzer ends it."""
    import atheris

    with atheris.instrument_imports(include=["diagnose.knowledge", "diagnose.case"]):
        from readers import READERS
        from seeds import PIECES, seeds

    room = Path(tempfile.mkdtemp(prefix=f"fuzz-{reader}-"))
    corpus = room / "corpus"
    corpus.mkdir()
    for place, text in enumerate(seeds()[reader]):
        (corpus / str(place)).write_text(text, encoding="utf-8")
        READERS[reader](text.encode())  # what is loaded only when it is needed is no input's time
    words = "".join('"' + "".join(f"\\x{byte:02x}" for byte in piece.encode()) + '"\n' for piece in PIECES)
    (room / "words").write_text(words)
    options = [
        sys.argv[0], str(corpus), f"-dict={room / 'words'}", f"-max_total_time={seconds}", "-max_len=8000",
        f"-timeout={SECONDS_AN_INPUT}", f"-rss_limit_mb={MEGABYTES}", f"-artifact_prefix={HERE}/broken-{reader}-",
        "-print_final_stats=1", "-verbosity=0",
    ]  # fmt: skip
    atheris.Setup(options, READERS[reader])
    atheris.Fuzz()


def main() -> int:
    which = sys.argv[1] if len(sys.argv) > 1 else "all"
    seconds = int(sys.argv[2]) if len(sys.argv) > 2 else 60
    if len(sys.argv) > 3:  # this is the process of one reader
        fuzz(which, seconds)
    found = 0
    for reader in ("pack", "head", "case", "log") if which == "all" else (which,):
        done = subprocess.run([sys.executable, __file__, reader, str(seconds), "alone"], capture_output=True, text=True)
        said = (done.stdout + done.stderr).splitlines()
        runs = next((line.split()[-1] for line in said if "number_of_executed_units" in line), "?")
        print(f"{reader}: {runs} inputs in {seconds} s, {'nothing found' if not done.returncode else 'BROKEN'}", flush=True)
        if done.returncode:
            found = 1
            print("\n".join(said[-40:]))
    return found


if __name__ == "__main__":
    sys.exit(main())
