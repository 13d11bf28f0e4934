"""The state of a run as JSON, and back: what a checkpoint of the fold is made of.

Pure. Every field that the fold writes is kept, whatever it is called: a new one needs no line
here. The plan is not among them, since the first record of the run has it.
"""

from __future__ import annotations

import functools
import json
import typing
from collections import deque
from typing import Any

from harness.plan.as_json import Convert, converter, field_names, plain
from harness.run.state import Grid, RunState

_encode = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, check_circular=False, separators=(",", ":"), default=plain
).encode


def freeze_state(state: RunState) -> str:
    """Return *state* as JSON.

    Raises:
        ValueError: A number in it is not finite.
    """
    return _encode({name: _open(getattr(state, name)) for name in field_names(RunState)})


def thaw_state(text: str, grid: Grid) -> RunState:
    """Return the state that *text* was made from, of a run of the plan in *grid*.

    Raises:
        KeyError, TypeError, ValueError: It was not made from a state as it is now.
    """
    values, readers = json.loads(text), _readers()
    if values.keys() != readers.keys():
        raise ValueError("these are not the fields of a state")
    read = {
        name: values[name] if convert is None else convert(values[name])
        for name, convert in readers.items()
    }
    return RunState(grid=grid, **read)


def _open(value: Any) -> Any:
    """Return a mapping as its pairs and a queue as a list; their order is part of the state."""
    if isinstance(value, dict):
        return [*value.items()]
    return [*value] if isinstance(value, deque) else value


def _reader(hint: Any) -> Convert | None:
    """Return what makes a field of type *hint* of its JSON; None: it is one already."""
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is deque:
        return deque
    if origin is dict:
        key, value = (_reader(each) or _as_it_is for each in arguments)
        return lambda pairs: {key(k): value(v) for k, v in pairs}
    return None if hint is None else converter(hint, checked=False)


def _as_it_is(data: Any) -> Any:
    return data


@functools.cache
def _readers() -> dict[str, Convert | None]:
    hints = typing.get_type_hints(RunState)
    return {name: _reader(hints[name]) for name in field_names(RunState)}
