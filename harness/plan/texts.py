"""Kinds of text: names, words to choose from, patterns, files, arguments of commands.

Pure. Text stays the text that was written.
"""

from __future__ import annotations

import re
import warnings

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from harness.plan.characters import is_control, name_of
from harness.plan.kinds import Desk, Kind, text_of
from harness.plan.names import nearest, suggestion
from harness.plan.source import is_plain
from harness.units import shown

#: The longest name: more than any title has, and less than a table can show.
MOST_NAME = 200
MOST_TEXT = 10_000


class Text(Kind[str]):
    """A text.

    Args:
        noun: What it is called in messages.
        most: Greatest length in characters.
        lines: Whether it may have several lines.
        blank: Whether it may be empty, written as ``''``.
    """

    __slots__ = ("blank", "lines", "most", "noun")

    def __init__(
        self, noun: str, *, most: int = MOST_TEXT, lines: bool = False, blank: bool = False
    ) -> None:
        self.noun, self.most, self.lines, self.blank = noun, most, lines, blank

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, self.noun)
        if text is None:
            return None
        if not self.blank and (not text or text.isspace()):
            desk.error(node, "blank", f"{path} is blank", f"write {self.noun}")
            return None
        if len(text) > self.most:
            what = f"{path} is too long: {len(text)} characters, {self.most} at most"
            desk.error(node, "too-long", what, f"write a shorter {self.noun.split(' ', 1)[1]}")
            return None
        if not text.isprintable() and not self._fits(text, node, desk, path):
            return None
        assert isinstance(node, ScalarNode)
        if is_plain(node):
            last = node.end_mark.line
            if last in desk.with_mark:
                _look_behind(node, desk, path)
            if not self.lines and node.start_mark.line != last:
                what = (
                    f"{path} runs over lines {node.start_mark.line + 1} to {node.end_mark.line + 1}"
                )
                do = "write it on one line, and see whether a colon is missing in the second"
                desk.error(node, "over-lines", what, do)
                return None
        return text

    def _fits(self, text: str, node: Node, desk: Desk, path: str) -> bool:
        assert isinstance(node, ScalarNode)
        for character in text:
            if character == "\n" and self.lines:
                continue
            if is_control(character):
                self._control(character, text, node, desk, path)
                return False
        return True

    def _control(self, character: str, text: str, node: ScalarNode, desk: Desk, path: str) -> None:
        line = node.start_mark.line + 1
        do = "take it out"
        if node.style == '"':
            do = "put the text in single quotes: there a backslash is only a backslash"
        desk.error(
            node,
            "control-character",
            f"{path}: control characters in {self.noun} in line {line}: {shown(text)} "
            f"holds {name_of(character)}",
            do,
        )


def _look_behind(node: ScalarNode, desk: Desk, path: str) -> None:
    """Warn where '#' may have cut the text short: ``Basalt Run #2`` is read as Basalt Run."""
    end = node.end_mark
    comment = desk.source.lines[end.line][end.column :].lstrip(" ")
    if comment[:1] == "#" and comment[1:2] not in (" ", "", "#", "-", "=", "!"):
        desk.warn(
            node,
            "cut-by-comment",
            f"{path} is read as {shown(node.value)}: ' #' begins a comment in line {end.line + 1}",
            "put the text in quotes if '#' belongs to it; else write a blank after '#'",
        )


#: A name that the author chooses: title, scene, setting, condition, level.
NAME = Text("a name", most=MOST_NAME)


class Zone(Text):
    """The name of a time zone that this system knows."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = super().__call__(node, desk, path)
        look_up = desk.vocabulary.zones_instead
        instead = look_up(text) if text is not None and look_up is not None else None
        if text is None or instead is None:
            return text
        if not instead:  # the plan may be for another rig, and it may be right
            what = f"{path}: this system has no time zones to look {shown(text)} up in"
            do = "install the system's time zones (tzdata), here and on the rig"
            desk.warn(node, "no-such-zone", what, do)
            return text
        near = nearest(text, instead)
        what = f"{path}: this system knows no time zone {shown(text)}"
        do = f"write {near}" if near else "write its name in the tz database, as in Europe/Lisbon"
        desk.error(node, "no-such-zone", what, do)
        return None


class Choice(Kind[str]):
    """One of a few words."""

    __slots__ = ("words",)

    def __init__(self, *words: str) -> None:
        self.words = words

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "one of " + ", ".join(self.words))
        if text is None or text in self.words:
            return text
        near = nearest(text, self.words)
        what = f"{path} cannot be {shown(text)}" + (f"; the nearest is {near}" if near else "")
        desk.error(node, "unknown-word", what, suggestion(text, self.words))
        return None


class Flag(Kind[bool]):
    """``true`` or ``false``, in these words and no others."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> bool | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "true or false")
        if text in ("true", "false"):
            return text == "true"
        if text is not None:
            what = f"{path} must be true or false, not {shown(text)}"
            meant = {"yes": "true", "on": "true", "no": "false", "off": "false"}
            do = "write " + meant.get(text.casefold(), "true or false")
            desk.error(node, "not-true-or-false", what, do)
        return None


