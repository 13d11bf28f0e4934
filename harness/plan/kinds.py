"""What kind of value a key takes: how it is read, and what is said when it does not fit.

Pure. A kind is called with a node and gives back a value of its type, or None after it has
reported what is wrong. Of a list or a mapping it gives back the parts that fit, so that
what is said of them together can still be looked at: all problems of a plan are told at
once. Kinds hold no state: the table of fields is made of them, and the JSON Schema is
written from the same table.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from harness.errors import Problem
from harness.plan.characters import name_of, odd_space
from harness.plan.source import Source, is_plain, shape
from harness.plan.vocabulary import Vocabulary

TYPE_CHECKING = False  # as typing has it: importing typing is a twentieth of a check
if TYPE_CHECKING:
    from typing import Generic as Generic
    from typing import TypeVar

    T = TypeVar("T")
    T_co = TypeVar("T_co", covariant=True)
else:
    T = T_co = None

    class Generic:
        """Stands for ``typing.Generic`` while the program runs: ``Kind[str]`` is ``Kind``."""

        __slots__ = ()

        def __class_getitem__(cls, item: object) -> type:
            return cls


class Desk:
    """Where kinds report to: the source, what is known, and the problems so far.

    ``with_mark`` are the lines, from 0, in which a comment may begin.
    """

    __slots__ = ("problems", "source", "vocabulary", "with_mark")

    def __init__(self, source: Source, vocabulary: Vocabulary) -> None:
        self.source = source
        self.vocabulary = vocabulary
        self.problems: list[Problem] = []
        self.with_mark = frozenset(n for n, line in enumerate(source.lines) if " #" in line)

    def error(self, node: Node, code: str, what: str, do: str) -> None:
        """Report an error at *node*."""
        place = self.source.place_of(node)
        self.problems.append(Problem(code=code, what=what, place=place, do=do))

    def warn(self, node: Node, code: str, what: str, do: str) -> None:
        """Report a warning at *node*."""
        place = self.source.place_of(node)
        problem = Problem(code=code, what=what, place=place, do=do, severity="warning")
        self.problems.append(problem)


class Kind(ABC, Generic[T_co]):
    """A kind of value."""

    __slots__ = ()

    @abstractmethod
    def __call__(self, node: Node, desk: Desk, path: str) -> T_co | None:
        """Return the value of *node*, or None after reporting; *path* names it in messages."""


class Field(Generic[T_co]):
    """One key of a mapping: its name, kind, and what it is for.

    ``default`` is how the default is written in a plan, for the schema; empty where there
    is none or it needs words.
    """

    __slots__ = ("about", "default", "kind", "name", "required")

    def __init__(
        self, name: str, kind: Kind[T_co], about: str, *, required: bool = False, default: str = ""
    ) -> None:
        self.name = name
        self.kind = kind
        self.about = about
        self.required = required
        self.default = default


class Values:
    """A mapping that was read: the value and the place of every key that stands in it."""

    __slots__ = ("_found", "node", "nodes")

    def __init__(self, node: Node) -> None:
        self.node = node
        self._found: dict[str, object] = {}
        self.nodes: dict[str, Node] = {}

    def put(self, name: str, value: object, node: Node) -> None:
        """Keep a value that was read."""
        self._found[name] = value
        self.nodes[name] = node

    def get(self, field: Field[T]) -> T | None:
        """Return the value of *field*, or None where it does not stand or did not fit."""
        # The field's own kind made the value, so it is of the field's type.
        return self._found.get(field.name)  # type: ignore[return-value]

    def of(self, field: Field[T], default: T) -> T:
        """Return the value of *field*, or *default*."""
        value = self.get(field)
        return default if value is None else value

    def need(self, field: Field[T]) -> T:
        """Return the value of a required *field* of a plan without errors."""
        value = self.get(field)
        assert value is not None, field.name
        return value

    def place(self, field: Field[T]) -> Node:
        """Return the node of *field*, or that of the whole mapping."""
        return self.nodes.get(field.name, self.node)


def text_of(node: Node, desk: Desk, path: str, wanted: str) -> str | None:
    """Return the text of *node*; reports a list, a mapping, or nothing at all."""
    if isinstance(node, ScalarNode):
        text: str = node.value
        if text.isascii():
            if text or not is_plain(node):
                return text
        elif not is_plain(node) or not odd_space(text):
            return text
        else:
            what = f"{path} holds a {name_of(odd_space(text))} in line {node.start_mark.line + 1}"
            do = "write an ordinary space, or put the text in quotes if it is meant"
            desk.error(node, "odd-space", what, do)
            return None
        desk.error(node, "no-value", f"{path} has no value", f"write {wanted}, or take the key out")
        return None
    braces = isinstance(node, MappingNode) and node.flow_style
    desk.error(
        node,
        "wrong-kind",
        f"{path} must be {wanted}, and is {shape(node)}",
        "put a text with braces in quotes: '{size}'" if braces else f"write {wanted}",
    )
    return None


class ListOf(Kind[tuple[T, ...]]):
    """A list, every entry of one kind."""

    __slots__ = ("item", "least")

    def __init__(self, item: Kind[T], *, least: int = 1) -> None:
        self.item = item
        self.least = least

    def __call__(self, node: Node, desk: Desk, path: str) -> tuple[T, ...] | None:
        """Return the value of *node*, as ``Kind`` says."""
        if not isinstance(node, SequenceNode):
            self._refuse(node, desk, path)
            return None
        entries: Sequence[Node] = node.value
        if len(entries) < self.least:
            desk.error(node, "empty-list", f"{path} is an empty list", "write an entry, or no key")
            return None
        read = self.item
        values = [read(entry, desk, f"{path}[{n}]") for n, entry in enumerate(entries, start=1)]
        return tuple(value for value in values if value is not None)

    def _refuse(self, node: Node, desk: Desk, path: str) -> None:
        found = shape(node)
        if isinstance(node, ScalarNode) and not node.value and is_plain(node):
            desk.error(
                node, "no-value", f"{path} has no value", "write a list, or take the key out"
            )
            return
        do = "write it in brackets: [" + (
            f"{node.value}]" if isinstance(node, ScalarNode) and len(node.value) < 40 else "…]"
        )
        if isinstance(node, MappingNode):
            do = "begin every entry with '- '"
        desk.error(node, "wrong-kind", f"{path} must be a list, and is {found}", do)


class ByShape(Kind[T]):
    """One kind where a text stands, another for a list, another for a mapping."""

    __slots__ = ("entries", "items", "text", "wanted")

    def __init__(
        self,
        wanted: str,
        *,
        text: Kind[T] | None = None,
        items: Kind[T] | None = None,
        entries: Kind[T] | None = None,
    ) -> None:
        self.wanted = wanted
        self.text, self.items, self.entries = text, items, entries

    def __call__(self, node: Node, desk: Desk, path: str) -> T | None:
        """Return the value of *node*, as ``Kind`` says."""
        kind = self.text
        if isinstance(node, SequenceNode):
            kind = self.items
        elif isinstance(node, MappingNode):
            kind = self.entries
        if kind is not None:
            return kind(node, desk, path)
        if isinstance(node, ScalarNode) and not node.value and is_plain(node):
            what = f"{path} has no value"
            desk.error(node, "no-value", what, f"write {self.wanted}, or take the key out")
        else:
            what = f"{path} must be {self.wanted}, and is {shape(node)}"
            desk.error(node, "wrong-kind", what, f"write {self.wanted}")
        return None


class NotBuilt(Kind[None]):
    """A key of the design that this version does not carry out yet: it is refused.

    Args:
        instead: What to do instead.
        unless: The text that asks for nothing, and is taken.
    """

    __slots__ = ("instead", "unless")

    def __init__(self, instead: str, *, unless: str | None = None) -> None:
        self.instead = instead
        self.unless = unless

    def __call__(self, node: Node, desk: Desk, path: str) -> None:
        """Report that *node* asks for what is not built yet."""
        if isinstance(node, ScalarNode) and node.value == self.unless:
            return
        desk.error(node, "not-built-yet", f"{path} is not built yet", self.instead)
