"""Mappings of a plan: known keys only, each once, merged parts below what is written.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from harness.plan.kinds import Desk, Field, Generic, Kind, NotBuilt, T, Values
from harness.plan.names import nearest, suggestion
from harness.plan.source import is_plain, shape
from harness.plan.texts import NAME


class Mapping(Kind[Values]):
    """A mapping with known keys.

    A subclass may look at what the keys say together, in ``finish``.
    """

    __slots__ = ("fields",)

    def __init__(self, *fields: Field[object]) -> None:
        self.fields = {field.name: field for field in fields}

    def __call__(self, node: Node, desk: Desk, path: str) -> Values | None:
        """Return the value of *node*, as ``Kind`` says."""
        if not isinstance(node, MappingNode):
            _refuse(node, desk, path, self.fields)
            return None
        values = Values(node)
        fields = self.fields
        for key, value in _pairs(node, desk, path):
            field = fields.get(key.value)
            if field is None:
                _unknown_key(key, desk, path, fields)
                continue
            inner = f"{path}.{key.value}" if path else key.value
            values.put(key.value, field.kind(value, desk, inner), value)
        for name, field in fields.items():
            if field.required and name not in values.nodes:
                where = f"{path} needs the key {name}" if path else f"a plan needs the key {name}"
                first = node.value[0][0] if node.value else node
                desk.error(first, "key-missing", where, f"write {name}: {field.about}")
        self.finish(values, desk, path)
        return values

    def finish(self, values: Values, desk: Desk, path: str) -> None:
        """Report what the keys of one mapping say against each other."""


class Named(Generic[T]):
    """What stands under names that the author chose, in file order.

    ``keys`` has the place of every name, also of one whose part did not fit.
    """

    __slots__ = ("keys", "parts")

    def __init__(self) -> None:
        self.keys: dict[str, Node] = {}
        self.parts: list[tuple[str, T]] = []


class NamedParts(Kind[Named[T]]):
    """A mapping from names that the author chooses to parts of one kind."""

    __slots__ = ("least", "names", "part")

    def __init__(self, part: Kind[T], *, names: Kind[str] = NAME, least: int = 1) -> None:
        self.part = part
        self.names = names
        self.least = least

    def __call__(self, node: Node, desk: Desk, path: str) -> Named[T] | None:
        """Return the value of *node*, as ``Kind`` says."""
        if not isinstance(node, MappingNode):
            _refuse(node, desk, path, {})
            return None
        if len(node.value) < self.least:
            desk.error(node, "empty-mapping", f"{path} is empty", "write an entry, or no key")
            return None
        found: Named[T] = Named()
        for key, value in _pairs(node, desk, path):
            name = self.names(key, desk, f"a name in {path}")
            part = self.part(value, desk, f"{path}.{key.value[:60]}")
            found.keys[key.value] = key
            if name is not None and part is not None:
                found.parts.append((name, part))
        return found


def _pairs(node: MappingNode, desk: Desk, path: str) -> Iterator[tuple[ScalarNode, Node]]:
    """Yield the pairs of *node*, then those of its merged parts that it does not write itself."""
    seen: dict[str, ScalarNode] = {}
    merged: list[Node] = []
    for key, value in node.value:
        if not isinstance(key, ScalarNode):
            what = f"a key of {path or 'the plan'} is {shape(key)}"
            desk.error(key, "wrong-key", what, "write a name as the key")
            continue
        if key.value == "<<" and is_plain(key):
            merged += value.value if isinstance(value, SequenceNode) else [value]
            continue
        first = seen.get(key.value)
        if first is not None:
            _twice(first, key, value, node, desk, path)
            continue
        seen[key.value] = key
        yield key, value
    for part in merged:
        if not isinstance(part, MappingNode):
            what = f"<< in {path or 'the plan'} merges {shape(part)}"
            desk.error(part, "wrong-merge", what, "merge a mapping: <<: *name")
            continue
        for key, value in _pairs(part, desk, path):
            if key.value not in seen:
                seen[key.value] = key
                yield key, value


def _twice(
    first: ScalarNode, key: ScalarNode, value: Node, node: MappingNode, desk: Desk, path: str
) -> None:
    name = f"{path}.{key.value}" if path else key.value
    lines = (first.start_mark.line + 1, key.start_mark.line + 1)
    where = f"on lines {lines[0]} and {lines[1]}" if lines[0] != lines[1] else f"on line {lines[0]}"
    told = ""
    before = next(held for other, held in node.value if other is first)
    if isinstance(before, ScalarNode) and isinstance(value, ScalarNode):
        told = f", as {before.value[:40]!r} and as {value.value[:40]!r}"
    desk.error(key, "key-twice", f"{name} stands twice, {where}{told}", "take one of the two out")


def _unknown_key(key: ScalarNode, desk: Desk, path: str, fields: dict[str, Field[object]]) -> None:
    where = path or "a plan"
    built = [name for name, field in fields.items() if not isinstance(field.kind, NotBuilt)]
    near = nearest(key.value, fields)
    what = f"{where} has no key {key.value[:60]!r}" + (f"; the nearest is {near}" if near else "")
    desk.error(key, "unknown-key", what, suggestion(key.value, built, most=30))


def _refuse(node: Node, desk: Desk, path: str, fields: dict[str, Field[object]]) -> None:
    if isinstance(node, ScalarNode) and not node.value and is_plain(node):
        do = "write its keys below it, or take the key out"
        desk.error(node, "no-value", f"{path} has no value", do)
        return
    keys = ", ".join(list(fields)[:4])
    do = f"write its keys, such as {keys}" if keys else "write names, each with what it stands for"
    what = f"{path} must be a mapping of keys, and is {shape(node)}"
    desk.error(node, "wrong-kind", what, do)
