"""A plan frozen as text and thawed again, and the hashes it is known by.

Pure. The frozen form is JSON (``harness.plan.as_json``) with every field written, keys sorted,
no blanks; comments, units as written and places in the file are not in it. It is complete: a
default that changes in a later version does not change a frozen plan. A field that a later
version adds takes its default when an older text is thawed; so whether two plans ask for the
same is told by ``harness.plan.differences``, and hashes are compared within one version only.

What a plan file writes as keys (settings and their values, conditions, levels, figures,
facts) is hashed in the order of their names: the order of keys asks for nothing. The order
of lists does.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json

from harness.errors import Problem, StoreError
from harness.plan.as_json import field_names, plain, reader
from harness.plan.cells import Cell, setting_of, title_of
from harness.plan.document import (
    Command,
    Condition,
    FigureSpec,
    Level,
    Plan,
    Report,
    Setting,
    Title,
)


def freeze(plan: Plan) -> str:
    """Return *plan* in its canonical form; ``thaw`` gives it back."""
    return _json(plan)


def thaw(text: str) -> Plan:
    """Return the plan that ``freeze`` made *text* of.

    Raises:
        StoreError: The text was not made by ``freeze``, or by a later version of it.
    """
    try:
        plan = reader(Plan, checked=True)(json.loads(text))
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError) as error:
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
    return _sha256(_json(_by_name(plan)))


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
    return _sha256(_json(procedure(plan, cell, definitions=definitions)))


def procedure(plan: Plan, cell: Cell, *, definitions: str) -> dict[str, object]:
    """Return by name all that can move the number of *cell*, as ``procedure_hash`` says.

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
            "expect": level.expect,
        }
    return {
        "title": title.title,
        "scene": title.scene,
        "setting": dict(setting.values),
        "levels": levels,
        "command": _argv(title.command),
        "prepare": [_argv(command) for command in title.prepare],
        "tidy": [_argv(command) for command in title.tidy],
        "collect": title.collect,
        "build": [title.build_files, _argv(title.build_command)],
        "cut": title.cut,
        "frames": _by_name(title.frames),
        "figures": _by_name(title.figures),
        "gates": plan.gates,
        "guards": plan.guards,
        "warm_up": plan.passes.warm_up,
        "definitions": definitions,
        **_driven(title),
    }


def procedure_differs(before: Plan, after: Plan, cell: Cell) -> tuple[str, ...]:
    """Return the names of what moves the number of *cell* and differs between two plans.

    Raises:
        KeyError: *cell* is not of both.
    """
    one = procedure(before, cell, definitions="")
    other = procedure(after, cell, definitions="")
    names = dict.fromkeys([*one, *other])
    return tuple(name for name in names if _json(one.get(name)) != _json(other.get(name)))


def _driven(title: Title) -> dict[str, object]:
    """Return what else of how a title is driven moves its number, where the plan says any.

    What only tells whether a pass can be believed (watched files, reports, silence) moves none.
    """
    said: dict[str, object] = {
        "put": sorted(title.files.put) if title.files is not None else [],
        "alive": title.alive,
        "recorder": _argv(title.recorder),
    }
    return {name: value for name, value in said.items() if value}


def _argv(command: Command | None) -> list[str] | None:
    return None if command is None else list(command.argv)


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _json(data: object) -> str:
    return json.dumps(
        data,
        sort_keys=True,
        ensure_ascii=False,
        allow_nan=False,
        separators=(",", ":"),
        default=plain,
    )


def key_of(value: object) -> str | None:
    """Return the key that a plan file writes *value* under, or None for an entry of a list."""
    if isinstance(value, (Setting, Condition, Level, FigureSpec, Report)):
        return value.name
    if isinstance(value, tuple) and len(value) == 2 and isinstance(value[0], str):
        return value[0]
    return None


def _by_name(value: object) -> object:
    """Return *value* for JSON, with what stands under keys in the order of their names."""
    if isinstance(value, tuple):
        if key_of(value) is None and all(key_of(item) is not None for item in value):
            value = tuple(sorted(value, key=lambda item: key_of(item) or ""))
        return [_by_name(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {name: _by_name(getattr(value, name)) for name in field_names(type(value))}
    return value
