"""Conditions on readings: one reading, and what it must be, in that reading's unit.

Pure. Which bound fits depends on the form of the reading: a number has an interval or one
value, true/false and text have one value, a list of names holds a name.
"""

from __future__ import annotations

from yaml.nodes import Node, SequenceNode

from harness.plan.kinds import Desk, Field, Kind, Values, text_of
from harness.plan.mappings import Mapping
from harness.plan.names import nearest, suggestion
from harness.plan.texts import Flag, Text
from harness.plan.vocabulary import KnownReading
from harness.units import Unreadable, quantity, shown, whole


class Raw(Kind[Node]):
    """A value that cannot be read before its neighbours are known."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> Node:
        """Return *node* as it is."""
        return node


class ReadingName(Kind[str]):
    """The name of a reading that is known."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        name = text_of(node, desk, path, "the name of a reading")
        known = desk.vocabulary.readings
        if name is None or name in known:
            return name
        near = nearest(name, known)
        what = f"there is no reading {shown(name)}" + (f"; the nearest is {near}" if near else "")
        desk.error(node, "unknown-reading", what, suggestion(name, known, most=6))
        return None


class BoundParts:
    """A condition that was read, in its reading's unit."""

    __slots__ = ("at_least", "at_most", "equals", "holds", "node", "reading", "unit")

    def __init__(self, reading: str, unit: str, node: Node) -> None:
        self.reading, self.unit, self.node = reading, unit, node
        self.at_least: float | None = None
        self.at_most: float | None = None
        self.equals: float | bool | str | None = None
        self.holds: str | None = None


class _Made(Kind[BoundParts]):
    """What ``Bounded`` makes; it stands in no plan."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> BoundParts | None:
        """Return nothing: the condition is made of several keys."""
        return None


READING: Field[str] = Field("reading", ReadingName(), "the reading's name", required=True)
AT_LEAST: Field[Node] = Field("at_least", Raw(), "least value, with the reading's unit")
AT_MOST: Field[Node] = Field("at_most", Raw(), "greatest value, with the reading's unit")
BETWEEN: Field[Node] = Field("between", Raw(), "least and greatest value, as a list of two")
IS: Field[Node] = Field("is", Raw(), "the one value it must have")
HOLDS: Field[Node] = Field("holds", Raw(), "a name that the list must hold")

#: Where a mapping keeps the condition that was made of its keys.
MADE: Field[BoundParts] = Field("", _Made(), "")

_BOUNDS = (AT_LEAST, AT_MOST, BETWEEN, IS, HOLDS)
_FITTING = {
    "number": "at_least, at_most, between or is",
    "count": "at_least, at_most, between or is",
    "true/false": "is: true, or is: false",
    "text": "is",
    "list of names": "holds",
}


class Bounded(Mapping):
    """A mapping that holds a condition on a reading, and keys of its own."""

    __slots__ = ()

    def __init__(self, *fields: Field[object]) -> None:
        super().__init__(READING, *_BOUNDS, *fields)

    def finish(self, values: Values, desk: Desk, path: str) -> None:
        """Make the condition of the keys, once the reading is known."""
        name = values.get(READING)
        given = [field for field in _BOUNDS if values.get(field) is not None]
        if name is None:
            return
        known = desk.vocabulary.readings[name]
        if not given:
            what = f"{path} bounds nothing: a bound is needed"
            do = f"write {_FITTING[known.form]} for {name}"
            desk.error(values.node, "bound-needed", what, do)
            return
        if len(given) > 1 and set(given) != {AT_LEAST, AT_MOST}:
            both = " and ".join(field.name for field in given)
            do = "write one of them; only at_least and at_most go together"
            desk.error(values.place(given[1]), "bounds-mixed", f"{path} has both {both}", do)
            return
        made = _made(name, known, values, given, desk, path)
        if made is not None:
            values.put(MADE.name, made, values.node)


def _made(
    name: str, known: KnownReading, values: Values, given: list[Field[Node]], desk: Desk, path: str
) -> BoundParts | None:
    made = BoundParts(name, known.unit, values.node)
    first = given[0]
    node = values.need(first)
    inner = f"{path}.{first.name}"
    numeric = known.form in ("number", "count")
    if first is HOLDS:
        if known.form != "list of names":
            _misfit(name, known, first, node, desk, path)
            return None
        made.holds = Text("a name")(node, desk, inner)
        return made if made.holds is not None else None
    if first is IS and not numeric:
        if known.form == "list of names":
            _misfit(name, known, first, node, desk, path)
            return None
        kind: Kind[bool] | Kind[str] = Flag() if known.form == "true/false" else Text("a text")
        made.equals = kind(node, desk, inner)
        return made if made.equals is not None else None
    if not numeric:
        _misfit(name, known, first, node, desk, path)
        return None
    if first is IS:
        made.equals = _number(node, name, known, desk, inner)
        return made if made.equals is not None else None
    return _interval(made, known, values, given, desk, path)


def _interval(
    made: BoundParts,
    known: KnownReading,
    values: Values,
    given: list[Field[Node]],
    desk: Desk,
    path: str,
) -> BoundParts | None:
    name = made.reading
    ends: list[tuple[Field[Node], Node]] = [(field, values.need(field)) for field in given]
    if given[0] is BETWEEN:
        node = values.need(BETWEEN)
        if not isinstance(node, SequenceNode) or len(node.value) != 2:
            what = f"{path}.between must be a list of two values"
            desk.error(node, "wrong-kind", what, f"write [5 {known.unit}, 6 {known.unit}]")
            return None
        ends = [(AT_LEAST, node.value[0]), (AT_MOST, node.value[1])]
    for field, node in ends:
        value = _number(node, name, known, desk, f"{path}.{field.name}")
        if value is None:
            return None
        if field is AT_LEAST:
            made.at_least = value
        else:
            made.at_most = value
    if made.at_least is not None and made.at_most is not None and made.at_least > made.at_most:
        what = f"{path} can never hold: {made.at_least:g} is more than {made.at_most:g}"
        desk.error(ends[0][1], "bound-never-holds", what, "write the smaller value first")
        return None
    return made


def _number(node: Node, name: str, known: KnownReading, desk: Desk, path: str) -> float | None:
    text = text_of(node, desk, path, f"a number in {known.unit}" if known.unit else "a number")
    if text is None:
        return None
    try:
        value = float(whole(text)) if known.form == "count" else quantity(text, known.unit)
    except Unreadable as error:
        desk.error(node, error.code, f"{path} {error.what}", error.do)
        return None
    low, high = known.low, known.high
    if (low is not None and value < low) or (high is not None and value > high):
        what = f"{path} is outside what {name} can be: {shown(text)}"
        unit = f" {known.unit}" if known.unit else ""
        ends = [f"from {low:g}{unit}"] if low is not None else []
        ends += [f"up to {high:g}{unit}"] if high is not None else []
        do = "write a value " + " ".join(ends)
        desk.error(node, "bound-out-of-range", what, do)
        return None
    return value


def _misfit(
    name: str, known: KnownReading, field: Field[Node], node: Node, desk: Desk, path: str
) -> None:
    form = {"true/false": "true or false", "count": "a count", "number": "a number"}
    is_a = form.get(known.form, f"a {known.form}")
    what = f"{path}: {field.name} does not fit {name}, which is {is_a}"
    desk.error(node, "bound-misfit", what, f"write {_FITTING[known.form]}")
