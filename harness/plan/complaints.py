"""What YAML's scanner complains about, in the words of someone who writes plans.

Pure. The scanner stops at its first complaint. It names what it expected; here is said what
was probably meant: a name with a colon, a path in double quotes, a pattern with an asterisk.
"""

from __future__ import annotations

from yaml.error import MarkedYAMLError

from harness.errors import Problem
from harness.plan.source import Source


def complaint(error: MarkedYAMLError, source: Source) -> Problem:
    """Return the scanner's *error* as a problem of the plan."""
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    begun = error.context_mark
    began = (begun.line + 1, begun.column + 1) if begun else (line, column)
    says = f"{error.context or ''}: {error.problem or ''}"
    if line >= len(source.lines) and not _text(source, line).strip():
        # The scanner ran to the end of the file: it is at fault where it began, or before.
        line, column = began if began[0] < line else _end(source)
        began = min(began, (line, column))
    for words, make in _MEANINGS:
        if all(word in says for word in words):
            return make(source, line, column, began)
    return Problem(
        code="not-yaml",
        what=f"line {line} is not YAML: {error.problem or 'it cannot be read'}",
        place=source.place(line, column),
        do="look at this line and the one before: indentation, quotes, brackets, colons",
    )


def _text(source: Source, line: int) -> str:
    return source.lines[line - 1] if line <= len(source.lines) else ""


def _end(source: Source) -> tuple[int, int]:
    """Return the place of the last character that is no blank."""
    for line in range(len(source.lines), 0, -1):
        text = source.lines[line - 1].rstrip()
        if text:
            return line, len(text)
    return 1, 1


def _colon(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    before = _text(source, line)[: column - 1]
    if ": " in before or before.rstrip().endswith(":"):
        return Problem(
            code="colon-in-text",
            what=f"line {line} has a second colon: a text cannot hold ': ' as it stands",
            place=source.place(line, column),
            do="quote a name that holds a colon: title: 'Lantern Quay: Undertow'",
        )
    return Problem(
        code="not-yaml",
        what=f"a key stands in line {line} where none may stand",
        place=source.place(line, column),
        do="indent it like its neighbours, and see that the line before ends in a colon or a value",
    )


def _escape(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    text = _text(source, line)
    at = text.rfind("\\", 0, column + 1)
    escape = text[at : at + 2] if at >= 0 else "\\"
    return Problem(
        code="bad-escape",
        what=f"a backslash in double quotes begins an escape, and {escape} in line {line} is none",
        place=source.place(line, at + 1 if at >= 0 else column, 2),
        do="write a path in single quotes: 'D:\\new\\tests'",
    )


def _cannot_start(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    character = _text(source, line)[column - 1 : column]
    return Problem(
        code="quotes-needed",
        what=f"a text cannot begin with {character!r} as it does in line {line}",
        place=source.place(line, column),
        do=f"put the text in single quotes: '{character}…'",
    )


def _alias(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    mark = _text(source, began[0])[began[1] - 1 : began[1]] or "*"
    return Problem(
        code="quotes-needed",
        what=f"a text cannot begin with {mark!r} as it does in line {began[0]}",
        place=source.place(*began),
        do=f"put the text in single quotes: '{mark}.csv'",
    )


def _tag(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="tag",
        what=f"a tag stands in line {began[0]}",
        place=source.place(*began),
        do="take it out; put a text that begins with '!' in quotes",
    )


def _no_anchor(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    name = _text(source, line)[column - 1 :].split(",")[0].split(" ")[0].rstrip("]}")
    return Problem(
        code="unknown-alias",
        what=f"nothing above is called {name.lstrip('*')!r}, as the alias in line {line} says",
        place=source.place(line, column, max(1, len(name))),
        do="write &NAME before the part that it stands for, or put a text in quotes",
    )


def _anchor_twice(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="anchor-twice",
        what=f"one anchor is written twice, in lines {began[0]} and {line}",
        place=source.place(line, column),
        do="give the second a name of its own",
    )


def _documents(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="two-documents",
        what=f"the file holds two documents: the second begins in line {line}",
        place=source.place(line, column, 3),
        do="write one plan a file",
    )


def _unclosed_quote(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="quote-not-closed",
        what=f"the quote that begins in line {began[0]} is never closed",
        place=source.place(*began),
        do="close it; inside single quotes write '' for an apostrophe",
    )


def _unclosed(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    opened = _text(source, began[0])[began[1] - 1 : began[1]]
    closing = {"[": "]", "{": "}"}.get(opened)
    what = f"a comma or a closing bracket is missing in line {line}"
    if closing is not None:
        what = (
            f"a comma or {closing} is missing in line {line}, for the {opened} of line {began[0]}"
        )
    return Problem(
        code="bracket",
        what=what,
        place=source.place(line, column),
        do=f"write commas between the parts, and {closing or '] or }'} after the last",
    )


def _needs_colon(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="not-yaml",
        what=f"line {began[0]} is neither a key nor part of the line before",
        place=source.place(*began),
        do="write a colon and a blank after a key, or indent the line below its key",
    )


def _layout(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="not-yaml",
        what=f"line {line} does not fit to the lines above it",
        place=source.place(line, column),
        do="indent keys of one part alike; after a closing quote nothing more may stand",
    )


def _list_entry(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="not-yaml",
        what=f"an entry of a list begins in line {line} where none may stand",
        place=source.place(line, column),
        do="begin the list on a line of its own, or put a text that begins with '-' in quotes",
    )


def _tab(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="tab",
        what=f"a tab indents line {line}",
        place=source.place(line, column),
        do="write spaces; a plan holds no tabs",
    )


def _depth(source: Source, line: int, column: int, began: tuple[int, int]) -> Problem:
    return Problem(
        code="too-deep",
        what=f"lists and mappings stand too deep in one another in line {line}",
        place=source.place(line, column),
        do="a plan needs no more than eight levels",
    )


_MEANINGS = (
    (("mapping values are not allowed",), _colon),
    (("quoted scalar", "hexdecimal"), _escape),
    (("quoted scalar", "escape"), _escape),
    (("quoted scalar", "end of stream"), _unclosed_quote),
    (("quoted scalar", "document indicator"), _unclosed_quote),
    (("cannot start any token",), _cannot_start),
    (("scanning an alias",), _alias),
    (("scanning an anchor",), _alias),
    (("undefined alias",), _no_anchor),
    (("duplicate anchor",), _anchor_twice),
    (("tag",), _tag),
    (("single document",), _documents),
    (("<document start>",), _layout),
    (("flow sequence",), _unclosed),
    (("flow mapping",), _unclosed),
    (("flow node",), _unclosed),
    (("could not find expected ':'",), _needs_colon),
    (("block sequence entries",), _list_entry),
    (("block mapping",), _layout),
    (("block collection",), _layout),
    (("tab character",), _tab),
    (("nesting depth",), _depth),
)
