"""What the page reads: the store and the rig's own state, each time anew, and nothing more.

Touches disk. The store is opened for one answer and closed again, so that the page holds nothing
of it between two visits. While a pass is in progress on this rig only what is counted already is
read; whatever takes work waits until the pass is over.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from harness.errors import AskedError, HarnessError, Problem, StoreError
from harness.plan.canonical import thaw
from harness.rig.hold import Hold
from harness.rig.holds import Holds
from harness.rig.locks import Owner, runner_at_work
from harness.rig.readings import shown
from harness.run.ports import Entry
from harness.run.records import PassEnded, PassStarted, RunStarted
from harness.run.state import Grid
from harness.store.filesystems import file_system_type
from harness.store.sqlite import Store, open_store
from harness.store.standing import CellStanding, RunLine
from harness.values import Value
from harness.views.interrupted import interrupted
from harness.views.numbers import number

#: Gives the object of a command's ``--json``: the command's name, its arguments.
Ask = Callable[[str, Sequence[str]], Mapping[str, Any]]

LATEST = 20  #: runs that a list shows
_LATE = 40  #: records in which the last pass is looked for
_GRIDS = 8  #: plans that are kept thawed
_ANSWERS = 12  #: answers of commands that are kept, as long as no record comes
IN_A_PASS = ("pass", "ended")

_Made = TypeVar("_Made")


class InProgress(Value):
    """The pass that is being carried out on this rig."""

    run: str
    cell: str
    attempt: int
    since: str
    plan_name: str


#: Whoever reads the page has no name: what a command would keep, it must not.
_WRITES_NOTHING = {"compare": ("--as-kept",), "precision": ("--as-kept",)}


class PassInProgress(HarnessError):
    """What was asked for takes work, and has to wait for the end of a pass."""


class Desk:
    """The page's view of one store and one rig.

    Args:
        store: The store's folder.
        rig: The folder of the rig's own state.
        node: The name of this machine, as runs have it.
        now: The instant.
        ask: Gives what a command would.
    """

    def __init__(
        self, *, store: Path, rig: Path, node: str, now: Callable[[], datetime], ask: Ask
    ) -> None:
        self.store, self.rig, self.node, self.now = store, rig, node, now
        self._ask = ask
        # The disk under the store is looked at once: a look at the page must cost next to nothing.
        self._kind_of_file_system = lru_cache(maxsize=4)(file_system_type)
        self._one_at_a_time = threading.Lock()  # of the work that takes long
        self._grids: OrderedDict[str, Grid] = OrderedDict()
        self._answered_at: tuple[tuple[str, int], ...] = ()
        self._answers: OrderedDict[object, Mapping[str, Any]] = OrderedDict()

    @contextmanager
    def opened(self) -> Iterator[Store]:
        """Open the store for one answer."""
        with open_store(
            self.store, write=False, kind_of_file_system=self._kind_of_file_system
        ) as store:
            yield store

    # ------------------------------------------------------------ what stands

    def lines(self, limit: int = LATEST) -> tuple[RunLine, ...]:
        """Return the latest runs, newest first; none where there is no store yet."""
        try:
            with self.opened() as store:
                return store.runs(limit=limit)
        except StoreError as error:
            if [each.code for each in error.problems] == ["no-store"]:
                return ()
            raise

    def run(self, run: str) -> tuple[RunLine, Grid, tuple[CellStanding, ...]]:
        """Return a run, its plan as a grid, and where every cell of it stands.

        Raises:
            AskedError: there is no such run.
        """
        with self.opened() as store:
            line = store.run(run)
            return line, self._grid(store, run), store.cells(run)

    def grid(self, run: str) -> Grid:
        """Return the grid of a run; AskedError where there is none."""
        with self.opened() as store:
            store.run(run)
            return self._grid(store, run)

    def grid_at_hand(self, run: str) -> Grid | None:
        """Return the grid of a run if it was read before: nothing is read for it now."""
        return self._grids.get(run)

    def story(self, run: str, cell: str) -> tuple[Grid, tuple[Entry, ...]]:
        """Return the grid of a run and the entries about one cell.

        Raises:
            AskedError: there is no such run, or no such cell in it.
        """
        with self.opened() as store:
            store.run(run)
            grid = self._grid(store, run)
            if cell not in grid.cells:
                raise AskedError(
                    Problem(
                        code="no-such-cell",
                        what=f"run {run} has no cell {cell}",
                        do="choose one in the run's grid",
                    )
                )
            return grid, store.story(run, cell)

    def last_readings(self, line: RunLine) -> dict[str, Any] | None:
        """Return what was read around the last pass of a run; None: nothing of late."""
        with self.opened() as store:
            grid = self._grid(store, line.run)
            late = store.entries(line.run, after=max(0, line.standing.seq - _LATE))
        for entry in reversed(late):
            record = entry.record
            if isinstance(record, PassStarted):
                told = [(each.name, shown(each)) for each in record.readings if each.measured]
                when = "start"
            elif isinstance(record, PassEnded):
                told = [
                    (each.name, f"{number(each.least)} to {number(each.most, each.unit)}")
                    for each in record.readings
                    if each.least is not None and each.most is not None
                ]
                when = "length"
            else:
                continue
            if told:
                label = grid.cells[record.cell].label if record.cell in grid.cells else ""
                return {"when": when, "at": entry.at, "label": label, "readings": told}
        return None

    def interrupted(self, lines: Sequence[RunLine]) -> dict[str, bool | None]:
        """Return of each run whether its runner is gone without leaving it; None: not known."""
        if not lines:
            return {}  # there may be no store yet
        owner = self.owner()
        with self.opened() as store:
            return {
                x.run: interrupted(x, owner, store=store, node=lambda: self.node) for x in lines
            }

    def owner(self) -> Owner | None:
        """Return who is the runner on this rig."""
        return runner_at_work(self.rig) if self.rig.exists() else None

    def holds(self) -> tuple[Hold, ...]:
        """Return what holds this rig."""
        return Holds(self.rig).standing()

    # ------------------------------------------------------------ quiet in a pass

    def in_progress(self, lines: Sequence[RunLine] | None = None) -> InProgress | None:
        """Return the pass in progress on this rig, by one question to the store.

        A run that was left in the middle of a pass counts only while a runner is at work.
        """
        for line in self.lines(limit=LATEST) if lines is None else lines:
            standing = line.standing
            if standing.phase in IN_A_PASS and line.rig == self.node and self.owner() is not None:
                return InProgress(
                    run=line.run,
                    cell=standing.cell or "",
                    attempt=standing.attempt or 0,
                    since=standing.since,
                    plan_name=line.plan_name,
                )
        return None

    @contextmanager
    def work(self) -> Iterator[None]:
        """Do what takes work: one thing at a time, and none while a pass is in progress.

        Raises:
            PassInProgress: one is, in this store or in another.
        """
        busy = self.in_progress() or self._elsewhere()
        if busy is not None:
            raise PassInProgress(
                Problem(
                    code="pass-in-progress",
                    what="a pass is being measured on this rig, and this would take work",
                    where=(f"run {busy.run}, since {busy.since}",),
                    do="ask again when it is over; the page does so by itself",
                )
            )
        with self._one_at_a_time:
            yield

    def _elsewhere(self) -> InProgress | None:
        """Return the pass in progress of a run that is kept in another store."""
        owner = self.owner()
        if owner is None or not owner.run or owner.store == str(self.store.absolute()):
            return None
        try:
            with open_store(Path(owner.store), write=False) as store:
                line = store.run(owner.run)
        except HarnessError:
            return None  # gone, or not ours to read: nothing is known of it
        if line.standing.phase not in IN_A_PASS:
            return None
        return InProgress(
            run=line.run, cell="", attempt=0, since=line.standing.since, plan_name=line.plan_name
        )

    def asked(self, command: str, arguments: Sequence[str]) -> Mapping[str, Any]:
        """Return what *command* gives as JSON, from memory where no record came since.

        Raises:
            HarnessError: what the command itself would say.
            PassInProgress: it has to wait.
        """
        with self.opened() as store:
            kept = len(store.comparisons().rows())
        state = (*((x.run, x.standing.seq) for x in self.lines(limit=-1)), ("", kept))
        if state != self._answered_at:
            self._answers.clear()  # what was worked out before the last record is of no use
            self._answered_at = state
        key = command, tuple(arguments)
        found = self._answers.get(key)
        if found is None:
            with self.work():
                only = _WRITES_NOTHING.get(command, ())
                found = self._ask(command, ["--store", str(self.store), *arguments, *only])
            _keep(self._answers, key, found, most=_ANSWERS)
        return found

    def _grid(self, store: Store, run: str) -> Grid:
        found = self._grids.get(run)
        if found is None:
            found = Grid.of(thaw(_first(store, run).plan))
            _keep(self._grids, run, found, most=_GRIDS)
        return found


def _first(store: Store, run: str) -> RunStarted:
    from harness.store.bodies import from_body

    for row in store.rows(run):
        record = from_body(row.body, kind=row.kind, version=row.version)
        assert isinstance(record, RunStarted)
        return record
    raise AskedError(
        Problem(
            code="no-record",
            what=f"nothing is kept of run {run} yet",
            do="look again when it has begun",
        )
    )


def _keep(kept: OrderedDict[Any, _Made], key: object, made: _Made, *, most: int) -> None:
    kept[key] = made
    while len(kept) > most:
        kept.popitem(last=False)
