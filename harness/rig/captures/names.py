"""What a column holds beside the frame times, by its name and what stands in it.

Pure. Logs name their columns in many ways, so words are looked for, in whatever order and
however they are joined; what such a column holds then decides. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import compress, pairwise, takewhile

from harness.plan.frame_log import words

PROGRAMS, KINDS = "programs", "kinds"

SAMPLE_ROWS = 64  #: that tell whether a column counts the frames
_FEW_ROWS = 8  # of them, in which a column may count that jumps about later

# Whatever stands under these names tells programs, or kinds of frames, apart.
_PROGRAM_NAMES = frozenset((("title",), ("game",)))
_KIND_NAMES = frozenset((("kind",), ("type",), ("generated",), ("dropped",)))

_PROGRAM = frozenset(
    (
        *("program", "programm", "programme", "process", "proc", "application", "app"),
        *("exe", "executable", "pid"),
    )
)
_NAMING = frozenset(
    ("name", "id", "no", "nr", "num", "number", "#", "file", "filename", "path", "image", "handle")
)
#: What tells which program is named.
_WHICH = frozenset(("target", "targeted", "current", "captured", "measured", "foreground"))
#: What is said of a program and does not name it.
_ABOUT = frozenset(
    (
        *("state", "status", "phase", "stage", "mode", "version", "priority", "event", "scene"),
        *("level", "time", "date", "memory", "load", "usage", "cpu", "gpu", "api"),
        *("setting", "preset"),
    )
)

_PROGRAM_ENDS = (b".exe", b".com", b".bat", b".bin", b".app", b".elf")

_KIND = frozenset(("kind", "type", "class"))
_BESIDE_KIND = frozenset(("frame", "frames", "of", "the", "name", "id"))
_MADE = frozenset(
    (
        *("generated", "interpolated", "synthetic", "made", "dropped", "skipped", "discarded"),
        *("presented", "displayed", "shown", "repeated", "duplicate", "duplicated"),
    )
)
_BESIDE_MADE = frozenset(("is", "was", "has", "been", "frame", "flag"))
_YES_OR_NO = frozenset(
    (
        *(b"", b"0", b"1", b"true", b"false", b"yes", b"no", b"t", b"f", b"y", b"n"),
        *(b"on", b"off"),
    )
)

_FRAME = frozenset(("frame", "present"))
_NUMBER = frozenset(
    ("no", "nr", "num", "number", "n", "#", "index", "idx", "count", "counter", "seq", "sequence")
)
#: What a number starts again in: a frame's number in its second counts no frames of the file.
_STRETCHES = frozenset(
    ("in", "per", "within", "since", "flight", "queue", "slot", "buffer", "second", "scene", "loop")
)
_MOST_ROUNDS = 2  # that two recordings in one file, or rows written twice, make of the first rows
_COUNTING_WORDS = _NUMBER - {"count"} | {"frame"}


def may_mix(name: str) -> bool:
    """Return whether a column may tell programs, or kinds of frames, apart.

    >>> may_mix("ProcessName"), may_mix("was_dropped"), may_mix("cpu_percent")
    (True, True, False)
    """
    parts = words(name)
    return _is_program(parts) or _is_kind(parts) or _is_made(parts)


def mixed(name: str, texts: Collection[bytes]) -> str | None:
    """Return what a column with these different texts mixes: `PROGRAMS`, `KINDS`, or None.

    Texts are the names of programs where the column's name says nothing but that, and whole
    numbers are there too, as a process number is. Under a name that says more, as
    app_resolution does, they are where one of them looks like a program.
    """
    parts = words(name)
    if _is_kind(parts):
        return KINDS
    if _is_made(parts) and all(text.strip().lower() in _YES_OR_NO for text in texts):
        return KINDS
    if not _is_program(parts):
        return None
    if parts in _PROGRAM_NAMES or set(parts) <= _PROGRAM | _NAMING | _WHICH:
        return None if _measured(texts) else PROGRAMS
    return PROGRAMS if any(map(_looks_like_program, texts)) else None


def _is_program(parts: tuple[str, ...]) -> bool:
    if parts in _PROGRAM_NAMES:
        return True
    return bool(_PROGRAM & set(parts)) and not _ABOUT & set(parts)


def _is_kind(parts: tuple[str, ...]) -> bool:
    if parts in _KIND_NAMES:
        return True
    kinds = set(parts) & _KIND
    return bool(kinds) and "frame" in parts and set(parts) - kinds <= _BESIDE_KIND


def _is_made(parts: tuple[str, ...]) -> bool:
    made = set(parts) & _MADE
    return bool(made) and set(parts) - made <= _BESIDE_MADE


def _measured(texts: Collection[bytes]) -> bool:
    """Return whether these are numbers with fractions: a time or a share, and no program's."""
    try:
        numbers = [float(text.strip().replace(b",", b".")) for text in texts if text.strip()]
    except ValueError:
        return False
    return not all(map(float.is_integer, numbers))


