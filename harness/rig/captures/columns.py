"""Names of columns -> which of them hold what, and the unit of the frame times.

Pure. A column is found by its very name; where no header has that, by the one that differs
only in case and in blanks around it. Two of them refuse the capture. Undeclared, the frame
times are only taken from a column that says in its name both that it holds them and in
which unit (``frame_ms``, ``Frame time (us)``).
"""

from __future__ import annotations

from harness.plan.frame_log import SPELLINGS, says_rate, unit_said, words
from harness.rig.captures.declared import UNITS, Declared
from harness.rig.captures.trouble import Trouble, listed, shown

_TIME_NAMES = frozenset(("frame", "frame time", "frametime", "frame duration", "frame length"))


def find(names: list[str], wanted: str, *, what: str, line: int | None, text: str | None) -> int:
    """Return the place of the one column called *wanted*.

    Raises:
        Trouble: none has the name, or several.
    """
    trimmed = [name.strip() for name in names]
    for candidates, key in (
        (trimmed, wanted.strip()),
        ([name.casefold() for name in trimmed], wanted.strip().casefold()),
    ):
        found = [place for place, name in enumerate(candidates) if name == key]
        if len(found) == 1:
            return found[0]
        if found:
            raise Trouble(
                "column-twice",
                f"{len(found)} columns are called {shown(wanted)}: numbers "
                f"{', '.join(str(place + 1) for place in found)}",
                line=line,
                text=text,
                do="have the recorder name its columns apart, or declare the column by its number",
            )
    raise Trouble(
        "column-missing",
        f"there is no column {shown(wanted)}; the columns are {listed(names)}",
        line=line,
        text=text,
        do=f"declare {what} as one of them",
    )


def time_column(names: list[str], declared: Declared, *, line: int | None, text: str | None) -> int:
    """Return the place of the column of frame times.

    Raises:
        Trouble: it is not there, not declared, or holds rates.
    """
    column = declared.column
    if isinstance(column, str) and column.isascii() and column.isdigit():
        column = column if column in [name.strip() for name in names] else int(column)
    if isinstance(column, int):
        if not 1 <= column <= len(names):
            raise Trouble(
                "column-missing",
                f"there is no column {column}: the header has {len(names)}",
                line=line,
                text=text,
                do=f"declare a column from 1 to {len(names)}",
            )
        return column - 1
    if column is None:
        return _only_time_column(names, line=line, text=text)
    place = find(names, column, what="column", line=line, text=text)
    if says_rate(names[place]):
        raise Trouble(
            "rate-column",
            f"column {shown(names[place])} holds rates by its name; frames are counted from times",
            line=line,
            text=text,
            do="declare a column of frame times; if this is one, declare it by its number "
            f"({place + 1})",
        )
    return place


def _only_time_column(names: list[str], *, line: int | None, text: str | None) -> int:
    found = [
        place
        for place, name in enumerate(names)
        if unit_said(name) and " ".join(words(name)[:-1]) in _TIME_NAMES
    ]
    if len(found) == 1:
        return found[0]
    if len(found) > 1 and len({names[place].strip() for place in found}) == 1:
        return find(names, names[found[0]], what="column", line=line, text=text)
    clocks = [name for name in names if unit_said(name)]
    hint = (
        f" (and values clock, if {shown(clocks[0])} holds instants)" if clocks and not found else ""
    )
    raise Trouble(
        "column-unclear",
        f"which column holds the frame times cannot be told: the columns are {listed(names)}",
        line=line,
        text=text,
        do=f"declare column and unit{hint}",
    )


def unit_of(name: str | None, declared: Declared) -> str | None:
    """Return the unit of the frame times: as declared, else as the column's name ends.

    None: neither says it. *name* is None where the column was declared by its number.

    Raises:
        Trouble: the unit is not one of time, or the name says another.
    """
    said = unit_said(name) if name is not None else None
    if declared.unit is None:
        return said
    unit = SPELLINGS.get(declared.unit.strip().lower())
    if unit not in UNITS:
        raise Trouble(
            "unit-unknown",
            f"{shown(declared.unit)} is not a unit that frame times have",
            do="declare unit s, ms, us or ns",
        )
    if said is not None and said != unit:
        raise conflict(unit, said, f"column {shown(name or '')} says {said} in its name")
    return unit


def conflict(declared: str, said: str, how: str) -> Trouble:
    """Return the trouble of a file that says another unit than was declared."""
    return Trouble(
        "unit-conflict",
        f"the unit was declared as {declared}, and {how}",
        do=f"declare unit {said}; if the file is wrong, declare the column by its number",
    )
