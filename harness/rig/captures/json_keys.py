"""Keys of JSON lines -> which of them hold what, and what the counters among them say.

Pure. A key may come later than in the first object, and says as much there.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from itertools import compress

from harness.rig.captures import columns
from harness.rig.captures.counter import not_counting
from harness.rig.captures.names import SAMPLE_ROWS, counts, may_count, may_mix
from harness.rig.captures.trouble import Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from harness.rig.captures.counter import Line
    from harness.rig.captures.gather import Gather


class Keys:
    """Which keys of the objects hold what."""

    __slots__ = ("counters", "kinds", "time", "watched", "where")

    def __init__(self, names: list[str], gather: Gather) -> None:
        declared = gather.declared

        def find(wanted: str, what: str) -> str:
            return names[columns.find(names, wanted, what=what, line=1, text=None)]

        self.time = names[columns.time_column(names, declared, line=1, text=None)]
        self.where = tuple((find(name, "where"), value) for name, value in declared.where)
        self.kinds = find(declared.kinds_column, "kinds") if declared.kinds_column else None
        self.counters: tuple[str, ...] = ()
        if declared.counter:
            self.counters = (find(declared.counter, "counter"),)
        self.watched: tuple[str, ...] = ()

    def watch(self, objects: list[dict[str, Any]], gather: Gather) -> None:
        """Look at keys that come later than in the first object, too."""
        chosen = {self.time, self.kinds, *(key for key, _ in self.where), *self.watched}
        new = [name for name in _names(objects) if name not in chosen and may_mix(name)]
        gather.watch(dict(enumerate(new, start=len(self.watched))))
        self.watched += tuple(new)


def begin(objects: list[dict[str, Any]], gather: Gather) -> Keys:
    """Return which keys hold what, by the first objects; *gather* knows it then.

    Raises:
        Trouble: a key is not there, or the unit of the times was not told.
    """
    keys = Keys(list(objects[0]), gather)
    named = (
        keys.time if isinstance(gather.declared.column, str) or not gather.declared.column else None
    )
    unit = columns.unit_of(named, gather.declared)
    if unit is None:
        raise Trouble(
            "unit-missing",
            f"the unit of {shown(keys.time)} was not declared, and its name does not say it",
            do="declare unit s, ms, us or ns",
        )
    if not keys.counters:
        keys.counters = _counters(objects[:SAMPLE_ROWS], keys)
    gather.begin(unit=unit, column=keys.time, counters=keys.counters, watched={})
    return keys


def _names(objects: list[dict[str, Any]]) -> list[str]:
    """Return all keys, in the order in which they come first."""
    seen: dict[str, None] = {}
    last: Iterable[str] = ()
    for each in objects:
        if each.keys() != last:  # nearly all have the same
            last = each.keys()
            seen.update(dict.fromkeys(last))
    return list(seen)


def _counters(first: list[dict[str, Any]], keys: Keys) -> tuple[str, ...]:
    mask = mask_of(first, keys)
    found = []
    for name in _names(first):
        if name == keys.time or not may_count(name):
            continue
        said = list(map(_whole, (each.get(name) for each in first)))
        # A recorder may begin to count after its first frames.
        late = next((place for place, value in enumerate(said) if value is not None), 0)
        if counts(name, said[late:], None if mask is None else mask[late:]):
            found.append(name)
    return tuple(found)


class Told:
    """A counter as JSON tells it."""

    __slots__ = ("_name", "_values")

    def __init__(self, values: list[Any], name: str) -> None:
        self._values = values
        self._name = name

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self._values)

    def first(self, line: Line) -> int | None:
        """Return the first number; None: the first row says none.

        Raises:
            Trouble: it is no whole one.
        """
        return self._number(0, line)

    def counts_up(self, start: int) -> bool:
        """Return whether the rows say start, start + 1, start + 2 and so on."""
        return self._values == list(range(start, start + len(self._values)))

    def values(self, line: Line) -> list[int | None]:
        """Return the numbers.

        Raises:
            Trouble: one is no whole one.
        """
        return [self._number(row, line) for row in range(len(self._values))]

    def _number(self, row: int, line: Line) -> int | None:
        value = self._values[row]
        number = _whole(value)
        if number is None and value is not None:
            raise not_counting(json.dumps(value), self._name, line=line(row))
        return number

    def chosen(self, mask: Sequence[bool]) -> Told:
        """Return the rows that *mask* chooses."""
        return Told(list(compress(self._values, mask)), self._name)


def _whole(value: Any) -> int | None:
    if type(value) is float and value.is_integer():
        return int(value)
    return value if type(value) is int else None


def mask_of(objects: list[dict[str, Any]], keys: Keys) -> list[bool] | None:
    """Return which objects count; None: all do."""
    if not keys.where:
        return None
    return [all(text_of(each.get(key)) == value for key, value in keys.where) for each in objects]


def text_of(value: Any) -> str:
    """Return a value as the text that is looked for."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)