def _looks_like_program(text: bytes) -> bool:
    """Return whether a text ends as the file of a program does, or is a path to such a file."""
    text = text.strip(b' "').lower()
    if text.endswith(_PROGRAM_ENDS):
        return True
    # Other files have an ending of their own: a path to a log is no program.
    is_path = text.startswith((b"/", b"./", b"~/", b"\\\\")) or text[1:3] == b":\\"
    return is_path and len(text) > 1 and b"." not in text.replace(b"\\", b"/").rpartition(b"/")[2]


def may_count(name: str) -> bool:
    """Return whether a column may count the frames.

    >>> may_count("FrameNumber"), may_count("Frame #"), may_count("frame_time")
    (True, True, False)
    """
    parts = words(name)
    if len(parts) == 1:
        return parts[0] in _COUNTING_WORDS
    numbers = bool(_FRAME & set(parts)) and bool((_NUMBER | {"id"}) & set(parts))
    return numbers and not _STRETCHES & set(parts)


def counts_frames(name: str) -> bool:
    """Return whether a name that `may_count` says that the frames of the file are counted.

    >>> counts_frames("frame_no"), counts_frames("FrameIndex"), counts_frames("frame")
    (True, True, True)
    >>> counts_frames("seq"), counts_frames("lap_frame_number"), counts_frames("present id")
    (False, False, False)
    """
    parts = set(words(name))
    return "frame" in parts and parts <= _NUMBER | {"frame", "id"}


def counts(name: str, values: Sequence[int | None], mask: Sequence[bool] | None = None) -> bool:
    """Return whether a column that `may_count` does, by the numbers of its first rows.

    It does if most go up by one, among the first few rows or among all of them. Under a name
    that says nothing else it does too if they only never go down: every second frame may be
    lost, and every row be there twice. What hardly changes, or goes round, counts no frames.

    Args:
        name: The column's name.
        values: Its numbers; None: no whole one, as in a summary at the end of a short file.
        mask: For each row whether it counts; a counter may run over those alone.
    """
    found = list(takewhile(lambda value: value is not None, values[:SAMPLE_ROWS]))
    numbers = [value for value in found if value is not None]
    if len(numbers) < min(len(values), _FEW_ROWS):
        return False
    if _counts(words(name), numbers):
        return True
    return mask is not None and _counts(words(name), list(compress(numbers, mask)))


def _counts(parts: tuple[str, ...], numbers: list[int]) -> bool:
    steps = [after - value for value, after in pairwise(numbers)]
    rounds = sum(after == numbers[0] < value for value, after in pairwise(numbers))
    if not steps or rounds > _MOST_ROUNDS:
        return False
    few = steps[: _FEW_ROWS - 1]
    if 2 * few.count(1) > len(few) or 2 * steps.count(1) > len(steps):
        return True
    rises = sum(step > 0 for step in steps)
    if min(steps) < 0 or 4 * rises < len(steps):
        return False
    if parts == ("frame",):  # may be many things that rise, as an instant
        return sum(steps) <= 3 * len(steps)
    return set(parts) <= _FRAME | _NUMBER and bool(_FRAME & set(parts))


def whole(cell: bytes) -> int | None:
    """Return the whole number that a cell is, to the last digit; None: it is none.

    >>> whole(b"12"), whole(b"12.0"), whole(b"12.5"), whole(b"")
    (12, 12, None, None)
    """
    digits, _, fraction = cell.strip(b' "').partition(b".")
    sign = -1 if digits.startswith(b"-") else 1
    digits = digits.removeprefix(b"-") if sign < 0 else digits.removeprefix(b"+")
    if digits.isdigit() and not fraction.strip(b"0") and len(digits) <= _MOST_DIGITS:
        return sign * int(digits)
    if b"e" not in cell.lower():
        return None
    try:
        number = float(cell.strip(b' "'))
    except ValueError:
        return None
    return int(number) if number.is_integer() else None


_MOST_DIGITS = 300  # of a number that a float can hold, nearly
