"""Where cases and club packs live: an option first, then an environment variable, then the user's data folder."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

DATA_VARIABLE = "DIAGNOSE_DATA"
RULES_VARIABLE = "DIAGNOSE_RULES"


def data_folder(option: str | None = None) -> Path:
    """Return the folder for cases and reports."""
    chosen = option or os.environ.get(DATA_VARIABLE)
    return Path(chosen) if chosen else Path(platformdirs.user_data_dir("diagnose", appauthor=False))


def kept_folder() -> Path:
    """Return the folder for what can be made anew at any time."""
    return Path(platformdirs.user_cache_dir("diagnose", appauthor=False))


def cases_folder(data: Path) -> Path:
    return data / "cases"


def reports_folder(data: Path) -> Path:
    return data / "reports"


def rules_folder(data: Path) -> Path:
    """Return the folder whose packs are read without being named."""
    return data / "rules"


def packs_named(option: list[str] | None = None) -> bool:
    """True if packs are named by the option or the variable, so that those in the data folder are not read."""
    return bool(option or os.environ.get(RULES_VARIABLE))


def club_packs(data: Path, option: list[str] | None = None) -> list[Path]:
    """Return the club packs to read after the base rules: by option, else by variable, else in the data folder."""
    if option:
        return [Path(name) for name in option]
    named = os.environ.get(RULES_VARIABLE)
    if named:
        return [Path(name) for name in named.split(os.pathsep) if name]
    folder = rules_folder(data)
    return (
        sorted(path for path in folder.iterdir() if path.is_dir() and not path.name.startswith("."))
        if folder.is_dir()
        else []
    )
