"""Opening the SQLite file of a store: what is checked first, and how it is written to.

Touches disk. One connection: write-ahead log, ``synchronous = FULL`` (a commit is one fsync
and outlives a power cut), foreign keys, ``BEGIN IMMEDIATE`` for every write, and no
checkpoint but those the runner asks for between passes. A file that is not such a store is
refused and left as it is.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from harness.errors import Problem, StoreError
from harness.store.filesystems import NETWORK, file_system_type
from harness.store.queries import migrations, queries
from harness.store.schema import APPLICATION_ID, migrate, number, up_to_date_copy
from harness.store.sqlite_refusals import BUSY_S, damaged, refused, translated

TYPE_CHECKING = False  # as typing has it: this module must be quick to import
if TYPE_CHECKING:
    from typing import Any

#: The name of the file in the store's folder.
FILE = "records.sqlite"

#: After so many, the write-ahead log is folded into the file between passes: it then holds a
#: few MB. Folding takes two fsyncs and the next commit one more, so it is not done each pass.
CHECKPOINT_COMMITS = 200

FileSystemType = Callable[[Path], str | None]


class SqliteFile:
    """A connection to the records of a store."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._db = connection
        self._commits = 0  # since the last checkpoint
        self._queries = queries("sqlite")

    def close(self) -> None:
        """Close the connection; the last one folds the write-ahead log into the file."""
        self._db.close()

    def ask(
        self, query: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> sqlite3.Cursor:
        """Carry out the query of that name."""
        return self._db.execute(self._queries[query], parameters)

    def rows(self, query: str, parameters: Sequence[object] = ()) -> list[Any]:
        """Return all rows that answer the query of that name."""
        with translated(self.path):
            return self.ask(query, parameters).fetchall()

    def stream(self, query: str, parameters: Sequence[object] = ()) -> Iterator[Any]:
        """Return the same rows one by one, so that a long run takes no memory."""
        with translated(self.path):
            yield from self.ask(query, parameters)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Keep all that is written within, or nothing; durable when the outermost ends."""
        if self._db.in_transaction:
            yield
            return
        with translated(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
                self._commits += 1
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[None]:
        """See one state of the store throughout, whatever is written meanwhile."""
        with translated(self.path):
            self._db.execute("BEGIN")
            try:
                yield
            finally:
                self._db.execute("COMMIT")

    def checkpoint(self) -> None:
        """Fold the write-ahead log into the file, if enough was kept since the last time.

        It waits for nobody: what a reader still needs stays for the next time. The log keeps
        its length and is written over from its start, which makes the commits after it
        cheaper than those that make it grow.
        """
        if self._commits < CHECKPOINT_COMMITS:
            return
        with translated(self.path):
            self._db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
        self._commits = 0

    def faults(self) -> tuple[str, ...]:
        """Return what SQLite finds wrong with the file: pages, order, indexes, references."""
        with translated(self.path):
            said = [str(row[0]) for row in self._db.execute("PRAGMA integrity_check")]
            loose = self._db.execute("PRAGMA foreign_key_check").fetchall()
        named = [f"a row of {table} belongs to no run" for table in {row[0] for row in loose}]
        return (*(text for text in said if text != "ok"), *sorted(named))

    def copy_to(self, target: Path) -> None:
        """Copy the records to the new file *target*, also what is still in the log.

        Raises:
            StoreError: *target* exists, or cannot be written.
        """
        if target.exists():
            raise StoreError(
                Problem(
                    code="target-exists",
                    what="the records would be copied over a file that exists",
                    where=(str(target),),
                    do="name a file that does not exist",
                )
            )
        with translated(target):
            copy = sqlite3.connect(target)
            try:
                self._db.backup(copy)
            except BaseException:
                copy.close()
                target.unlink(missing_ok=True)  # half a copy is none
                raise
            copy.close()


@contextmanager
def open_file(
    folder: Path,
    *,
    write: bool,
    check: bool = True,
    kind_of_file_system: FileSystemType = file_system_type,
) -> Iterator[SqliteFile]:
    """Open the records in the store's folder *folder*.

    Args:
        folder: The store's folder; made where it is to be written to and is not there.
        write: False: nothing is written, and there must be a store.
        check: Whether SQLite looks through the file before it is written to. Where it does not,
            there must be a store, too: what is put into one belongs to a run that it has.
        kind_of_file_system: Answers for a path; a fake in tests.

    Raises:
        StoreError: There is no store, it is not one, it is damaged, it was made by a newer
            harness, or it lies on a network.
    """
    kind = kind_of_file_system(folder)
    if kind in NETWORK:
        raise refused(
            "store-on-network",
            f"a store cannot lie on a file system of kind {kind}: SQLite's log needs a disk "
            "of this machine",
            folder,
            "name a folder on a local disk with --store",
        )
    path = folder / FILE
    with translated(path, unwritable=(OSError,)):
        _refuse_lost(path)
    if write and check:
        from harness.store.files import DiskFiles

        with translated(path, unwritable=(OSError,)):
            DiskFiles().make_folder(folder)
    elif not path.exists():
        raise refused(
            "no-store", "there is no store here", path, "name another folder with --store"
        )
    with translated(path):
        db = _connect(path, write=write)
        try:
            if _identify(db, path, write=write) and not write:
                db = _as_if_up_to_date(db, path)
            if write:
                _prepare(db, path, check=check)
            yield SqliteFile(path, db)
        finally:
            db.close()


def _refuse_lost(path: Path) -> None:
    """Refuse a folder whose records are gone while its bundles are there: no store is made anew."""
    if path.exists() and path.stat().st_size > 0:
        return
    if any((path.parent / "bundles").glob("*/*.tar.zst")):
        raise refused(
            "records-missing",
            "the bundles of a store are here, and its records are not",
            path,
            "put records.sqlite back from a copy of the store, or see what can be saved with "
            "`harness verify`; for a new store name another folder with --store",
        )


def _connect(path: Path, *, write: bool) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode={'rwc' if write else 'ro'}"
    db = sqlite3.connect(address, uri=True, isolation_level=None, timeout=BUSY_S)
    db.execute("PRAGMA trusted_schema = OFF")
    db.execute("PRAGMA foreign_keys = ON" if write else "PRAGMA query_only = ON")
    return db


def _identify(db: sqlite3.Connection, path: Path, *, write: bool) -> bool:
    """Return whether the store is an older one; refuse what is not ours, or is too new."""
    db.execute("BEGIN")  # of one state: another process may just be making the store
    mark, version = number(db, "application_id"), number(db, "user_version")
    tables = db.execute("SELECT 1 FROM sqlite_master").fetchone()
    db.execute("COMMIT")
    known = len(migrations("sqlite"))
    if mark != APPLICATION_ID:
        if mark == version == 0 and tables is None:
            if write:
                return True
            raise refused(
                "no-store",
                "there is no store here yet: nothing is in its file",
                path,
                "wait until the run that makes it has begun, or name another folder with --store",
            )
        raise refused(
            "store-foreign",
            "this file belongs to another program",
            path,
            "name another folder with --store; the file was not touched",
        )
    if version > known:
        raise refused(
            "store-newer",
            f"this store has schema {version}, and this harness knows schemas up to {known}",
            path,
            "use the harness that made it, or a newer one; the store was not touched",
        )
    return version < known


def _as_if_up_to_date(db: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    """Return the records of an older store as if they were up to date; *db* is closed then."""
    copy = up_to_date_copy(db)
    if copy is None:
        raise refused(
            "store-older",
            "this store was made by an older harness, and is too large to be read beside it",
            path,
            "give any command that writes to it (`harness verify --mend`, `harness run`): it "
            "brings the store up to date and changes no record",
        )
    db.close()
    return copy


def _prepare(db: sqlite3.Connection, path: Path, *, check: bool) -> None:
    """Make a connection ready to write: its settings, its schema, its health."""
    mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise refused(
            "store-without-log",
            f"SQLite cannot keep a write-ahead log here (it offers {mode!r})",
            path,
            "name a folder on a local disk with --store",
        )
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA wal_autocheckpoint = 0")
    if check:
        found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
        if found != "ok":
            raise damaged(path, str(found))
    migrate(db)
