"""A record as JSON, and back.

Pure.

A body is JSON in one spelling: fields in the order of their class, every field written, no
blanks, no number that is not finite. It is kept as text and never written anew, so a hash
over it holds for ever. How values become JSON, and which can, is ``harness.plan.as_json``; a
new record needs no line here.

A field that was added later, with a default, is filled in when an older body is read.
Anything else that does not fit is refused: nothing that was kept is passed over.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
import typing
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from harness.errors import Problem, StoreError
from harness.plan.as_json import field_names, plain, reader
from harness.run.records import Record

# ---------------------------------------------------------------- kinds


def _kind(cls: type) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "-", cls.__name__).lower()


#: Every kind of record by the name it is kept under: ``pass-started`` …
KINDS: Mapping[str, type[Record]] = MappingProxyType(
    {_kind(cls): cls for cls in typing.get_args(Record)}
)

_NAMES: Mapping[type, str] = MappingProxyType({cls: name for name, cls in KINDS.items()})


def kind_of(record: Record) -> str:
    """Return the name that records like *record* are kept under."""
    return _NAMES[type(record)]


# ---------------------------------------------------------------- record -> body


#: Writes JSON without blanks and without needless escapes.
encode = json.JSONEncoder(
    ensure_ascii=False,
    allow_nan=False,
    check_circular=False,
    separators=(",", ":"),
    default=plain,
).encode

# What an operating system calls a file or says need not be Unicode. Python carries such
# bytes as lone surrogates, which no database takes; JSON can spell them.
_SURROGATE = re.compile("[\ud800-\udfff]")


def to_body(record: Record) -> str:
    """Return *record* as JSON.

    Raises:
        StoreError: A number in it is not finite.
    """
    try:
        body = encode(record)
    except ValueError:
        field = next(_not_finite(record, ""), "")
        raise StoreError(
            Problem(
                code="number-not-finite",
                what=f"a number of a {kind_of(record)} record is not finite, so it is not kept",
                where=(f"field {field}", str(record)[:300]),
                do="report this as a fault of the harness: what is not measured must say why",
            )
        ) from None
    if _SURROGATE.search(body):
        body = _SURROGATE.sub(lambda match: f"\\u{ord(match[0]):04x}", body)
    return body


def _not_finite(value: object, path: str) -> Iterator[str]:
    if isinstance(value, float) and not math.isfinite(value):
        yield path
    elif isinstance(value, tuple):
        for place, item in enumerate(value):
            yield from _not_finite(item, f"{path}[{place}]")
    elif dataclasses.is_dataclass(value):
        for name in field_names(type(value)):
            yield from _not_finite(getattr(value, name), f"{path}.{name}".lstrip("."))


# ---------------------------------------------------------------- body -> record

_decode = json.JSONDecoder().raw_decode  # without the search for blanks that no body has

#: How a body of an older version becomes one of the next: (kind, version) -> function.
OLDER: dict[tuple[str, int], Callable[[dict[str, Any]], dict[str, Any]]] = {}


def from_body(body: str, *, kind: str, version: int) -> Record:
    """Return the record that *body* was made from.

    Raises:
        StoreError: The kind or version is not known here, or the body does not fit it.
    """
    cls = KINDS.get(kind)
    if cls is None or version > cls.VERSION:
        raise StoreError(
            Problem(
                code="record-newer",
                what=f"a record {kind}/{version} was kept by a newer harness than this one",
                do="use the harness that kept it, or a newer one",
            )
        )
    try:
        values, end = _decode(body)
        if end != len(body):
            raise ValueError(f"more follows at {end}")
        while version < cls.VERSION:
            values = OLDER[kind, version](values)
            version += 1
        return typing.cast(Record, reader(cls, checked=False)(values))
    except (KeyError, TypeError, ValueError) as error:
        raise StoreError(
            Problem(
                code="record-unreadable",
                what=f"a record {kind}/{version} does not read back: {error}",
                where=(body[:200],),
                do="run `harness verify`; nothing was changed",
            )
        ) from error
