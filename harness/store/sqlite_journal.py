"""One run's journal in a SQLite store.

Touches disk.
"""

from __future__ import annotations

import dataclasses
import json
import operator
from collections.abc import Sequence
from datetime import datetime

from harness.rig.tasks import Member
from harness.run.ports import Entry
from harness.run.records import BundleRef, Record, Request
from harness.store.bundles import Bundles
from harness.store.rows import NO_HASH, Row, to_row
from harness.store.sqlite_entries import read, read_requests
from harness.store.sqlite_file import SqliteFile
from harness.store.sqlite_standing import bring_up_to_date, tally


class SqliteJournal:
    """The records of one run; the journal port over a SQLite file.

    Made by ``Store.journal``. What it remembers of the run's end is only ever what was
    kept: after a failure the next append goes on from there, or is refused by the database.
    """

    def __init__(self, file: SqliteFile, *, run: str, bundles: Bundles) -> None:
        self._file, self._run, self._bundles = file, run, bundles
        self._seq: int = 0
        self._hash: str = NO_HASH
        self._kept: set[str] = set()  # by this runner, to be named by a record yet
        for self._seq, self._hash in file.rows("last_entry", (run,)):
            pass
        self._standing = bring_up_to_date(file, run)

    def entries(self) -> tuple[Entry, ...]:
        """Return every entry, in order."""
        return tuple(read(self._file, "entries", (self._run, 0)))

    def last_at(self) -> datetime | None:
        """Return the instant of the last entry, as it was counted; None: there is none."""
        return datetime.fromisoformat(self._standing.at) if self._standing.at else None

    def append(self, records: Sequence[Record], *, at: datetime, boot: str) -> None:
        """Keep the records, all or none, durably, before returning: one fsync.

        Raises:
            StoreError: They could not be kept.
        """
        if not records:
            return
        rows: list[Row] = []
        entries: list[Entry] = []
        previous = self._hash
        for seq, record in enumerate(records, self._seq + 1):
            entry = Entry(seq=seq, at=at, boot=boot, record=record)
            row = to_row(entry, run=self._run, previous=previous)
            previous = row.hash
            rows.append(row)
            entries.append(entry)
        with self._file.writing():
            for row in rows:
                self._file.ask("append_entry", _values(row))
            standing = tally(self._file, self._run, self._standing, entries)
        self._seq, self._hash, self._standing = rows[-1].seq, previous, standing

    def keep(self, name: str, members: Sequence[Member]) -> BundleRef:
        """Keep the files of one attempt, byte for byte, durably, before returning."""
        ref = self._bundles.keep(name, members, orphan=self._is_orphan)
        self._kept.add(ref.path)
        return ref

    def _is_orphan(self, path: str) -> bool:
        """Return whether a runner before this one kept a bundle and died before naming it."""
        return path not in self._kept and path not in named_bundles(self._file, self._run)

    def requests(self, after: int) -> tuple[Request, ...]:
        """Return the requests put after the one numbered *after*, in order."""
        return read_requests(self._file, self._run, after)

    def rest(self) -> None:
        """Fold the write-ahead log into the file, if it has grown."""
        self._file.checkpoint()


def named_bundles(file: SqliteFile, run: str) -> frozenset[str]:
    """Return the paths of all bundles that a record of *run* names, as far as it can be read."""
    paths = (_bundle_path(body) for _, body in file.rows("bodies_of_kind", (run, "pass-ended")))
    return frozenset(path for path in paths if path is not None)


def _bundle_path(body: str) -> str | None:
    try:
        path = json.loads(body)["bundle"]["path"]
    except (ValueError, KeyError, TypeError):  # it has none, or was damaged: see verify
        return None
    return path if isinstance(path, str) else None


_values = operator.attrgetter(*(field.name for field in dataclasses.fields(Row)))
