"""The store on a rig or a desk: a folder with a SQLite file and the bundles.

Touches disk. ``records.sqlite`` holds the runs, their records and the requests put to them;
``bundles/`` the files of every attempt. Only the runner of a run appends to its journal;
anybody may read, and put requests, meanwhile. What ``harness status`` needs is read without
importing a single kind of record.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from pathlib import Path

from harness.errors import AskedError, Problem
from harness.store import sqlite_standing
from harness.store.filesystems import file_system_type
from harness.store.sqlite_file import FileSystemType, SqliteFile, open_file
from harness.store.standing import CellStanding, RunLine

TYPE_CHECKING = False  # as typing has it: this module must be quick to import
if TYPE_CHECKING:
    from typing import BinaryIO

    from harness.run.ports import Entry
    from harness.run.records import BundleRef, Record, Request, RequestKind
    from harness.store.bundles import Bundles
    from harness.store.comparisons import Comparisons
    from harness.store.files import Files
    from harness.store.health import Health
    from harness.store.history import History
    from harness.store.rows import Row
    from harness.store.sqlite_journal import SqliteJournal

_RUN = r"[A-Za-z0-9][A-Za-z0-9_-]{0,99}"  # compiled where it is first used


@contextmanager
def open_store(
    folder: Path,
    *,
    write: bool,
    check: bool = True,
    files: Files | None = None,
    kind_of_file_system: FileSystemType = file_system_type,
) -> Iterator[Store]:
    """Open the store in *folder*, and close it at the end.

    Args:
        folder: Where it lies; made where it is to be written to and is not there.
        write: False: nothing is written, and there must be a store.
        check: Whether SQLite looks through the file before it is written to. The time this
            takes grows with the file; a command that only puts a request does without, and
            makes no store where there is none.
        files: The disk for the bundles; a fake in tests.
        kind_of_file_system: Answers for a path; a fake in tests.

    Raises:
        StoreError: There is no store, or it cannot be used. Nothing was changed.
    """
    with open_file(
        folder, write=write, check=check, kind_of_file_system=kind_of_file_system
    ) as file:
        yield Store(folder, file, files=files)


class Store:
    """Every run of a rig, with all that was kept of it. Made by ``open_store``."""

    def __init__(self, folder: Path, file: SqliteFile, *, files: Files | None) -> None:
        self.folder = folder
        self._file, self._disk = file, files

    @property
    def _files(self) -> Files:
        """Return the disk for the bundles, which a command that only asks never needs."""
        if self._disk is None:
            from harness.store.files import DiskFiles

            self._disk = DiskFiles()
        return self._disk

    def reading(self) -> AbstractContextManager[None]:
        """See one state of the store throughout, whatever is written meanwhile."""
        return self._file.reading()

    # ------------------------------------------------------------ runs

    def create_run(
        self,
        run: str,
        *,
        plan_name: str,
        plan_hash: str,
        rig: str,
        cells: int,
        at: datetime,
        first: Sequence[Record] = (),
        boot: str = "",
    ) -> SqliteJournal:
        """Register a run with its first records, all or nothing, and return its journal.

        Args:
            run: Its name: letters, digits, ``-`` and ``_``.
            plan_name: The plan's name.
            plan_hash: The plan's hash, the same for the same plan.
            rig: The rig it is carried out on.
            cells: How many cells the plan has.
            at: When, aware.
            first: What the run begins with; a run that a person started begins with its
                ``RunStarted``, so that no crash can leave a run without its plan.
            boot: The start of the machine, kept with the first records.

        Raises:
            StoreError: There is such a run, or it could not be kept.
            ValueError: Not a name for a run, or no zone.
        """
        from harness.store.rows import at_text

        if not re.fullmatch(_RUN, run):
            raise ValueError(f"not a name for a run: {run!r}")
        values = {
            "run": run,
            "plan_name": plan_name,
            "plan_hash": plan_hash,
            "rig": rig,
            "cells": cells,
            "created_at": at_text(at),
        }
        with self._file.writing():
            self._file.ask("create_run", values)
            journal = self.journal(run)
            journal.append(first, at=at, boot=boot)
        return journal

    def runs(self, *, limit: int = -1) -> tuple[RunLine, ...]:
        """Return the latest runs, newest first; all of them without a limit."""
        return sqlite_standing.lines(self._file, "runs", limit)

    def run(self, run: str) -> RunLine:
        """Return one run.

        Raises:
            AskedError: There is no such run.
        """
        for line in sqlite_standing.lines(self._file, "run", run):
            return line
        latest = ", ".join(line.run for line in self.runs(limit=3))
        raise AskedError(
            Problem(
                code="no-such-run",
                what=f"the store has no run {run}",
                where=(str(self._file.path),),
                do=f"name one of its runs (the latest: {latest or 'none yet'})",
            )
        )

    def runs_of_plan(self, plan_hash: str) -> tuple[str, ...]:
        """Return the runs of a plan, newest first."""
        return tuple(run for (run,) in self._file.rows("runs_of_plan", (plan_hash,)))

    def cells(self, run: str) -> tuple[CellStanding, ...]:
        """Return where every cell of *run* stands that a record speaks of, by key."""
        return sqlite_standing.cells(self._file, run)

    # ------------------------------------------------------------ records

    def journal(self, run: str) -> SqliteJournal:
        """Return the journal of *run*, to go on with it.

        Raises:
            AskedError: There is no such run.
        """
        from harness.store.sqlite_journal import SqliteJournal

        self.run(run)
        bundles = self._bundles(run)
        bundles.make_folder()
        return SqliteJournal(self._file, run=run, bundles=bundles)

    def entries(self, run: str, *, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries of *run* after number *after*, in order."""
        from harness.store.sqlite_entries import read

        return tuple(read(self._file, "entries", (run, after)))

    def story(self, run: str, cell: str, *, attempt: int | None = None) -> tuple[Entry, ...]:
        """Return the entries about a cell, or a pass with what took its place, in order."""
        from harness.store.sqlite_entries import read_story

        return read_story(self._file, run, cell, attempt)

    def reopened(self, run: str) -> tuple[str, ...]:
        """Return the bodies of the records by which cells of *run* were reopened, in order."""
        return tuple(body for _, body in self._file.rows("reopened", (run,)))

    def rows(self, run: str, *, after: int = 0) -> Iterator[Row]:
        """Return the rows of *run* after number *after*, in order, with their hashes."""
        from harness.store.rows import Row

        names = Row.__slots__
        for row in self._file.stream("rows", (run, after)):
            yield Row(**dict(zip(names, row, strict=True)))

    # ------------------------------------------------------------ requests

    def put_request(
        self,
        run: str,
        kind: RequestKind,
        *,
        by: str,
        at: datetime,
        note: str = "",
        step: int | None = None,
        cells: tuple[str, ...] = (),
        attending: bool = False,
    ) -> int:
        """Put a request to the runner of *run*, durably; return its number.

        Raises:
            AskedError: There is no such run.
            StoreError: It could not be kept.
        """
        from harness.store.sqlite_entries import put_request

        self.run(run)
        return put_request(
            self._file, run, kind, by=by, at=at, note=note, step=step, cells=cells,
            attending=attending,
        )  # fmt: skip

    def requests(self, run: str, *, after: int = 0) -> tuple[Request, ...]:
        """Return the requests put to *run* after the one numbered *after*, in order."""
        from harness.store.sqlite_entries import read_requests

        return read_requests(self._file, run, after)

    def history(self) -> History:
        """Return what the runs say of passes, by plain SQL."""
        from harness.store.history import History

        return History(self._file)

    def comparisons(self) -> Comparisons:
        """Return the comparisons that were made despite differences."""
        from harness.store.comparisons import Comparisons

        return Comparisons(self._file)

    # ------------------------------------------------------------ bundles

    def open_member(self, ref: BundleRef, name: str) -> AbstractContextManager[BinaryIO]:
        """Open a file of an attempt for reading; at its end it is held against its hash."""
        from harness.store.members import open_member

        return open_member(self.folder, ref, name, files=self._files)

    def check_bundle(self, ref: BundleRef, *, read: bool = True) -> None:
        """Hold a bundle and its members against the hashes kept; without *read*: is it there?

        Raises:
            StoreError: It is missing, or is not what was kept.
        """
        from harness.store.members import check_bundle

        check_bundle(self.folder, ref, files=self._files, read=read)

    def orphans(self, run: str) -> tuple[str, ...]:
        """Return the paths of bundles of *run* that no record names. They are no error."""
        from harness.store.sqlite_journal import named_bundles

        named = named_bundles(self._file, run)
        return tuple(path for path in self._bundles(run).found() if path not in named)

    def health(self) -> Health:
        """Return what is asked to see whether the store is whole."""
        from harness.store.health import Health

        return Health(self.folder, self._file, files=self._files)

    def copy_records(self, target: Path) -> None:
        """Copy the records to the new file *target*, while they are being written too.

        Copying the file by other means loses what is still in the write-ahead log.

        Raises:
            StoreError: *target* exists, or cannot be written.
        """
        self._file.copy_to(target)

    def _bundles(self, run: str) -> Bundles:
        from harness.store.bundles import Bundles

        return Bundles(self.folder, run=run, files=self._files)
