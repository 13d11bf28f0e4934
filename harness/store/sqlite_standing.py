"""Where runs and cells stand, kept beside the records in a SQLite store.

Touches disk. It is a cache: written in the transaction of the records it counts, believed
only where it has counted the last of them, and otherwise counted again from the first.
"""

from __future__ import annotations

from collections.abc import Iterable

from harness.store.sqlite_file import SqliteFile
from harness.store.standing import CellStanding, RunLine, RunStanding

TYPE_CHECKING = False  # as typing has it: reading the cache must be quick to start
if TYPE_CHECKING:
    from typing import Any

    from harness.run.ports import Entry

_LAST = len(RunLine.names()) - 1  # where, in a row about a run, its last record's number is


def lines(file: SqliteFile, query: str, parameter: object) -> tuple[RunLine, ...]:
    """Return the runs that answer *query*, each with where it stands."""
    return tuple(_line(file, row) for row in file.rows(query, (parameter,)))


def _line(file: SqliteFile, row: Any) -> RunLine:
    about, last, cached = row[:_LAST], row[_LAST], row[_LAST + 1 :]
    if last == cached[0]:
        standing = _run(cached)
    elif last == 0:
        standing = RunStanding()
    else:
        standing, _ = _counted(file, row[0])
    return RunLine.of_row((*about, standing))


def cells(file: SqliteFile, run: str) -> tuple[CellStanding, ...]:
    """Return where every cell of *run* stands that a record speaks of, by key."""
    if _is_behind(file, run):
        _, counted = _counted(file, run)
        return tuple(counted[key] for key in sorted(counted))
    return tuple(map(CellStanding.of_row, file.rows("cells", (run,))))


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


def differences(file: SqliteFile, run: str) -> tuple[str, ...]:
    """Return where the cache is not what the records of *run* count to; behind is not wrong."""
    if _is_behind(file, run):
        return ()
    standing, counted = _counted(file, run)
    (line,) = lines(file, "run", run)
    cached = {each.cell: each for each in cells(file, run)}
    wrong = [f"cell {key}" for key in sorted(counted.keys() | cached.keys())
             if counted.get(key) != cached.get(key)]  # fmt: skip
    return (*(["the run"] if line.standing != standing else []), *wrong)


def counted(file: SqliteFile, run: str) -> int:
    """Return the number of the last record of *run* that the cache has counted; 0: none."""
    return max((row[_LAST + 1] or 0 for row in file.rows("run", (run,))), default=0)


def tally(
    file: SqliteFile, run: str, standing: RunStanding, entries: Iterable[Entry]
) -> RunStanding:
    """Count new entries of *run*, within the transaction that keeps them."""
    touched: dict[str, CellStanding] = {}

    def before(key: str) -> CellStanding:
        if key in touched:
            return touched[key]
        row = file.ask("cell", (run, key)).fetchone()
        return CellStanding(cell=key) if row is None else CellStanding.of_row(row)

    from harness.store.tally import tallied

    for entry in entries:
        standing, cell = tallied(standing, entry, before)
        if cell is not None:
            touched[cell.cell] = cell
    _write(file, run, standing, touched.values())
    return standing


def _is_behind(file: SqliteFile, run: str) -> bool:
    return any(row[_LAST] != (row[_LAST + 1] or 0) for row in file.rows("run", (run,)))


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
    file.ask("keep_run_standing", standing.as_dict() | {"run": run})
    for cell in touched:
        file.ask("keep_cell_standing", cell.as_dict() | {"run": run})


def _run(row: Any) -> RunStanding:
    standing = RunStanding.of_row(row)
    if standing.warm_up is None:
        return standing
    return standing.but(warm_up=bool(standing.warm_up))
