"""A plan file's text, and where each of its values stands.

Pure. Values are the nodes of PyYAML's composer: texts, lists and mappings with their marks.
No value has a type yet: ``on``, ``1:30``, ``4.10``, ``010`` are the texts that were written.
"""

from __future__ import annotations

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from harness.errors import Place, Problem


class Source:
    """A plan file as it was read. It is never changed.

    A class by hand, as are the others that every check makes: importing dataclasses takes as
    long as reading a plan of a hundred titles.

    Args:
        file: Its path, as the user wrote it.
        lines: Its lines, without their ends.
        root: What stands at the top; None where the text could not be taken apart.
        problems: What is wrong with the text itself, in file order.
    """

    __slots__ = ("file", "lines", "problems", "root")

    def __init__(
        self,
        *,
        file: str,
        lines: tuple[str, ...] = (),
        root: Node | None = None,
        problems: tuple[Problem, ...] = (),
    ) -> None:
        self.file = file
        self.lines = lines
        self.root = root
        self.problems = problems

    def place(self, line: int, column: int, width: int = 1) -> Place:
        """Return the place at *line* and *column*, both from 1, with the text of its line."""
        text = self.lines[line - 1] if 0 < line <= len(self.lines) else None
        return Place(file=self.file, line=line, column=column, text=text, width=width)

    def place_of(self, node: Node) -> Place:
        """Return where *node* stands, as wide as it is on its first line."""
        start, end = node.start_mark, node.end_mark
        width = 1
        if isinstance(node, ScalarNode) or start.line == end.line:
            line = self.lines[start.line] if start.line < len(self.lines) else ""
            last = end.column if end.line == start.line else len(line)
            width = max(1, last - start.column)
        return self.place(start.line + 1, start.column + 1, width)


def is_plain(node: ScalarNode) -> bool:
    """Return whether a text was written without quotes."""
    return node.style not in ("'", '"', "|", ">")


def shape(node: Node) -> str:
    """Return what *node* is, in a word for messages."""
    if isinstance(node, MappingNode):
        return "a mapping"
    if isinstance(node, SequenceNode):
        return "a list"
    return "a text"
