"""`diagnose book add`: owners, machines, engines, carburettors, settings, notes and recordings written in by hand."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from .book_running import WELL, Rules, as_command, opened, place_of
from .knowledge.model import Knowledge


def add_parser(inside: Any, rules: Callable[[argparse.Namespace], Knowledge]) -> None:
    """Enter `add` with what can be added among the commands of the book."""
    add = inside.add_parser("add", help="write an owner, machine, engine, carburettor, setting, note or recording into it")
    things = add.add_subparsers(metavar="what", required=True)

    def enter(name: str, run: Callable[[argparse.Namespace, Rules], int], help: str) -> argparse.ArgumentParser:
        made: argparse.ArgumentParser = things.add_parser(name, help=help)
        made.set_defaults(run=as_command(run, rules))
        return made

    owner = enter("owner", _add_owner, "a person, by a call sign they choose")
    owner.add_argument("name", metavar="CALL-SIGN")
    machine = enter("machine", _add_machine, "a machine")
    machine.add_argument("name", metavar="NAME")
    machine.add_argument("--kind", metavar="KIND", help="helicopter, aeroplane or bench-stand")
    machine.add_argument("--owner", metavar="CALL-SIGN")
    engine = enter("engine", _add_engine, "the engine of a machine")
    engine.add_argument("name", metavar="NAME")
    engine.add_argument("--machine", required=True, metavar="NAME")
    engine.add_argument("--cc", metavar="NUMBER", help="its size in cubic centimetres")
    carburettor = enter("carburettor", _add_carburettor, "the carburettor of an engine")
    carburettor.add_argument("name", metavar="NAME")
    carburettor.add_argument("--machine", required=True, metavar="NAME")
    carburettor.add_argument("--engine", metavar="NAME", help="where the machine has several")
    setting = enter("setting", _add_setting, "a needle setting that was in use, with the weather of the day")
    setting.add_argument("--machine", required=True, metavar="NAME")
    for option, metavar, help in (
        ("--H", "TURNS", "out from lightly seated, such as '1 1/4'"), ("--L", "TURNS", "the same"),
        ("--hours", "HOURS", "on the engine"), ("--temperature", "T", "of the air, such as 21 C or 70 F"),
        ("--pressure", "P", "at the field, not reduced to sea level, such as 980 hPa"),
        ("--humidity", "PERCENT", "relative"), ("--height", "H", "of the field, such as 350 m"),
        ("--head", "T", "highest head temperature"), ("--at", "DAY", "when (now)"), ("--remark", "TEXT", "anything else"),
    ):  # fmt: skip
        setting.add_argument(option, metavar=metavar, help=help)
    note = enter("note", _add_note, "a note about a machine")
    note.add_argument("text", metavar="TEXT")
    note.add_argument("--machine", required=True, metavar="NAME")
    note.add_argument("--at", metavar="DAY")
    recording = enter("recording", _add_recording, "what a sound recording said")
    recording.add_argument("file", metavar="FILE")
    recording.add_argument("results", nargs="+", metavar="NAME=NUMBER[UNIT]", help="such as four-stroking=7%%")
    recording.add_argument("--machine", metavar="NAME")
    recording.add_argument("--at", metavar="DAY")


def _add_owner(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import added, named
    from .book.schema import owners

    with opened(options, make=True) as book, book.writing() as connection:
        added(connection, owners, {"call_sign": named(options.name)})
    print(f"Written into {place_of(options)}")
    return WELL


def _add_machine(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import added, kind, known, named
    from .book.schema import machines, owners

    meant = kind(rules(), options.kind) if options.kind else None
    with opened(options, make=True) as book, book.writing() as connection:
        owner = known(connection, owners, options.owner)["uid"] if options.owner else None
        added(connection, machines, {"name": named(options.name), "kind": meant, "owner": owner})
    print(f"Written into {place_of(options)}")
    return WELL


def _add_engine(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import added, known, named, number
    from .book.schema import engines, machines

    with opened(options) as book, book.writing() as connection:
        machine = known(connection, machines, options.machine)
        size = number(options.cc) if options.cc else None
        added(connection, engines, {"name": named(options.name), "machine": machine["uid"], "cubic_centimetres": size})
    print(f"Written into {place_of(options)}")
    return WELL


def _add_carburettor(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import added, engine_of, known, named
    from .book.schema import carburettors, machines

    with opened(options) as book, book.writing() as connection:
        engine = engine_of(connection, known(connection, machines, options.machine), options.engine)
        added(connection, carburettors, {"name": named(options.name), "engine": engine["uid"]})
    print(f"Written into {place_of(options)}")
    return WELL


def _add_setting(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import add_setting, setting_value
    from .book.places import BookTrouble

    typed = {
        "h_sixteenths": options.H, "l_sixteenths": options.L, "hours": options.hours, "temperature_c": options.temperature,
        "pressure_hpa": options.pressure, "humidity_percent": options.humidity, "field_height_m": options.height,
        "head_temperature_c": options.head,
    }  # fmt: skip
    values = {column: setting_value(column, text) for column, text in typed.items() if text}
    if not values and not options.remark:
        raise BookTrouble("a setting says at least one thing: for instance --H '1 1/4' --L '1 3/8' --temperature 21C")
    with opened(options) as book, book.writing() as connection:
        add_setting(connection, options.machine, {**values, "remark": options.remark}, options.at)
    print(f"Written into {place_of(options)}")
    return WELL


def _add_note(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import add_note

    with opened(options) as book, book.writing() as connection:
        add_note(connection, options.machine, options.text, options.at)
    print(f"Written into {place_of(options)}")
    return WELL


def _add_recording(options: argparse.Namespace, rules: Rules) -> int:
    from .book.entries import add_recording

    with opened(options, make=True) as book, book.writing() as connection:
        add_recording(connection, options.machine, Path(options.file).name, options.results, options.at)
    print(f"Written into {place_of(options)}")
    return WELL
