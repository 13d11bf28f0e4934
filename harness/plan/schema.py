"""The JSON Schema of plans, for editors, written from the table of fields.

Pure. Draft 2020-12. YAML tools read ``keep: 3`` as a number and ``size: 1920x1080`` as text,
so wherever a plan takes a text, the schema takes a number and a truth value too, and a number
may be written as text. What only the whole plan can tell (a setting that no one defined, a
gate that never opens) the schema cannot say; the checker says it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from harness.plan import bounds as b
from harness.plan import fields as f
from harness.plan.formats import Character, Column, Encoding, HeaderLine
from harness.plan.kinds import ByShape, Field, Kind, ListOf, NotBuilt
from harness.plan.mappings import Mapping as PlanMapping
from harness.plan.mappings import NamedParts
from harness.plan.measures import Days, Hours, Length, Share, Size, TimeOfDay, Whole
from harness.plan.texts import Arguments, CaptureFile, Choice, Flag, Pattern, Pointer, Text, Zone
from harness.plan.vocabulary import Vocabulary

Schema = dict[str, Any]

#: What a YAML tool may make of a text that has no quotes.
_SCALAR = ["string", "number", "boolean", "null"]

_NUMBER = r"[+-]?(0|[1-9][0-9]*)(\.[0-9]+)?"
_TIME = rf"^ *({_NUMBER} *(ns|us|µs|ms|s|min|h|d|days?) *)+$"
_CLOCK = r"([01]?[0-9]|2[0-3]):[0-5][0-9]"


def schema(vocabulary: Vocabulary) -> Schema:
    """Return the JSON Schema of a plan that may use the names of *vocabulary*."""
    made = _Writer(vocabulary).of(f.PLAN_MAPPING)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Bench Harness plan",
        **made,
    }


class _Writer:
    """Writes the schema of every kind; the table below names the method for each."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self.vocabulary = vocabulary

    def of(self, kind: Kind[Any]) -> Schema:
        for cls in type(kind).__mro__:
            write = _WRITERS.get(cls)
            if write is not None:
                return write(self, kind)
        raise AssertionError(f"no schema is known for {type(kind).__name__}")

    def field(self, field: Field[Any]) -> Schema:
        made = self.of(field.kind)
        about = field.about
        if field.default:
            about += f" (default: {field.default})"
        return {"description": about[:1].upper() + about[1:], **made}

    def mapping(self, kind: PlanMapping) -> Schema:
        made: Schema = {
            "type": "object",
            "properties": {name: self.field(field) for name, field in kind.fields.items()},
            "additionalProperties": False,
        }
        required = [name for name, field in kind.fields.items() if field.required]
        if required:
            made["required"] = required
        return made

    def bounded(self, kind: b.Bounded) -> Schema:
        made = self.mapping(kind)
        made["properties"]["reading"]["enum"] = list(self.vocabulary.readings)
        interval = [b.AT_LEAST.name, b.AT_MOST.name]
        alone = [b.BETWEEN.name, b.IS.name, b.HOLDS.name]
        ways: list[Schema] = [
            {
                "required": [name],
                "not": {"anyOf": [{"required": [n]} for n in (*interval, *alone) if n != name]},
            }
            for name in alone
        ]
        ways.append(
            {
                "anyOf": [{"required": [name]} for name in interval],
                "not": {"anyOf": [{"required": [name]} for name in alone]},
            }
        )
        made["oneOf"] = ways
        return made

    def named(self, kind: NamedParts[Any]) -> Schema:
        made: Schema = {
            "type": "object",
            "additionalProperties": self.of(kind.part),
            "propertyNames": {"minLength": 1, "maxLength": 200},
        }
        if kind.least:
            made["minProperties"] = kind.least
        return made

    def list_of(self, kind: ListOf[Any]) -> Schema:
        made: Schema = {"type": "array", "items": self.of(kind.item)}
        if kind.least:
            made["minItems"] = kind.least
        return made

    def by_shape(self, kind: ByShape[Any]) -> Schema:
        parts = [part for part in (kind.text, kind.items, kind.entries) if part is not None]
        return {"anyOf": [self.of(part) for part in parts]}

    def text(self, kind: Text) -> Schema:
        made: Schema = {"type": _SCALAR[:3], "maxLength": kind.most}
        if not kind.blank:
            made["minLength"] = 1
        return made

    def whole(self, kind: Whole) -> Schema:
        return {
            "anyOf": [
                {"type": "integer", "minimum": kind.low, "maximum": kind.high},
                {"type": "string", "pattern": "^[+-]?(0|[1-9][0-9]*)$"},
            ]
        }


def _fixed(made: Schema) -> Callable[[_Writer, Any], Schema]:
    return lambda writer, kind: dict(made)


def _pattern(pattern: str) -> Callable[[_Writer, Any], Schema]:
    return _fixed({"type": "string", "pattern": pattern})


_WRITERS: Mapping[type, Callable[[_Writer, Any], Schema]] = {
    b.Bounded: _Writer.bounded,
    PlanMapping: _Writer.mapping,
    NamedParts: _Writer.named,
    ListOf: _Writer.list_of,
    ByShape: _Writer.by_shape,
    Text: _Writer.text,
    Zone: _Writer.text,
    Whole: _Writer.whole,
    Choice: lambda writer, kind: {"enum": list(kind.words)},
    Flag: _fixed({"enum": [True, False, "true", "false"]}),
    Length: _pattern(_TIME),
    Share: _pattern(rf"^ *{_NUMBER} *% *$"),
    Size: _pattern(rf"^ *{_NUMBER} *([kKMGT]i?B|B|bytes) *$"),
    TimeOfDay: _fixed({"type": ["string", "integer"], "pattern": f"^{_CLOCK}$"}),
    Hours: _pattern(f"^{_CLOCK} *[-–] *{_CLOCK}$"),
    Days: _pattern("^(mon|tue|wed|thu|fri|sat|sun)( *[-–] *(mon|tue|wed|thu|fri|sat|sun))?$"),
    Arguments: _fixed({"type": "array", "minItems": 1, "items": {"type": _SCALAR[:3]}}),
    CaptureFile: _fixed(
        {"type": "string", "minLength": 1, "not": {"pattern": r"(^|[/\\])\.\.([/\\]|$)"}}
    ),
    Pattern: _fixed({"type": "string", "minLength": 1}),
    Pointer: _pattern("^/([^~]|~[01])*$"),
    Column: _fixed({"type": ["string", "integer"], "minLength": 1}),
    Character: _fixed({"type": "string", "minLength": 1, "maxLength": 9}),
    Encoding: _fixed({"type": "string", "minLength": 1}),
    HeaderLine: _fixed({"anyOf": [{"const": "none"}, {"type": ["integer", "string"]}]}),
    b.ReadingName: _fixed({"type": "string"}),
    b.Raw: _fixed({}),
    NotBuilt: lambda writer, kind: (
        {"not": {}} if kind.unless is None else {"enum": [kind.unless, kind.unless == "true"]}
    ),
}
