"""A record as JSON, and back.

Pure.

A body is JSON in one spelling: fields in the order of their class, every field written, no
blanks, no number that is not finite. It is kept as text and never written anew, so a hash
over it holds for ever. Converters are made once for each class, from its annotations: a
dataclass, an Enum, a tuple, ``bool``, ``int``, ``float``, ``str``, ``None``, and unions of
these that can be told apart in JSON. A new record needs no line here.

A field that was added later, with a default, is filled in when an older body is read.
Anything else that does not fit is refused: nothing that was kept is passed over.
"""

from __future__ import annotations

import dataclasses
import enum
import json
import math
import operator
import re
import types
import typing
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from harness.errors import Problem, StoreError
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


_Names = tuple[str, ...]
_NAMES_OF: dict[type, _Names] = {}


def _field_names(cls: type) -> _Names:
    """Return the names of the fields of the dataclass *cls*; looked up once for each."""
    if cls not in _NAMES_OF:
        _NAMES_OF[cls] = tuple(field.name for field in dataclasses.fields(cls))
    return _NAMES_OF[cls]


def _writer(cls: type) -> Callable[[Any], dict[str, Any]]:
    """Return what makes a dict of the fields of a *cls*."""
    names = _field_names(cls)
    if len(names) < 2:  # attrgetter then returns no tuple
        return lambda value: {name: getattr(value, name) for name in names}
    get = operator.attrgetter(*names)
    return lambda value: dict(zip(names, get(value), strict=True))


_WRITERS: dict[type, Callable[[Any], dict[str, Any]]] = {}


def _plain(value: object) -> object:
    """Return what JSON writes for a value that it does not know."""
    cls = type(value)
    write = _WRITERS.get(cls)
    if write is not None:
        return write(value)
    if isinstance(value, enum.Enum):
        return value.value
    if dataclasses.is_dataclass(cls):
        _WRITERS[cls] = _writer(cls)
        return _WRITERS[cls](value)
    raise TypeError(f"{cls.__name__} cannot be kept in a record: {value!r}")


#: Writes JSON without blanks and without needless escapes.
encode = json.JSONEncoder(
    ensure_ascii=False,
    allow_nan=False,
    check_circular=False,
    separators=(",", ":"),
    default=_plain,
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
        body = encode(_plain(record))
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
        for name in _field_names(type(value)):
            yield from _not_finite(getattr(value, name), f"{path}.{name}".lstrip("."))


# ---------------------------------------------------------------- body -> record

_Convert = Callable[[Any], Any]

_AS_IT_IS = frozenset({str, int, float, bool, types.NoneType})


def _converter(hint: Any) -> _Convert | None:
    """Return what makes a value of type *hint* from its JSON; None: it is one already."""
    if hint in _AS_IT_IS:
        return None
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return {member.value: member for member in hint}.__getitem__
    if dataclasses.is_dataclass(hint):
        return _reader(typing.cast(type, hint))
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is tuple:
        return _tuple_converter(arguments)
    if origin in (typing.Union, types.UnionType):
        return _union_converter(arguments)
    raise TypeError(f"a record cannot hold {hint}")


def _tuple_converter(arguments: tuple[Any, ...]) -> _Convert:
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        convert = _converter(arguments[0])
        if convert is None:
            return tuple
        if convert is tuple:
            return lambda values: tuple(map(tuple, values))
        return lambda values: tuple([convert(value) for value in values])
    if all(argument in _AS_IT_IS for argument in arguments):
        return tuple
    raise TypeError(f"a record cannot hold a tuple of {arguments}")


def _union_converter(arguments: tuple[Any, ...]) -> _Convert | None:
    made = [argument for argument in arguments if argument not in _AS_IT_IS]
    if not made:
        return None
    if len(made) > 1:
        raise TypeError(f"a record cannot hold one of {made}: JSON does not tell them apart")
    convert = _converter(made[0])
    assert convert is not None
    if typing.get_origin(made[0]) is tuple:
        return lambda value: convert(value) if type(value) is list else value
    if dataclasses.is_dataclass(made[0]):
        return lambda value: convert(value) if type(value) is dict else value
    if types.NoneType in arguments and len(arguments) == 2:
        return lambda value: None if value is None else convert(value)
    raise TypeError(f"a record cannot hold one of {arguments}: JSON does not tell them apart")


_READERS: dict[type, _Convert] = {}


def _reader(cls: type) -> _Convert:
    """Return what makes a *cls* from its JSON object; made once for each class."""
    if cls not in _READERS:
        _READERS[cls] = _new_reader(cls)
    return _READERS[cls]


def _new_reader(cls: type) -> _Convert:
    hints = typing.get_type_hints(cls)
    names = _field_names(cls)
    converters = {name: _converter(hints[name]) for name in names}

    def read_any(values: dict[str, Any]) -> Any:
        for name, convert in converters.items():
            if convert is not None and name in values:
                values[name] = convert(values[name])
        return cls(**values)

    if "__post_init__" in cls.__dict__:
        return read_any
    return _reader_of_all(cls, converters, read_any)


def _reader_of_all(
    cls: type, converters: Mapping[str, _Convert | None], read_any: _Convert
) -> _Convert:
    """Return a reader that is quick where every field is there, as in nearly every body.

    It is written out as code, as the dataclass module writes ``__init__``, and fills the
    slots without the detour that a frozen class's own ``__init__`` takes: a long run is
    read back in about a quarter less time.
    """
    names: dict[str, Any] = {"cls": cls, "new": object.__new__, "read_any": read_any}
    lines = [f"    if len(v) != {len(converters)}: return read_any(v)", "    o = new(cls)"]
    for place, (name, convert) in enumerate(converters.items()):
        names[f"set{place}"] = getattr(cls, name).__set__
        value = f"v[{name!r}]"
        if convert is not None:
            names[f"convert{place}"] = convert
            value = f"convert{place}({value})"
        lines.append(f"    set{place}(o, {value})")
    source = "\n".join(
        [f"def read(v, {', '.join(f'{n}={n}' for n in names)}):", *lines, "    return o"]
    )
    exec(source, names)  # the names are those of our own classes' fields
    return typing.cast(_Convert, names["read"])


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
        return typing.cast(Record, _reader(cls)(values))
    except (KeyError, TypeError, ValueError) as error:
        raise StoreError(
            Problem(
                code="record-unreadable",
                what=f"a record {kind}/{version} does not read back: {error}",
                where=(body[:200],),
                do="run `harness verify`; nothing was changed",
            )
        ) from error
