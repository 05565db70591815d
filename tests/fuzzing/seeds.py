"""Good files to begin from, and pieces that readers stumble over. Everything in them is invented."""

from __future__ import annotations

from pathlib import Path

from diagnose.clubrules.start import EXAMPLE

TESTS = Path(__file__).parents[1]
HEAD = "pack: strange\nname: A strange pack\nversion: 0.1\nauthor: nobody\nneeds: [bench 0.1]\n"

ENTRIES = """\
- finding: strange-clip
  ask: How does the clip sit?
  why: It lets air in.
  minutes: 1
  cautions: [hot]
  check: strange-look
  answers:
    firm: {say: firm, seen: usually}
    turns: {say: it turns, seen: rarely, like: [clip is loose]}
- finding: strange-heat
  ask: How hot?
  why: Lean runs hot.
  number: temperature
  unit: degC
  least: 0
  most: 300
  minutes: 1
  answers:
    cool: {say: cool, below: 90, seen: often}
    hot: {say: hot, seen: sometimes, like: [too hot]}
- check: strange-look
  name: Look at the clip
  why: It takes a minute.
  minutes: 1
  engine: cold
  steps: [Turn it., {do: Close the H needle., under: [close-needle]}]
  finds: [strange-clip]
  basis: invented
- condition: strange-air
  name: Air gets in
  says: Air gets in.
  seen: rarely
- cause: strange-turns
  name: The clip turns
  family: fuel
  how_common: rarely
  explains: Air gets in.
  shows: {strange-clip: {turns: nearly-always}, strange-air: usually, idle: {hunts: often}}
  settled_by: strange-look
  fix: {minutes: 5, tools: [clamp], cautions: [hot], steps: [Clamp it.]}
  proof: It idles.
  harm: It runs lean.
  basis: invented
- rule: strange-draws
  when: {all: [{strange-clip: turns}, {any: [{idle: hunts}, {strange-heat: [hot, cool]}]}]}
  means: strange-air
  because: Air gets in.
  basis: invented
- rule: strange-warns
  when: {is: strange-air}
  caution: [lean-run]
  because: Air makes lean.
  basis: invented
- rule: strange-holds
  when: {is_not: strange-air, machine: known}
  hold: [run-at-power]
  until: it is looked at
  because: Air makes lean.
  basis: invented
- rule: strange-first
  first: [strange-look]
  because: It is quick.
  basis: invented
- kin: strange-kin
  of: [strange-clip, idle]
  are: related
  because: Both show air.
- reweigh: bolts-loose
  how_common: rarely
  shows: {idle: {hunts: rarely}}
  because: We lock ours.
- switch_off: opening
  because: We begin otherwise.
"""

CASE = """\
title: It hunts
input: {machine: helicopter, idle: hunts, bolts: loose, head-temperature: 212 F}
first: [bolts-loose]
never: [plug-dead]
cautions: [lean-run]
holds: [close-needle]
silent: [dead-engine]
"""

LOG = """\
{"event": "opened", "at": "2026-05-01T10:00:00+02:00", "case": "2026-05-01-1", "format": 1}
{"event": "rules", "at": "2026-05-01T10:00:00+02:00", "packs": ["bench 0.1"]}
{"event": "words", "at": "2026-05-01T10:00:00+02:00", "text": "surges at idle"}
{"event": "answer", "at": "2026-05-01T10:00:00+02:00", "finding": "machine", "answer": "helicopter"}
{"event": "heard", "at": "2026-05-01T10:00:00+02:00"}
{"event": "answer", "at": "2026-05-01T10:00:00+02:00", "finding": "head-temperature", "answer": "hot", "reading": "390 F"}
{"event": "unknown", "at": "2026-05-01T10:00:00+02:00", "finding": "idle"}
{"event": "needle", "at": "2026-05-01T10:00:00+02:00", "needle": "H", "sixteenths": 20, "moved": false}
{"event": "needle", "at": "2026-05-01T10:00:00+02:00", "needle": "H", "sixteenths": 2, "moved": true}
{"event": "note", "at": "2026-05-01T10:00:00+02:00", "text": "came off last month"}
{"event": "check", "at": "2026-05-01T10:00:00+02:00", "check": "bolt-check"}
{"event": "withdraw", "at": "2026-05-01T10:00:00+02:00", "numbers": [7]}
{"event": "fixed", "at": "2026-05-01T10:00:00+02:00", "cause": "bolts-loose"}
{"event": "passed", "at": "2026-05-01T10:00:00+02:00", "retest": "restrained"}
{"event": "repair", "at": "2026-05-01T10:00:00+02:00", "cause": "bolts-loose", "result": "better", "forgotten": [4]}
{"event": "no-longer", "at": "2026-05-01T10:00:00+02:00", "numbers": [6]}
{"event": "repair", "at": "2026-05-01T10:00:00+02:00", "cause": "bolts-loose", "result": "gone", "proof": "idles"}
{"event": "closed", "at": "2026-05-01T10:00:00+02:00", "how": "found", "causes": ["bolts-loose"]}
"""

PIECES = (
    "&a ", "*a", "!!python/object/apply:os.system [id]", "!a ", "<<: ", "%YAML 1.1\n", "---\n", "...\n", "? ", ": ", "- ",
    "[", "]", "{", "}", ",", "|", ">", "'", '"', '"\\e[2J"', '"\\u202e"', '"\\ud800"', '"\\x00"', "\x1b[2J", "\x9b", "\x00",
    "\u202e", "\u2066", "\u200b", "\u2028", "\u0085", "\ufeff", "\u00a0", "\t", "\r", "\n", "\n  ", "#", "~", "no", "010",
    "1e999", "nan", "-inf", "9" * 400, "0x1f", "known", "concluded", "idle", "hunts", "lean-possible", "close-needle", "is",
    "is_not", "any", "all", "when", "means", "hold", "until", "strange-air", "nearly-always", "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>', "{{7*7}}", "{% for a in b %}", "]]>", "&lt;", "../../etc/passwd",
    "null", "true", "1e5", "1.5", "[[[[[[[[", '{"a": ' * 5, "[1, 2]", '"packs": [1]', '"numbers": [true]', "-5", "\\u001b",
    "Close the H needle an eighth.", "\U0001f600", "e\u0301",
)  # fmt: skip


def seeds() -> dict[str, list[str]]:
    """Reader -> good files for it."""
    example = [path.read_text(encoding="utf-8") for path in sorted(EXAMPLE.rglob("*.yaml"))]
    bench = [path.read_text(encoding="utf-8") for path in sorted((TESTS / "packs" / "bench").glob("*.yaml"))]
    handbooks = [path.read_text(encoding="utf-8") for path in sorted((TESTS / "handbooks").glob("*.yaml"))[:5]]
    return {"pack": [ENTRIES, *bench, *example], "head": [HEAD], "case": [CASE, *handbooks], "log": [LOG]}
