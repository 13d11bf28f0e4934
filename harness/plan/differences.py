"""What one plan asks for other than another, in words.

Pure. Parts are called by the names a reader of the plan file knows them by. The order of
keys, comments and places in the file are no difference.
"""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Iterator

from harness.plan.as_json import field_names
from harness.plan.canonical import key_of
from harness.plan.document import Command, Plan


def differences(before: Plan, after: Plan) -> tuple[str, ...]:
    """Return in words what *after* asks for other than *before*; empty if nothing.

    >>> from harness.plan.document import Command, Passes, Setting, Title
    >>> title = Title(title="Lantern Quay", scene="harbour loop", settings=("fhd",),
    ...               command=Command(argv=("lantern-quay",), time_limit_s=60.0))
    >>> fhd = Setting(name="fhd", values=(("size", "1920x1080"),))
    >>> plan = Plan(name="night", titles=(title,), settings=(fhd,))
    >>> differences(plan, dataclasses.replace(plan, passes=Passes(keep=5)))
    ('passes.keep was 3 and is 5',)
    """
    return tuple(_differences(before, after, ""))


def _differences(before: object, after: object, path: str) -> Iterator[str]:
    if before == after and type(before) is type(after):
        return
    if (
        dataclasses.is_dataclass(before)
        and not isinstance(before, type)
        and type(before) is type(after)
    ):
        for name in field_names(type(before)):
            inner = f"{path}.{name}" if path else name
            yield from _differences(getattr(before, name), getattr(after, name), inner)
        return
    if isinstance(before, tuple) and isinstance(after, tuple) and key_of(before) is None:
        yield from _list_differences(before, after, path)
        return
    if isinstance(before, tuple) and isinstance(after, tuple) and len(before) == len(after) == 2:
        before, after = before[1], after[1]  # a pair of a name and its text: the path names it
    if before is None:
        yield f"{path} is new: {_told(after)}"
    elif after is None:
        yield f"{path} is gone; it was {_told(before)}"
    else:
        yield f"{path} was {_told(before)} and is {_told(after)}"


def _list_differences(
    before: tuple[object, ...], after: tuple[object, ...], path: str
) -> Iterator[str]:
    olds, news = _by_name(before), _by_name(after)
    if olds is None or news is None:
        yield f"{path} was {_told(before)} and is {_told(after)}"
        return
    for name, old in olds.items():
        if name not in news:
            yield f"{path}: {name} is gone"
        else:
            yield from _differences(old, news[name], f"{path}.{name}")
    for name in news:
        if name not in olds:
            yield f"{path}: {name} is new"
    common = [name for name in olds if name in news]
    moved = common != [name for name in news if name in olds]
    if moved and any(key_of(value) is None for value in before):
        yield f"{path} stand in another order"


def _by_name(values: tuple[object, ...]) -> dict[str, object] | None:
    """Return *values* by the names a reader knows them by, or None where they have none."""
    named: dict[str, object] = {}
    for value in values:
        name = _name(value)
        if name is None or name in named:
            return None
        named[name] = value
    return named


def _name(value: object) -> str | None:
    key = key_of(value)
    if key is not None:
        return key
    scene = getattr(value, "scene", None)
    if scene is not None:
        return f"{getattr(value, 'title', '')}, {scene}"
    for attribute in ("reading", "rule"):
        name = getattr(value, attribute, None)
        if isinstance(name, str):
            return name
    bound = getattr(value, "bound", None)
    return _name(bound) if bound is not None else None


def _told(value: object) -> str:
    if isinstance(value, enum.Enum):
        return str(value.value)
    if isinstance(value, Command):
        return " ".join(value.argv)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, str):
        return repr(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_told, value)) + "]"
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = ((name, getattr(value, name)) for name in field_names(type(value)))
        return "{" + ", ".join(f"{n}: {_told(v)}" for n, v in fields if v is not None) + "}"
    return str(value)
