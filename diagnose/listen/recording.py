"""A recording on disk: is it one that can be heard, and its sound in blocks. Reading is libsndfile's, through soundfile."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

RATES = (8_000, 96_000)
"""Samples a second that are enough to hear pulses by, and no more than any phone gives."""

SHORTEST, LONGEST = 2.0, 3_660.0
"""Seconds: two for a speed that can be believed, and an hour with a minute of grace."""

BLOCK = 10.0
"""Seconds read at a time."""

SILENT = 1e-4
"""Peak, of full scale 1, under which there is nothing in it (-80 dB)."""

NO_READER = {".m4a": "AAC", ".mp4": "AAC", ".aac": "AAC", ".3gp": "AMR", ".amr": "AMR", ".wma": "WMA", ".opus": ""}
"""What phones also write, and libsndfile does not read (of Opus: not in every build)."""


class NotHeard(ValueError):
    """The file cannot be heard; the message says which, why and what to do, in one line."""


@dataclass(frozen=True, slots=True)
class Recording:
    """A file that can be opened as sound. `channel` is the microphone listened to: the louder one at its beginning, for
    two mixed comb out a part of the sound."""

    path: Path
    rate: int
    channels: int
    channel: int

    @property
    def name(self) -> str:
        """The file's name, as it is shown and kept: printable, and not endless."""
        name = "".join(c if c.isprintable() else "?" for c in self.path.name)
        return name if len(name) <= 60 else name[:57] + "..."


def find(path: Path) -> Recording:
    """Return the recording at `path`. Raises NotHeard."""
    try:
        if path.is_dir():
            raise NotHeard(f"{path}: is a folder; name the recording in it")
        with path.open("rb") as file:
            empty = not file.read(1)
    except FileNotFoundError:
        raise NotHeard(f"{path}: there is no such file; check the name, or type its whole path") from None
    except (OSError, ValueError) as error:
        raise NotHeard(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if empty:
        raise NotHeard(f"{path}: is empty; copy it from the phone again")
    with _opened(path) as sound:
        rate, channels, promised = int(sound.samplerate), int(sound.channels), int(sound.frames)
        if not RATES[0] <= rate <= RATES[1]:
            raise NotHeard(f"{path}: has {rate} samples a second; {RATES[0]} to {RATES[1]} can be heard: record it again")
        if channels > 2:
            raise NotHeard(f"{path}: has {channels} channels; save it with one or two")
        if promised > LONGEST * rate:
            raise NotHeard(f"{path}: lasts {promised / rate / 60:.0f} minutes; an hour is the most: cut out what matters")
        if promised < SHORTEST * rate:
            raise NotHeard(_short(path, promised / rate))
        first = next(_blocks(sound), np.zeros((1, channels), dtype=np.float32))
    return Recording(path, rate, channels, int((first**2).sum(axis=0).argmax()))


def _short(path: Path, seconds: float) -> str:
    return f"{path}: holds {seconds:.1f} seconds of sound; {SHORTEST:g} is the least, half a minute is better"


@dataclass(slots=True)
class Passed:
    """What went by while a recording was read from end to end."""

    seconds: float = 0.0
    peak: float = 0.0
    whole: bool = True  # False when the file was cut off; what is there has been heard


def blocks(recording: Recording, passed: Passed | None = None) -> Iterator[Array]:
    """Yield the sound of the recording, BLOCK seconds at a time: samples between -1 and 1.

    `passed` is filled on the way. Raises NotHeard at the end, when it was too short or silent.
    """
    passed = passed or Passed()
    with _opened(recording.path) as sound:
        promised = int(sound.frames)
        for block in _blocks(sound):
            heard = np.ascontiguousarray(block[:, recording.channel])
            if not np.isfinite(heard).all():
                raise NotHeard(f"{recording.path}: holds numbers that are no sound; save it again as plain WAV or FLAC")
            passed.seconds += len(heard) / recording.rate
            passed.peak = max(passed.peak, float(np.abs(heard).max()))
            yield heard
        passed.whole = passed.seconds * recording.rate >= promised - 0.5 and not _cut_off(str(sound.extra_info))
    if passed.seconds < SHORTEST:
        raise NotHeard(_short(recording.path, passed.seconds))
    if passed.peak < SILENT:
        raise NotHeard(f"{recording.path}: is silent; was the microphone covered or switched off?")


def _opened(path: Path) -> Any:
    import soundfile

    try:
        return soundfile.SoundFile(path)
    except soundfile.LibsndfileError:
        kind = NO_READER.get(path.suffix.lower())
        if kind is None:
            what = "is no sound file that can be read, or its beginning is damaged"
        else:
            what = f"is {kind or path.suffix[1:]} sound, which is not read here"
        raise NotHeard(f"{path}: {what}; save it as WAV, FLAC or OGG") from None


def _blocks(sound: Any) -> Iterator[Array]:
    """Blocks of (samples, channels) until the end, or until the file cannot be read any further."""
    import soundfile

    size = int(BLOCK * sound.samplerate)
    while True:
        try:
            block: Array = sound.read(size, dtype="float32", always_2d=True)
        except soundfile.LibsndfileError:  # what is left of a file that was cut off
            return
        if not len(block):
            return
        yield block


def _cut_off(told: str) -> bool:
    """True if libsndfile found less in the file than its header promises."""
    return "(should be" in told or "end-of-stream bit" in told
