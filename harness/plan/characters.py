"""Which bytes and characters a plan file may hold.

Pure. A plan is UTF-8, with or without a byte order mark. Refused: other encodings, control
characters, tabs, line breaks that only some programs see, characters that turn the
direction of writing, and spaces in an indentation that look like spaces and are none.
"""

from __future__ import annotations

import re

from harness.errors import Place, Problem
from harness.plan.source import Source

#: Byte order marks, the longer first.
_MARKS = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)
_UTF8_MARK = b"\xef\xbb\xbf"

#: Characters that need a look: controls, odd line breaks, marks of direction, odd spaces, tabs.
_ODD = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff\t]"
    "|^[ -]*[\xa0\u1680\u2000-\u200b\u202f\u205f\u2060\u3000]",
    re.MULTILINE,
)

_NAMES = {
    "\x00": "NUL",
    "\t": "tab",
    "\n": "line feed",
    "\r": "carriage return",
    "\x1b": "ESC",
    "\x85": "next line",
    "\xa0": "non-breaking space",
    "\u2028": "line separator",
    "\u2029": "paragraph separator",
    "\u200b": "zero-width space",
    "\u2060": "word joiner",
    "\u202f": "narrow non-breaking space",
    "\u3000": "ideographic space",
    "\ufeff": "byte order mark",
}


def name_of(character: str) -> str:
    r"""Return the name of an odd *character* with its number.

    >>> name_of("\xa0")
    'non-breaking space (U+00A0)'
    """
    number = f"U+{ord(character):04X}"
    if character in _NAMES:
        return f"{_NAMES[character]} ({number})"
    from unicodedata import name

    known = name(character, "").lower()
    return f"{known} ({number})" if known else number


def is_control(character: str) -> bool:
    """Return whether *character* never belongs into a name or an argument."""
    return (
        character < " "
        or "\x7f" <= character <= "\x9f"
        or character in "\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff"
    )


def odd_space(text: str) -> str:
    """Return the first character of *text* that looks like a space and is none, or nothing."""
    spaces = (c for c in text if c != " " and (c.isspace() or c in "\u200b\u2060"))
    return next((c for c in spaces if c not in "\t\n\r"), "")


def decode(data: bytes, file: str) -> tuple[str, Problem | None]:
    """Return the text of a plan file, every line end as one character, or what is wrong."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return "", _encoding(file, encoding)
    if data[:2].count(0) == 1 and data[2:4].count(0) == 1:
        return "", _encoding(file, "UTF-16")  # without a mark: every other byte is zero
    if data.startswith(_UTF8_MARK):
        data = data[len(_UTF8_MARK) :]
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        return "", _not_utf8(data, error.start, file)
    return text.replace("\r\n", "\n").replace("\r", "\n"), None


def _encoding(file: str, encoding: str) -> Problem:
    return Problem(
        code="not-utf-8",
        what=f"the plan is not UTF-8: UTF-8 is needed ({encoding} found)",
        place=Source(file=file).place(1, 1),
        do="save the file as UTF-8",
    )


def _not_utf8(data: bytes, start: int, file: str) -> Problem:
    before = data[:start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    line = before.count(b"\n") + 1
    head = before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")
    rest = data[start:].splitlines()[0].decode("latin-1")
    source = Source(file=file, lines=("",) * (line - 1) + (head + rest,))
    return Problem(
        code="not-utf-8",
        what=f"the plan is not UTF-8: byte 0x{data[start]:02X} in line {line}",
        place=source.place(line, len(head) + 1),
        do="save the file as UTF-8",
    )


def odd_characters(text: str, source: Source) -> tuple[Problem, ...]:
    """Return a problem for every line of *text* with a character a plan may not hold."""
    problems: list[Problem] = []
    seen = 0
    for found in _ODD.finditer(text):
        character = found.group()[-1]
        at = found.end() - 1
        start = text.rfind("\n", 0, at) + 1
        line = text.count("\n", 0, at) + 1
        if line == seen or (character == "\t" and _in_comment(text[start:at])):
            continue
        seen = line
        problems.append(_odd(character, text[start:at], source.place(line, at - start + 1), line))
    return tuple(problems)


def _in_comment(before: str) -> bool:
    return before.startswith("#") or " #" in before or "\t#" in before


def _odd(character: str, before: str, place: Place, line: int) -> Problem:
    if character == "\t":
        where = "a tab indents" if not before.strip(" -") else "a tab stands in"
        return Problem(
            code="tab",
            what=f"{where} line {line}",
            place=place,
            do="write spaces; a plan holds no tabs",
        )
    if is_control(character) or character in "\ufffe\uffff":
        what = f"a control character stands in line {line}: {name_of(character)}"
        return Problem(code="control-character", what=what, place=place, do="take it out")
    return Problem(
        code="odd-space",
        what=f"line {line} is indented with a {name_of(character)}",
        place=place,
        do="write ordinary spaces",
    )
