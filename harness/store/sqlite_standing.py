"""Where runs and cells stand, kept beside the records in a SQLite store.

Touches disk. It is a cache: written in the transaction of the records it counts, believed
only where it has counted the last of them, and otherwise counted again from the first.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from harness.store.sqlite_file import SqliteFile
from harness.store.standing import CellStanding, RunLine, RunStanding

if TYPE_CHECKING:  # reading the cache needs no record, and must be quick to start
    from harness.run.ports import Entry

_LINE = tuple(field.name for field in dataclasses.fields(RunLine) if field.name != "standing")
_RUN = tuple(field.name for field in dataclasses.fields(RunStanding))
_CELL = tuple(field.name for field in dataclasses.fields(CellStanding))


def lines(file: SqliteFile, query: str, parameter: object) -> tuple[RunLine, ...]:
    """Return the runs that answer *query*, each with where it stands."""
    return tuple(_line(file, row) for row in file.rows(query, (parameter,)))


def _line(file: SqliteFile, row: Any) -> RunLine:
    count = len(_LINE)
    about = dict(zip(_LINE, row[:count], strict=True))
    last, seq = row[count], row[count + 1]
    if last == seq:
        standing = _run(row[count + 1 :])
    elif last == 0:
        standing = RunStanding()
    else:
        standing, _ = _counted(file, about["run"])
    return RunLine(**about, standing=standing)


def cells(file: SqliteFile, run: str) -> tuple[CellStanding, ...]:
    """Return where every cell of *run* stands that a record speaks of, by key."""
    if _is_behind(file, run):
        _, counted = _counted(file, run)
        return tuple(counted[key] for key in sorted(counted))
    return tuple(_cell(row) for row in file.rows("cells", (run,)))


def bring_up_to_date(file: SqliteFile, run: str) -> RunStanding:
    """Return where *run* stands; write the cache anew where it is behind the records."""
    if _is_behind(file, run):
        with file.writing():
            file.ask("forget_standing", (run,))
            standing, counted = _counted(file, run)
            _write(file, run, standing, counted.values())
        return standing
    (line,) = lines(file, "run", run)
    return line.standing


def tally(
    file: SqliteFile, run: str, standing: RunStanding, entries: Iterable[Entry]
) -> RunStanding:
    """Count new entries of *run*, within the transaction that keeps them."""
    touched: dict[str, CellStanding] = {}

    def before(key: str) -> CellStanding:
        if key in touched:
            return touched[key]
        row = file.ask("cell", (run, key)).fetchone()
        return CellStanding(cell=key) if row is None else _cell(row)

    from harness.store.tally import tallied

    for entry in entries:
        standing, cell = tallied(standing, entry, before)
        if cell is not None:
            touched[cell.cell] = cell
    _write(file, run, standing, touched.values())
    return standing


def _is_behind(file: SqliteFile, run: str) -> bool:
    return any(row[len(_LINE)] != (row[len(_LINE) + 1] or 0) for row in file.rows("run", (run,)))


def _counted(file: SqliteFile, run: str) -> tuple[RunStanding, dict[str, CellStanding]]:
    """Return where *run* and its cells stand, counted from the first record."""
    from harness.store.sqlite_entries import read
    from harness.store.tally import tallied

    standing = RunStanding()
    counted: dict[str, CellStanding] = {}
    for entry in read(file, "entries", (run, 0)):
        standing, cell = tallied(
            standing, entry, lambda key: counted.get(key) or CellStanding(cell=key)
        )
        if cell is not None:
            counted[cell.cell] = cell
    return standing, counted


def _write(
    file: SqliteFile, run: str, standing: RunStanding, touched: Iterable[CellStanding]
) -> None:
    file.ask("keep_run_standing", dict(_fields(standing, _RUN), run=run))
    for cell in touched:
        file.ask("keep_cell_standing", dict(_fields(cell, _CELL), run=run))


def _fields(value: object, names: tuple[str, ...]) -> Iterator[tuple[str, Any]]:
    return ((name, getattr(value, name)) for name in names)


def _run(row: Any) -> RunStanding:
    values = dict(zip(_RUN, row, strict=True))
    if values["warm_up"] is not None:
        values["warm_up"] = bool(values["warm_up"])
    return RunStanding(**values)


def _cell(row: Any) -> CellStanding:
    return CellStanding(**dict(zip(_CELL, row, strict=True)))
