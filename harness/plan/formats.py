"""Kinds for the frame log: columns, single characters, encodings, the header's line.

Pure.
"""

from __future__ import annotations

from yaml.nodes import Node, ScalarNode

from harness.plan.frame_log import may_separate, says_rate, unit_said
from harness.plan.kinds import Desk, Field, Kind, Values, text_of
from harness.plan.mappings import Mapping
from harness.plan.measures import Whole
from harness.plan.source import is_plain
from harness.plan.texts import MOST_NAME, Text
from harness.units import shown


class Column(Kind[str | int]):
    """A column: a bare number from 1 is its place, anything else its name."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | int | None:
        """Return the value of *node*, as ``Kind`` says."""
        if isinstance(node, ScalarNode) and is_plain(node) and _is_whole(node.value):
            return Whole(1, 10_000)(node, desk, path)
        return Text("a column", most=MOST_NAME)(node, desk, path)


def _is_whole(text: str) -> bool:
    return (text[1:] if text[:1] in ("+", "-") else text).isdecimal()


_WORDS = {"tab": "\t", "comma": ",", "semicolon": ";", "space": " ", "point": "."}


class Character(Kind[str]):
    """One character, or one of the words ``tab``, ``comma``, ``semicolon``, ``space``."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "one character")
        if text is None:
            return None
        text = _WORDS.get(text, text)
        if len(text) != 1 or not (text.isprintable() or may_separate(text)):
            what = f"{path} must be one character, and is {shown(text)}"
            desk.error(node, "not-a-character", what, f"write it, or {', '.join(_WORDS)}")
            return None
        return text


class Encoding(Kind[str]):
    """The name of a text encoding that Python knows."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = Text("an encoding", most=40)(node, desk, path)
        if text is None:
            return None
        try:
            "".encode(text)  # a codec that is not one of text is no encoding either
        except (LookupError, ValueError):
            what = f"{path} is no encoding of text: {shown(text)}"
            desk.error(node, "unknown-encoding", what, "write utf-8, utf-16, cp1252 or another")
            return None
        return text


class HeaderLine(Kind[int | str]):
    """The line of the header, from 1, or the word ``none``."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> int | str | None:
        """Return the value of *node*, as ``Kind`` says."""
        if isinstance(node, ScalarNode) and node.value == "none":
            return "none"
        return Whole(1, 10_000)(node, desk, path)


COLUMN = Column()
CHARACTER = Character()
ENCODING = Encoding()
HEADER = HeaderLine()


class FrameFile(Mapping):
    """How a frame log is read; what could never be read so is refused."""

    __slots__ = ()

    _SIGNS = ("delimiter", "decimal", "thousands")

    def __init__(self, *fields: Field[object]) -> None:
        super().__init__(*fields)

    def finish(self, values: Values, desk: Desk, path: str) -> None:
        """Report signs that part nothing or are equal, and a column that cannot be read so."""
        seen: dict[object, str] = {}
        for name in self._SIGNS:
            sign = values.get(self.fields[name])
            if sign is None:
                continue
            node = values.nodes[name]
            if sign in seen:
                what = f"{path}: {seen[sign]} and {name} are the same sign, {sign!r}"
                desk.error(node, "same-sign", what, "write two different signs")
            seen[sign] = name
            if name != "decimal" and not may_separate(str(sign)):
                what = f"{path}.{name} is {sign!r}, which is part of a number, a word or a quote"
                desk.error(node, "not-a-separator", what, "write the sign that parts them")
            if name == "decimal" and sign not in (".", ","):
                what = f"{path}.decimal must be . or , and is {sign!r}"
                desk.error(node, "unknown-word", what, "write '.' or ','")
        column, header = values.get(self.fields["column"]), values.get(self.fields["header"])
        if isinstance(column, str) and header == "none":
            what = f"{path}.column is a name, and there is no header to find it in"
            desk.error(
                values.nodes["column"], "no-header", what, "write the column's number from 1"
            )
        elif isinstance(column, str):
            self._hold_against_name(column, values, desk, path)

    def _hold_against_name(self, column: str, values: Values, desk: Desk, path: str) -> None:
        """Report what the column's own name says against it: no frame would ever be read."""
        if says_rate(column):
            what = f"{path}.column is {shown(column)}, which holds rates by its name, not times"
            do = "write a column of frame times; if this is one, write its number"
            desk.error(values.nodes["column"], "rate-column", what, do)
            return
        unit, said = values.get(self.fields["unit"]), unit_said(column)
        if unit is not None and said not in (None, unit):
            what = f"{path}.unit is {unit}, and the column {shown(column)} says {said} in its name"
            do = f"write unit: {said}; if the name is wrong, write the column's number"
            desk.error(values.nodes["unit"], "unit-conflict", what, do)
