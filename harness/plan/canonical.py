"""A plan frozen as text and thawed again, and the hashes it is known by.

Pure. The frozen form is JSON with every field written, keys sorted, no blanks; comments,
units as written and places in the file are not in it. It is complete: a default that changes
in a later version does not change a frozen plan. A field that a later version adds takes its
default when an older text is thawed; so whether two plans ask for the same is told by
``harness.plan.differences``, and hashes are compared within one version only.

What a plan file writes as keys (settings and their values, conditions, levels, figures,
facts) is hashed in the order of their names: the order of keys asks for nothing. The order
of lists does.
"""

from __future__ import annotations

import dataclasses
import enum
import hashlib
import json
import types
import typing
from collections.abc import Callable
from functools import cache
from typing import Any

from harness.errors import Problem, StoreError
from harness.plan.cells import Cell, setting_of, title_of
from harness.plan.document import Command, Condition, FigureSpec, Level, Plan, Setting

_NOT_KEPT = "at"  # where a value stood in its file: no part of what was asked


def freeze(plan: Plan) -> str:
    """Return *plan* in its canonical form; ``thaw`` gives it back."""
    return _json(_plain(plan))


def thaw(text: str) -> Plan:
    """Return the plan that ``freeze`` made *text* of.

    Raises:
        StoreError: The text was not made by ``freeze``, or by a later version of it.
    """
    try:
        data = json.loads(text)
        plan = _reader(Plan)(data)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise StoreError(
            Problem(
                code="frozen-plan-unreadable",
                what=f"the kept plan cannot be read: {type(error).__name__}: {error}"[:300],
                do="take the version of the harness that kept it, or a newer one",
            )
        ) from None
    assert isinstance(plan, Plan)
    return plan


def plan_hash(plan: Plan) -> str:
    """Return the SHA-256 of what *plan* asks for, 64 hexadecimal digits."""
    return _sha256(_json(_plain(plan, by_name=True)))


def procedure_hash(plan: Plan, cell: Cell, *, definitions: str) -> str:
    """Return the hash of all that can move the number of *cell*.

    These are title and scene, the setting's values, the cell's levels with their commands
    and what is expected of them, the commands of a pass, cut, frames, figures, gates,
    guards and warm-up. How often, in which order, limits, time limits, discard rules and
    words for people move no pass's number. So adding a title or a level changes no other
    cell's procedure.

    Args:
        plan: The plan.
        cell: One of its cells.
        definitions: Names and versions of the definitions of the figures, as one text.

    Raises:
        KeyError: *cell* is not of *plan*.
    """
    title, setting = title_of(plan, cell), setting_of(plan, cell)
    conditions = {condition.name: condition for condition in plan.conditions}
    levels: dict[str, object] = {}
    for name, chosen in cell.levels:
        level = next(lv for lv in conditions[name].levels if lv.name == chosen)
        levels[name] = {
            "level": chosen,
            "command": _argv(level.command),
            "expect": _plain(level.expect),
        }
    return _sha256(
        _json(
            {
                "title": title.title,
                "scene": title.scene,
                "setting": dict(setting.values),
                "levels": levels,
                "command": _argv(title.command),
                "prepare": [_argv(command) for command in title.prepare],
                "tidy": [_argv(command) for command in title.tidy],
                "collect": _plain(title.collect),
                "build": [_plain(title.build_files), _argv(title.build_command)],
                "cut": _plain(title.cut),
                "frames": _plain(title.frames, by_name=True),
                "figures": _plain(title.figures, by_name=True),
                "gates": _plain(plan.gates),
                "guards": _plain(plan.guards),
                "warm_up": _plain(plan.passes.warm_up),
                "definitions": definitions,
            }
        )
    )


def _argv(command: Command | None) -> list[str] | None:
    return None if command is None else list(command.argv)


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _json(data: object) -> str:
    return json.dumps(
        data, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )


# ---------------------------------------------------------------- value -> JSON


@cache
def field_names(cls: type) -> tuple[str, ...]:
    """Return the fields of a part of the document, but for its place in the file."""
    return tuple(field.name for field in dataclasses.fields(cls) if field.name != _NOT_KEPT)


def key_of(value: object) -> str | None:
    """Return the key that a plan file writes *value* under, or None for an entry of a list."""
    if isinstance(value, (Setting, Condition, Level, FigureSpec)):
        return value.name
    if isinstance(value, tuple) and len(value) == 2 and isinstance(value[0], str):
        return value[0]
    return None


def _plain(value: object, *, by_name: bool = False) -> object:
    """Return *value* as what JSON knows; *by_name* sorts what stands under keys."""
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, tuple):
        if by_name and key_of(value) is None and all(key_of(item) is not None for item in value):
            value = tuple(sorted(value, key=lambda item: key_of(item) or ""))
        return [_plain(item, by_name=by_name) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = field_names(type(value))
        return {name: _plain(getattr(value, name), by_name=by_name) for name in names}
    return value


# ---------------------------------------------------------------- JSON -> value

_Read = Callable[[Any], Any]


@cache
def _reader(cls: type) -> _Read:
    """Return what makes a value of the dataclass *cls* of its JSON."""
    hints = typing.get_type_hints(cls)
    readers = {name: _converter(hints[name]) for name in field_names(cls)}

    def read(data: Any) -> Any:
        if not isinstance(data, dict):
            raise TypeError(f"{cls.__name__} is not a mapping")
        unknown = data.keys() - readers.keys()
        if unknown:
            raise KeyError(f"{cls.__name__} has no field {min(unknown)}")
        return cls(**{name: readers[name](item) for name, item in data.items()})

    return read


def _converter(hint: Any) -> _Read:
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return hint
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return lambda data: _reader(hint)(data)
    arguments = typing.get_args(hint)
    if typing.get_origin(hint) is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            item = _converter(arguments[0])
            return lambda data: tuple(item(part) for part in _a(list, data))
        items = [_converter(argument) for argument in arguments]
        return lambda data: tuple(
            item(part) for item, part in zip(items, _a(list, data), strict=True)
        )
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        return _union(arguments)
    if hint is float:
        return lambda data: float(_a((int, float), data))
    return lambda data: _a(hint, data)


def _union(arguments: tuple[Any, ...]) -> _Read:
    plain = tuple(a for a in arguments if a in (int, float, bool, str, types.NoneType))
    if len(plain) == len(arguments):
        # JSON keeps these apart, but for a float without a fraction.
        whole = int in plain
        return lambda data: float(data) if type(data) is int and not whole else _a(plain, data)
    (inner,) = (a for a in arguments if a is not types.NoneType)
    read = _converter(inner)
    return lambda data: None if data is None else read(data)


def _a(kinds: Any, data: Any) -> Any:
    """Return *data* if it is of one of *kinds*; true and false are no numbers."""
    allowed = kinds if isinstance(kinds, tuple) else (kinds,)
    if type(data) in allowed:
        return data
    raise TypeError(f"{data!r} is not of a kind that fits here")
