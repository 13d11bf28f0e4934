"""What a plan's pattern finds in a text, within a time: no pattern can hold up the runner.

Touches processes. A search with ``re`` cannot be broken off, and a pattern with one repeat
inside another may take longer than anybody lives over forty characters. So it is made in a
process of its own that is ended when its time is up. A pattern that is seen at once to need
no going back, over a text that is not long, is looked for here: that is what a plan has as a
rule, and it costs no process.
"""

from __future__ import annotations

import contextlib
import json
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from harness.rules.going_on import ONE, goes_on, may_be_none

#: So long may a pattern be looked for in one text, seconds: 64 MiB take a plain one a second.
SEARCH_S = 10.0
#: What is found is kept once; a pattern that finds more different texts than this is of no use.
MOST_FOUND = 1000
#: Of a text that is searched here: even a start at each character is then over in a second.
_MOST_HERE = 32_768
_BOOTSTRAP = (
    "import sys; sys.path.insert(0, {root!r}); from harness.rules.finding import main; main()"
)

_OPENS = "(?P<value>"
_ITEM = re.compile(
    ONE + r" (?P<many> [*+?] | \{\d+(?P<upto>,\d*)?\} )? (?![*+?{])", re.VERBOSE | re.DOTALL
)
_AT = re.compile(r"\^|\$|\\[bBAZ]")


class TooLong(Exception):
    """The search was not over within its time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A text that the group ``value`` took; ``whole``: the number that it is a part of."""

    text: str
    whole: str | None = None


def found(pattern: str, text: str) -> tuple[Found, ...]:
    """Return what *pattern* finds in *text*, each once, in order.

    Args:
        pattern: A regular expression with the group ``value``, which ``re`` takes.
        text: Where it is looked for.

    Raises:
        TooLong: it was not over within ``SEARCH_S``, or needed more memory than there is.
    """
    if len(text) <= _MOST_HERE and never_goes_back(pattern, text):
        return _found(pattern, text)
    root = str(Path(__file__).parent.parent.parent)
    with subprocess.Popen(
        [sys.executable, "-I", "-c", _BOOTSTRAP.format(root=root)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # Ctrl-C is for the runner, which waits for it
    ) as child:
        order = f"{json.dumps(pattern)}\n{text}".encode()
        try:
            answer, _ = child.communicate(order, timeout=SEARCH_S)
        except subprocess.TimeoutExpired:
            child.kill()
            raise TooLong from None
    if child.returncode != 0:
        raise TooLong
    return tuple(Found(text=taken, whole=whole) for taken, whole in json.loads(answer))


def never_goes_back(pattern: str, text: str) -> bool:
    r"""Return whether *pattern* can be looked for in *text* without trying a character twice.

    That is so where it is a row of characters, with no group but ``value``, and what may
    stand behind each repeat shares no character of *text* with it: a shorter repeat then
    fails at once. Whatever is not understood here is answered with no.

    >>> never_goes_back(r"score\s*=\s*(?P<value>[0-9.]+)", "score = 12.5")
    True
    >>> never_goes_back(r"(?P<value>(a+)+)$", "aaab"), never_goes_back(r".*(?P<value>b)", "ab")
    (False, False)
    """
    row, place, open_group = [], 0, False
    while place < len(pattern):
        if pattern.startswith(_OPENS, place):
            open_group, place = True, place + len(_OPENS)
        elif open_group and re.match(r"\)(?![*+?{])", pattern[place : place + 2]):
            open_group, place = False, place + 1
        elif at := _AT.match(pattern, place):
            place = at.end()
        elif item := _ITEM.match(pattern, place):
            row.append(item)
            place = item.end()
        else:
            return False
    there = sorted(set(text))
    takes = [{c for c in there if re.fullmatch(item["one"], c, re.DOTALL)} for item in row]
    for number, item in enumerate(row):
        if not _repeats(item):
            continue
        for after, taken in zip(row[number + 1 :], takes[number + 1 :], strict=True):
            if takes[number] & taken:
                return False
            if not may_be_none(after):
                break
    return True


def _repeats(item: re.Match[str]) -> bool:
    """Return whether an item may take more or fewer characters."""
    return item["many"] is not None and (item["many"] in "*+?" or item["upto"] is not None)


def _found(pattern: str, text: str) -> tuple[Found, ...]:
    kept: dict[Found, None] = {}
    for match in re.finditer(pattern, text):
        taken = match["value"]
        if taken is not None:
            whole = goes_on(pattern, text, match.start("value"), match.end("value"))
            kept[Found(text=taken, whole=whole)] = None
        if len(kept) >= MOST_FOUND:
            break
    return tuple(kept)


def main() -> None:
    """Look for the pattern on the first line of standard input in all that follows it."""
    with contextlib.suppress(ImportError):
        import resource

        # The runner may be killed meanwhile: nothing then ends this process but the system.
        limit_s = int(SEARCH_S) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
    pattern, _, text = sys.stdin.buffer.read().decode().partition("\n")
    answer = [(each.text, each.whole) for each in _found(json.loads(pattern), text)]
    sys.stdout.write(json.dumps(answer))
