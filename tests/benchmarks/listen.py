"""How well the listening hears invented engines, where it breaks, and how fast: prints the tables of DEVELOPERS.md.

    python tests/benchmarks/listen.py            about six minutes on two slow cores; librosa is compared if installed

The sounds come from tests/engine_sounds.py, which knows nothing of the analyser. No real recording was ever tried.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from engine_sounds import Recording, Sound, flight, hover, make  # noqa: E402

from diagnose.listen.envelope import RATE, envelopes  # noqa: E402
from diagnose.listen.hearing import Heard, hear  # noqa: E402
from diagnose.listen.known import Known  # noqa: E402
from diagnose.listen.measures import measured  # noqa: E402

SHARES = (0.0, 0.13, 0.3, 0.6, 1.0)
SEEDS = (31, 32)
SECONDS = 20.0
FOLDER = Path(tempfile.mkdtemp())


@dataclass(frozen=True)
class Outcome:
    """What came of one recording: speed errors of the frames, share as heard and in truth, octave."""

    off: Any  # |speed / true speed - 1| of the frames in which the engine was heard
    heard: float  # share of the frames in which it was
    share: float
    true: float
    told: bool
    factor: float  # speed over the true speed, on the whole
    seconds: float  # of processor time


def wav(recording: Recording, name: str = "sound.wav") -> Path:
    path = FOLDER / name
    soundfile.write(path, recording.samples, recording.rate)
    return path


def listen_to(sound: Sound, known: Known = Known()) -> tuple[Outcome, Heard, Recording]:  # noqa: B008
    made = make(sound)
    path = wav(made)
    started = time.process_time()
    heard = hear(path, known)
    spent = time.process_time() - started
    seen = heard.running & np.isfinite(heard.rpm) & (heard.at > 0.3) & (heard.at < sound.seconds - 0.3)
    ratio = heard.rpm[seen] / made.rpm(heard.at[seen])
    factor = float(np.median(ratio)) if seen.any() else float("nan")
    share = float(heard.four[seen].mean()) if seen.any() else float("nan")
    outcome = Outcome(np.abs(ratio - 1), float(seen.mean()), share, made.share, heard.octave.certain, factor, spent)
    return outcome, heard, made


def profile(kind: str, seed: int) -> Callable[[Any], Any]:
    """Hover at a speed of its own, or a flight up to one."""
    top = float(np.random.default_rng(seed).uniform(6_000, 13_500))
    return hover(top) if kind == "hover" else flight(1_900, top, SECONDS)


def table(head: str, rows: Iterable[str]) -> None:
    print(f"\n{head}")
    for row in rows:
        print(row, flush=True)


def by_noise() -> Iterable[str]:
    yield "profile noise  heard  speed off: median  over 1 %   share off: mean  worst  wrong octave"
    for kind in ("hover", "flight"):
        for noise in (20, 10, 5, 0, -5):
            several = []
            for share in SHARES:
                for seed in SEEDS:
                    sound = Sound(SECONDS, speed=profile(kind, seed), share=share, noise=noise, seed=seed)
                    top = float(np.max(sound.speed(np.linspace(0, SECONDS, 400))))
                    several.append(listen_to(sound, Known(speed=top))[0])
            off = np.concatenate([one.off for one in several])
            missed = [100 * abs(one.share - one.true) for one in several if np.isfinite(one.share)]
            wrong = np.mean([not 0.7 < one.factor < 1.4 for one in several])
            yield (
                f"{kind:7} {noise:3} dB  {100 * np.mean([one.heard for one in several]):4.0f}%"
                f"  {100 * np.median(off):16.2f}%  {100 * np.mean(off > 0.01):7.1f}%"
                f"  {np.mean(missed):16.1f}  {np.max(missed):5.1f}  {100 * wrong:9.0f}%"
            )


def octaves() -> Iterable[str]:
    yield "what is given                                sounds  right  wrong  cannot tell"
    given: dict[str, Callable[[float], Known]] = {
        "nothing": lambda top: Known(),
        "gear ratio 8": lambda top: Known(machine="helicopter", gear=8.0),
        "gear ratio and head speed": lambda top: Known(machine="helicopter", gear=8.0, head=top / 8 * 1.15),
        "engine speed, 20 % off": lambda top: Known(speed=top * 0.8),
    }
    sounds = [
        Sound(12.0, 22_050, profile(kind, seed), share=share, noise=10, rotor=-6.0, seed=seed)
        for kind in ("hover", "flight")
        for share in (0.0, 0.1, 0.3, 0.6)
        for seed in range(41, 46)
    ]
    always = [replace(sound, share=1.0) for sound in sounds[::4]]
    for name, several in (("", sounds), (", four-strokes throughout", always)):
        for what, known in given.items():
            right = wrong = 0
            for sound in several:
                top = float(np.max(sound.speed(np.linspace(0, sound.seconds, 400))))
                outcome = listen_to(sound, known(top))[0]
                right += outcome.told and 0.95 < outcome.factor < 1.05
                wrong += outcome.told and not 0.95 < outcome.factor < 1.05
            total = len(several)
            unsaid = total - right - wrong
            shares = (right / total, wrong / total, unsaid / total)
            yield f"{what + name:42} {total:5}  " + "  ".join(f"{100 * share:5.0f}%" for share in shares)


HARD: dict[str, dict[str, Any]] = {
    "as it is, 10 dB": {},
    "miss half as strong as a beat": {"missed": 0.5},
    "miss 0.7 as strong": {"missed": 0.7},
    "miss 0.85 as strong": {"missed": 0.85},
    "beat changes foot, 1 in 4": {"slip": 0.25},
    "bursts of 0.2 s": {"stretch": 0.2},
    "bursts of 0.08 s": {"stretch": 0.08},
    "3 % missed in no order": {"share": 0.0, "random_miss": 0.03},
    "30 % missed in no order": {"share": 0.0, "random_miss": 0.3},
    "jitter 35 % and 3 % of a turn": {"share": 0.0, "strength_jitter": 0.35, "timing_jitter": 0.03},
    "jitter 60 % and 5 % of a turn": {"share": 0.0, "strength_jitter": 0.6, "timing_jitter": 0.05},
    "clipped at a quarter": {"clip": 0.25},
    "clipped at a twentieth": {"clip": 0.05},
    "phone, 300 Hz to 8 kHz, own gain": {"phone": True},
    "8 kHz recording": {"rate": 8_000},
    "rotor as loud, to 0.5 kHz": {"rotor": 0.0},
    "rotor 10 dB louder": {"rotor": 10.0},
    "rotor 20 dB louder": {"rotor": 20.0},
    "slapping rotor, 10 dB quieter": {"rotor": -10.0, "slapping": True},
    "slapping rotor, 5 dB quieter": {"rotor": -5.0, "slapping": True},
    "slapping rotor, as loud": {"rotor": 0.0, "slapping": True},
    "flies past at 20 m/s, 15 m off": {"passes": 20.0},
    "twin that fires by turns": {"firings": 2, "speed": hover(7_000)},
    "such a twin, one 30 % weaker": {"firings": 2, "unlike": 0.3, "speed": hover(7_000)},
}


def where_it_breaks() -> Iterable[str]:
    yield "hover, share 0.3, 10 dB            speed off  over 3 %   share off   missed: heard, true   weaker by  told"
    for name, change in HARD.items():
        several = []
        for seed in (51, 52):
            asked = {"speed": hover(), "share": 0.3, "noise": 10.0, "seed": seed, **change}
            sound = Sound(SECONDS, **asked)
            top = float(np.max(sound.speed(np.linspace(0, SECONDS, 400))))
            known = Known(speed=top, gear=8.0 if sound.rotor is not None else None, firings=sound.firings)
            several.append(listen_to(sound, known))
        off = np.concatenate([outcome.off for outcome, _, _ in several])
        share = [100 * (outcome.share - outcome.true) for outcome, _, _ in several]
        missed = [100 * float((heard.missed - heard.chance)[heard.running].mean()) for _, heard, _ in several]
        true = [100 * float(np.mean(~made.fired & ~made.four_stroked)) for _, _, made in several]
        untold = {measured(heard).of["share-power"].why for _, heard, _ in several} - {""}
        told = "yes" if not untold else "no: " + "; ".join(sorted(untold))
        weaker = np.mean([heard.contrast for _, heard, _ in several])
        share_off = f"{share[0]:+5.1f} {share[1]:+5.1f}"
        yield (
            f"{name:33} {100 * np.median(off):8.2f}%  {100 * np.mean(off > 0.03):7.1f}%"
            f"  {share_off}  {np.mean(missed):12.1f} {np.mean(true):6.1f}  {100 * weaker:10.0f}%  {told}"
        )


def against_a_pitch_library() -> Iterable[str]:
    try:
        import librosa
    except ImportError:
        yield "librosa is not installed: not compared (pip install '.[benchmark]')"
        return
    low, high = 1_100 / 60, 16_500 / 60

    def yin(x: Any, rate: int, length: int) -> Any:
        return librosa.yin(x, fmin=low, fmax=high, sr=rate, frame_length=length, hop_length=rate // 20)

    def pyin(x: Any, rate: int, length: int) -> Any:
        return librosa.pyin(x, fmin=low, fmax=high, sr=rate, frame_length=length, hop_length=rate // 20)[0]

    yield "20 s of flight      way                    within 1 %  wrong octave  other wrong  no speed  times real time"
    for share, noise in ((0.0, 20), (0.3, 20), (0.6, 20), (0.3, 10), (0.3, 0)):
        sound = Sound(SECONDS, speed=profile("flight", 31), share=share, noise=noise, seed=61)
        outcome, heard, made = listen_to(sound)
        rows: list[tuple[str, Any, float]] = [("this program", heard.rpm, outcome.seconds)]
        x = made.samples.astype(np.float32)
        bands = np.concatenate([piece.bands for piece in envelopes([x], made.rate)], axis=1)
        envelope = (bands / bands.mean(axis=1, keepdims=True)).mean(axis=0) - 1
        for name, way, signal, rate, length in (
            ("yin", yin, x, made.rate, 8_192), ("pyin", pyin, x, made.rate, 8_192),
            ("yin, our envelope", yin, envelope, RATE, 1_024), ("pyin, our envelope", pyin, envelope, RATE, 1_024),
        ):  # fmt: skip
            way(signal[:rate], rate, length)  # compiles
            started = time.process_time()
            pitch = np.asarray(way(signal, rate, length), dtype=float)
            rows.append((name, pitch * 60, time.process_time() - started))
        for name, speed, spent in rows:
            at = heard.at if name == "this program" else np.arange(len(speed)) / 20
            ratio = speed / made.rpm(at)
            near = np.abs(ratio - 1) < 0.01
            octave = (np.abs(ratio - 0.5) < 0.03) | (np.abs(ratio - 2) < 0.1) | (np.abs(ratio - 0.25) < 0.02)
            nothing = ~np.isfinite(ratio)
            other = ~(near | octave | nothing | (np.abs(ratio - 1) < 0.03))
            yield (
                f"share {share:.1f}, {noise:2} dB    {name:20} {100 * near.mean():10.0f}%  {100 * octave.mean():11.0f}%"
                f"  {100 * other.mean():10.0f}%  {100 * nothing.mean():7.0f}%  {SECONDS / spent:10.0f}"
            )


def long_files() -> Iterable[str]:
    """An hour and shorter, written in pieces, so that no memory is used but the program's own."""
    yield "length     file            times real time   most memory of Python objects   of the process"
    sound = Sound(30.0, speed=flight(1_900, 12_000, 30.0), share=0.2, noise=12, seed=71)
    piece = make(sound).samples.astype(np.float32)
    for minutes, ending in ((1, "wav"), (10, "wav"), (60, "wav"), (10, "flac"), (10, "ogg")):
        path = FOLDER / f"long.{ending}"
        with soundfile.SoundFile(path, "w", samplerate=sound.rate, channels=1) as out:
            for _ in range(2 * minutes):
                out.write(piece)
        started = time.process_time()
        measured(hear(path))
        spent = time.process_time() - started
        most = ""
        if minutes <= 10 and ending == "wav":  # tracing is slow
            tracemalloc.start()
            hear(path)
            most = f"{tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB"
            tracemalloc.stop()
        process = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        size = path.stat().st_size / 1e6
        yield f"{minutes:3} min    {ending:5} {size:6.0f} MB  {60 * minutes / spent:12.0f}  {most:>28}  {process:14.0f} MB"
        path.unlink()


if __name__ == "__main__":
    wanted = sys.argv[1:]
    for name, head, rows in (
        ("long", "Long files (44.1 kHz, processor time)", long_files),
        (
            "noise",
            "Speed and four-stroking by noise (two seeds each of five shares, 20 s, 44.1 kHz; engine speed given)",
            by_noise,
        ),
        ("octave", "Is a beat a turn? (10 dB, rotor 6 dB quieter, ratio 8, two blades, 12 s)", octaves),
        ("hard", "Where it breaks", where_it_breaks),
        ("pitch", "Against a general pitch library", against_a_pitch_library),
    ):
        if not wanted or name in wanted:
            table(head, rows())
