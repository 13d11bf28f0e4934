"""What SQLite refuses, as an error that says what to do.

Touches nothing itself. SQLite's own names for its errors are in sqlite.org/rescode.html.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from harness.errors import Problem, StoreError

#: How long a connection waits for another that writes.
BUSY_S = 10.0


@contextmanager
def translated(path: Path, unwritable: tuple[type[Exception], ...] = ()) -> Iterator[None]:
    """Raise what SQLite refuses as a StoreError that says what to do."""
    try:
        yield
    except unwritable as error:
        raise _unwritable(path, str(error)) from error
    except sqlite3.DatabaseError as error:
        name = getattr(error, "sqlite_errorname", "")
        raise _translation(path, name, str(error)) from error


def _translation(path: Path, name: str, said: str) -> Exception:
    if name == "SQLITE_NOTADB":
        return refused(
            "store-not-a-database",
            "this file is not a database",
            path,
            "move it away, or name another folder with --store; the file was not touched",
        )
    if name.startswith("SQLITE_CORRUPT"):
        return damaged(path, said)
    if name == "SQLITE_FULL":
        return refused(
            "store-full",
            "the disk is full, so nothing more can be kept",
            path,
            "free space there, then give the same command again; everything kept is safe",
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return refused(
            "store-busy",
            f"another program has been writing to the store for more than {BUSY_S:.0f} s",
            path,
            "look which program has the file open, end it, and give the same command again",
        )
    if name.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH")):
        return _unwritable(path, said)
    if name == "SQLITE_CONSTRAINT_TRIGGER":
        return refused(
            "store-append-only",
            f"the store refused what was to be kept: {said}",
            path,
            "see that only one runner writes to this run, then give the same command again",
        )
    return refused(
        "store-failed",
        f"SQLite failed: {said} ({name or 'no code'})",
        path,
        "look at the disk, then give the same command again; everything kept is safe",
    )


def _unwritable(path: Path, said: str) -> StoreError:
    return refused(
        "store-not-accessible",
        f"the store cannot be opened or written to: {said}",
        path,
        "see who owns the folder and the file, or name another folder with --store",
    )


def damaged(path: Path, said: str) -> StoreError:
    """Return the error for a file that SQLite finds damaged."""
    return refused(
        "store-damaged",
        f"the store is damaged: {said}",
        path,
        "copy the whole folder to a safe place before anything else, then see what can be saved "
        "with `harness verify`; the file was not touched",
    )


def refused(code: str, what: str, path: Path, do: str) -> StoreError:
    """Return the error for a store that cannot be used as it is."""
    return StoreError(Problem(code=code, what=what, where=(str(path),), do=do))
