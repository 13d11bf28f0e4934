"""Frozen values as JSON, and back: what plans and records are kept as.

Pure. A value is a dataclass, an Enum, a tuple, ``bool``, ``int``, ``float``, ``str``, ``None``,
or a union of these that can be told apart in JSON. What writes and reads a class is made once,
from its annotations; a new class needs no line here. A field that takes no part in comparison
is no part of the value, and is not kept.

A field that was added later, with a default, is filled in where an older JSON lacks it.
Anything else that does not fit is refused.
"""

from __future__ import annotations

import dataclasses
import enum
import operator
import types
import typing
from collections.abc import Callable, Mapping
from typing import Any

#: Makes a value of what JSON gave for it, which it may use up.
Convert = Callable[[Any], Any]

_PLAIN = frozenset({str, int, float, bool, types.NoneType})


_NAMES: dict[type, tuple[str, ...]] = {}


def field_names(cls: type) -> tuple[str, ...]:
    """Return the names of the fields of the dataclass *cls* that are kept, in order."""
    if cls not in _NAMES:
        _NAMES[cls] = tuple(field.name for field in dataclasses.fields(cls) if field.compare)
    return _NAMES[cls]


# ---------------------------------------------------------------- value -> JSON


def _writer(cls: type) -> Callable[[Any], dict[str, Any]]:
    names = field_names(cls)
    if len(names) < 2:  # attrgetter then returns no tuple
        return lambda value: {name: getattr(value, name) for name in names}
    get = operator.attrgetter(*names)
    return lambda value: dict(zip(names, get(value), strict=True))


_WRITERS: dict[type, Callable[[Any], dict[str, Any]]] = {}


def plain(value: object) -> object:
    """Return what JSON writes for an Enum or a dataclass: the ``default`` of an encoder.

    Raises:
        TypeError: It is neither, and nothing that JSON knows by itself.
    """
    cls = type(value)
    write = _WRITERS.get(cls)
    if write is not None:
        return write(value)
    if isinstance(value, enum.Enum):
        return value.value
    if dataclasses.is_dataclass(cls):
        _WRITERS[cls] = _writer(cls)
        return _WRITERS[cls](value)
    raise TypeError(f"{cls.__name__} cannot be kept as JSON: {value!r}")


# ---------------------------------------------------------------- JSON -> value


_READERS: dict[tuple[type, bool], Convert] = {}


def reader(cls: type, *, checked: bool) -> Convert:
    """Return what makes a *cls* of its JSON object; made once for each class.

    Args:
        cls: A dataclass.
        checked: Whether texts, numbers and flags are held against their annotations. That
            takes as long again: for what a person may have written, not for what is kept
            under a hash.

    Returns:
        A function that raises KeyError, TypeError or ValueError where the JSON does not fit.

    Raises:
        TypeError: A field of *cls* has a type that cannot be kept as JSON.
    """
    if (cls, checked) not in _READERS:
        _READERS[cls, checked] = _new_reader(cls, checked=checked)
    return _READERS[cls, checked]


def _new_reader(cls: type, *, checked: bool) -> Convert:
    hints = typing.get_type_hints(cls)
    converters = {name: converter(hints[name], checked=checked) for name in field_names(cls)}

    def read_any(values: Any) -> Any:
        if type(values) is not dict:
            raise TypeError(f"{cls.__name__} is not a mapping")
        for name, convert in converters.items():
            if convert is not None and name in values:
                values[name] = convert(values[name])
        return cls(**values)

    whole = len(converters) == len(dataclasses.fields(cls))
    if not whole or "__post_init__" in cls.__dict__ or "__slots__" not in cls.__dict__:
        return read_any
    return _reader_of_all(cls, converters, read_any)


def _reader_of_all(
    cls: type, converters: Mapping[str, Convert | None], read_any: Convert
) -> Convert:
    """Return a reader that is quick where every field is there, as in nearly every record.

    It fills the slots without the detour that a frozen class's own ``__init__`` takes: a long
    run is read back in about a quarter less time.
    """
    new = object.__new__
    fields = tuple((name, getattr(cls, name).__set__, made) for name, made in converters.items())

    def read(values: Any) -> Any:
        if type(values) is not dict or len(values) != len(fields):
            return read_any(values)
        value: Any = new(cls)
        for name, put, convert in fields:
            put(value, values[name] if convert is None else convert(values[name]))
        return value

    return read


def converter(hint: Any, *, checked: bool) -> Convert | None:
    """Return what makes a value of type *hint* of its JSON; None: it is one already.

    Raises:
        TypeError: Such a value cannot be kept as JSON.
    """
    if hint in _PLAIN:
        return _plain_converter((hint,)) if checked else None
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return {member.value: member for member in hint}.__getitem__
    if dataclasses.is_dataclass(hint):
        return reader(typing.cast(type, hint), checked=checked)
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is tuple:
        convert = _tuple_converter(arguments, checked=checked)
        return (lambda data: convert(_one_of((list,), data))) if checked else convert
    if origin in (typing.Union, types.UnionType):
        return _union_converter(arguments, checked=checked)
    raise TypeError(f"JSON cannot hold {hint}")


def _one_of(kinds: tuple[type, ...], data: Any) -> Any:
    """Return *data* if it is of one of *kinds*; true and false are no numbers."""
    if type(data) in kinds:
        return data
    raise TypeError(f"{data!r} is not of a kind that fits here")


def _plain_converter(kinds: tuple[type, ...]) -> Convert:
    if float in kinds and int not in kinds:  # JSON may write one without a fraction
        return lambda data: float(data) if type(data) is int else _one_of(kinds, data)
    return lambda data: _one_of(kinds, data)


def _tuple_converter(arguments: tuple[Any, ...], *, checked: bool) -> Convert:
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        convert = converter(arguments[0], checked=checked)
        if convert is None:
            return tuple
        if convert is tuple:
            return lambda values: tuple(map(tuple, values))
        return lambda values: tuple([convert(value) for value in values])
    if not all(argument in _PLAIN for argument in arguments):
        raise TypeError(f"JSON cannot hold a tuple of {arguments}")
    if not checked:
        return tuple
    each = [_plain_converter((argument,)) for argument in arguments]
    return lambda values: tuple(
        [convert(value) for convert, value in zip(each, values, strict=True)]
    )


def _union_converter(arguments: tuple[Any, ...], *, checked: bool) -> Convert | None:
    kinds = tuple(argument for argument in arguments if argument in _PLAIN)
    made = [argument for argument in arguments if argument not in _PLAIN]
    other = _plain_converter(kinds) if checked else None
    if not made:
        return other
    if len(made) > 1:
        raise TypeError(f"JSON cannot hold one of {made}: it does not tell them apart")
    convert = converter(made[0], checked=checked)
    assert convert is not None
    if typing.get_origin(made[0]) is tuple:
        written: type = list
    elif dataclasses.is_dataclass(made[0]):
        written = dict
    elif kinds == (types.NoneType,):
        return lambda data: None if data is None else convert(data)
    else:
        raise TypeError(f"JSON cannot hold one of {arguments}: it does not tell them apart")
    if other is None:
        return lambda data: convert(data) if type(data) is written else data
    return lambda data: convert(data) if type(data) is written else other(data)
