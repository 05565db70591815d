"""The JSON Schema of pack files, for editors: completed and marked while typing.

It is written by the readers themselves. Each runs over an entry that holds nothing, and `_Listening` notes what it asks
for: which fields, of what kind, and which of them must be there. So the schema cannot say other than the reader.
Only what the readers take apart by hand is spelt out here: the words of shows:, tables of answers, lists of needles, and
premises, which nest in themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any as Whatever

from .fields import ID, LONGEST_TEXT, Fields
from .frequency import FREQUENCY
from .hearing import MEASURED, SPAN
from .model import KNOWN
from .reader import MEASURES, READERS, VERSION, read_pack
from .rule_reader import DEEPEST_RULE, OUTCOMES
from .setup_model import NEEDLES
from .setup_reader import ANSWER_TABLES, NEEDLE_LISTS
from .source import Items, Node, Place, Table, Text

Schema = dict[str, Whatever]

_NOWHERE = Place("")
_TEXT: Schema = {"$ref": "#/$defs/text"}
_ID: Schema = {"$ref": "#/$defs/id"}
_WORD: Schema = {"enum": list(FREQUENCY)}


def _table(*pairs: tuple[str, Node]) -> Table:
    return Table(tuple((Text(key, _NOWHERE), value) for key, value in pairs), _NOWHERE)


_ANSWER = _table(("below", Text("1", _NOWHERE)))
_FIX = _table()
_STEP = _table()
_EXAMPLES: dict[str, Node] = {
    "answers": _table(("one", _ANSWER), ("two", _ANSWER)),
    "fix": _FIX,
    "steps": Items((_STEP,), _NOWHERE),
}
"""What a reader is given for a field that holds tables of its own, so that it asks for their fields too."""

_OPENERS = {"finding": ("number",), "rule": OUTCOMES}
"""Fields that make a reader ask for more."""


def _several(one: Schema) -> Schema:
    """A list, or one alone, which counts as a list of one."""
    return {"anyOf": [one, {"type": "array", "items": one}]}


def _number(least: float, most: float) -> Schema:
    return {"type": "number", "minimum": least, "maximum": most}


def _one_of(names: Iterable[str]) -> Schema:
    return {"enum": [True if name == "true" else name for name in names]}


@dataclass
class _Listening(Fields):
    """Reads like Fields, and notes in `found` what is asked for, and in `must` what has to be there."""

    found: dict[str, Schema] = field(default_factory=dict)
    must: set[str] = field(default_factory=set)
    within: dict[int, _Listening] = field(default_factory=dict)

    def inside(self, table: Table) -> _Listening:
        return self.within.setdefault(id(table), _Listening(table, []))

    def node(self, key: str, required: bool = False) -> Node | None:
        if required:
            self.must.add(key)
        return super().node(key) or _EXAMPLES.get(key)

    def text(self, key: str) -> Text:
        self.found.setdefault(key, _TEXT)
        return super().text(key)

    def text_or_none(self, key: str) -> Text | None:
        self.found.setdefault(key, _TEXT)
        return super().text_or_none(key)

    def id(self, key: str) -> Text:
        self.found.setdefault(key, _ID)
        return super().id(key)

    def id_or_none(self, key: str) -> Text | None:
        self.found.setdefault(key, _ID)
        return super().id_or_none(key)

    def ids(self, key: str, required: bool = False) -> tuple[Text, ...]:
        self.found.setdefault(key, _several(_ID))
        return super().ids(key, required)

    def texts(self, key: str, required: bool = False) -> tuple[Text, ...]:
        self.found.setdefault(key, _several(_TEXT))
        return super().texts(key, required)

    def choice(self, key: str, allowed: Iterable[str]) -> Text:
        names = tuple(allowed)
        self.found.setdefault(key, _one_of(names))
        return super().choice(key, names)

    def choice_or_none(self, key: str, allowed: Iterable[str]) -> Text | None:
        names = tuple(allowed)
        self.found.setdefault(key, _one_of(names))
        return super().choice_or_none(key, names)

    def number(self, key: str, least: float, most: float) -> float:
        self.found.setdefault(key, _number(least, most))
        return super().number(key, least, most)

    def number_or_none(self, key: str, least: float, most: float) -> float | None:
        self.found.setdefault(key, _number(least, most))
        return super().number_or_none(key, least, most)

    def a_number(self, node: Node, key: str, least: float, most: float) -> float:
        self.found.setdefault(key, _number(least, most))
        return super().a_number(node, key, least, most)

    def steps(self, key: str) -> tuple[Whatever, ...]:
        read = super().steps(key)
        self.found[key] = {"type": "array", "minItems": 1, "items": {"anyOf": [_TEXT, self.within[id(_STEP)].schema()]}}
        return read

    def schema(self) -> Schema:
        """What a table may hold that was read like this one."""
        return {
            "type": "object",
            "properties": dict(self.found),
            "required": [key for key in self.found if key in self.must],
            "additionalProperties": False,
        }


def _listened(reader: Callable[[Fields], object], *given: str) -> _Listening:
    """What a reader asks for of an entry with these fields, each holding something."""
    listening = _Listening(_table(*((key, Text("x", _NOWHERE)) for key in given)), [])
    reader(listening)
    return listening


def _entry_schema(kind: str, reader: Callable[[Fields], object]) -> Schema:
    bare = _listened(reader)
    made = bare.schema()
    depends: dict[str, list[str]] = {}
    for opener in _OPENERS.get(kind, ()):
        opened = _listened(reader, opener).schema()
        made["properties"] |= {key: value for key, value in opened["properties"].items() if key not in made["properties"]}
        depends[opener] = [key for key in opened["required"] if key not in made["required"] and key != opener]
    if any(depends.values()):
        with_it = {key: [opener] for opener, needed in depends.items() for key in needed}
        made["dependentRequired"] = {opener: needed for opener, needed in depends.items() if needed} | with_it
    fields = made["properties"]
    if "fix" in bare.asked:
        fields["fix"] = bare.within[id(_FIX)].schema()
    if "answers" in bare.asked:
        fields["answers"] = {
            "type": "object",
            "minProperties": 2,
            "propertyNames": {"allOf": [_ID, {"not": {"const": KNOWN}}]},
            "additionalProperties": bare.within[id(_ANSWER)].schema(),
        }
    if "shows" in bare.asked:
        words = {"type": "object", "additionalProperties": _WORD}
        fields["shows"] = {"type": "object", "propertyNames": _ID, "additionalProperties": {"anyOf": [_WORD, words]}}
    if "beyond" in bare.asked:
        one = {"minProperties": 1, "maxProperties": 1, "propertyNames": _ID, "additionalProperties": _several(_ID)}
        fields["beyond"] = {"type": "object", **one}
    for key in sorted(ANSWER_TABLES & bare.asked):
        fields[key] = {"type": "object", "propertyNames": _ID, "additionalProperties": _ID}
    for key in sorted(NEEDLE_LISTS & bare.asked):
        fields[key] = _several({"enum": list(NEEDLES)})
    if "when" in bare.asked:
        fields["when"] = {"$ref": "#/$defs/when-1"}
    made["required"] = [key for key in fields if key in bare.must]
    return made


def _finding_schema() -> Schema:
    """A number is written in the units of its kind."""
    made = _entry_schema("finding", READERS["finding"])
    made["properties"]["unit"] = {"enum": [unit for units in MEASURES.values() for unit in units]}
    made["allOf"] = [
        {
            "if": {"properties": {"number": {"const": kind}}, "required": ["number"]},
            "then": {"properties": {"unit": {"enum": list(units)}}},
        }
        for kind, units in MEASURES.items()
    ]
    return made


def _hearing_schema() -> Schema:
    """What is measured lies in spans; what is said is an answer of a finding."""
    made = _entry_schema("hearing", READERS["hearing"])
    span = {"type": "string", "pattern": f"^({SPAN.pattern})$"}
    within = {"propertyNames": {"enum": list(MEASURED)}, "additionalProperties": span}
    made["properties"]["measured"] = {"type": "object", "minProperties": 1, **within}
    made["properties"]["says"] = {"type": "object", "minProperties": 1, "propertyNames": _ID, "additionalProperties": _ID}
    made["required"] = ["hearing", "measured", "says", "because", "basis"]
    return made


def _premise(depth: int) -> Schema:
    """A finding with its answers, is:, is_not:, and down to DEEPEST_RULE all: and any:."""
    deeper: Whatever = False
    if depth < DEEPEST_RULE:
        deeper = {"type": "array", "minItems": 1, "items": {"$ref": f"#/$defs/when-{depth + 1}"}}
    return {
        "type": "object",
        "minProperties": 1,
        "properties": {"all": deeper, "any": deeper, "is": _several(_ID), "is_not": _several(_ID)},
        "propertyNames": {"anyOf": [_ID, {"const": "is_not"}]},
        "additionalProperties": _several(_ID),
    }


def schema() -> Schema:
    """Return the schema (draft 2020-12) of a file of a pack: a list of entries, or the table of its pack.yaml."""
    kinds = {kind: _entry_schema(kind, reader) for kind, reader in READERS.items()}
    kinds["finding"] = _finding_schema()
    kinds["hearing"] = _hearing_schema()
    kinds["rule"]["oneOf"] = [{"required": [outcome]} for outcome in OUTCOMES]
    kinds["reweigh"]["anyOf"] = [{"required": ["how_common"]}, {"required": ["shows"]}]
    pack = _listened(lambda it: read_pack(it, "")).schema()
    pack["properties"]["version"] = {"type": ["string", "number"], "pattern": f"^{VERSION.pattern}$"}
    pack["properties"]["needs"] = _several({"type": "string", "pattern": f"^{ID.pattern}( {VERSION.pattern})?$"})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A file of a rule pack of diagnose",
        "if": {"type": "object"},
        "then": {"$ref": "#/$defs/pack"},
        "else": {"type": "array", "items": {"anyOf": [{"$ref": f"#/$defs/{kind}"} for kind in kinds]}},
        "$defs": {
            "text": {"type": ["string", "number", "boolean"], "pattern": "\\S", "maxLength": LONGEST_TEXT},
            "id": {"type": ["string", "integer"], "pattern": f"^{ID.pattern}$", "minimum": 0},
            "pack": pack,
            **kinds,
            **{f"when-{depth}": _premise(depth) for depth in range(1, DEEPEST_RULE + 1)},
        },
    }