class Pattern(Kind[str]):
    """A regular expression with a group ``value``."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = Text("a pattern", most=1000)(node, desk, path)
        if text is None:
            return None
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")  # a set that will mean something else one day
                groups = re.compile(text).groupindex
        except (re.error, Warning, OverflowError, RecursionError) as error:
            do = "write a regular expression as Python's re module has it"
            desk.error(node, "bad-pattern", f"{path} is not a pattern: {error}", do)
            return None
        if "value" not in groups:
            what = f"{path} has no group called value"
            desk.error(node, "no-value-group", what, r"write the number as (?P<value>[0-9.]+)")
            return None
        return text


class Pointer(Kind[str]):
    """A JSON pointer, RFC 6901."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = Text("a JSON pointer", most=1000)(node, desk, path)
        if text is None:
            return None
        if not text.startswith("/") or re.search("~(?![01])", text):
            what = f"{path} is not a JSON pointer: {shown(text)}"
            desk.error(node, "bad-pointer", what, "write it as RFC 6901 has it: /summary/psnr_db")
            return None
        return text


class CaptureFile(Kind[str]):
    """A file inside the captures folder: relative, and never leaving it."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = Text("a file name", most=MOST_NAME)(node, desk, path)
        if text is None:
            return None
        parts = text.replace("\\", "/").split("/")
        if parts[0] == "" or ".." in parts or ":" in parts[0] or parts[0] == "~":
            what = f"{path} must stay inside the captures folder: {shown(text)} does not"
            desk.error(node, "outside-captures", what, f"write {parts[-1] or 'frames.csv'}")
            return None
        if text.startswith("{captures}"):
            what = f"{path} is a path inside the captures folder already"
            desk.error(node, "outside-captures", what, f"write {parts[-1]}")
            return None
        if parts[-1] in ("", "."):
            what = f"{path} must name a file, and {shown(text)} names a folder"
            desk.error(node, "not-a-file", what, "write the path of the file itself")
            return None
        return text


class Arguments(Kind[tuple[str, ...]]):
    """A command: a list of arguments, never a string for a shell."""

    __slots__ = ()

    _ARGUMENT = Text("an argument", blank=True)

    def __call__(self, node: Node, desk: Desk, path: str) -> tuple[str, ...] | None:
        """Return the value of *node*, as ``Kind`` says."""
        if not isinstance(node, SequenceNode):
            self._refuse(node, desk, path)
            return None
        if not node.value:
            what = f"{path} is an empty list"
            desk.error(node, "empty-list", what, "write the program, then its arguments")
            return None
        read = self._ARGUMENT
        found = [read(entry, desk, f"{path}[{n}]") for n, entry in enumerate(node.value, start=1)]
        fit = tuple(text for text in found if text is not None)
        if len(fit) < len(found):
            return None
        if not fit[0].strip():
            desk.error(node.value[0], "blank", f"{path}[1] is blank", "write the program's name")
            return None
        return fit

    @staticmethod
    def _refuse(node: Node, desk: Desk, path: str) -> None:
        if isinstance(node, ScalarNode) and node.value:
            words = ", ".join(node.value.split()[:6])
            what = f"{path} must be a list, and is one string; no shell takes it apart"
            desk.error(node, "command-not-a-list", what, f"write [{words}]")
            return
        kind = "a mapping" if isinstance(node, MappingNode) else "nothing"
        what = f"{path} must be a list, and is {kind}"
        desk.error(node, "command-not-a-list", what, "write [program, --option, value]")
