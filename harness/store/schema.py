"""The schema of a store's records: bringing an older one up to date.

Touches disk, where the connection does. Each step adds, and changes no record.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from harness.store.queries import migrations

#: Stands in the file's header: these records are ours ("BhSt" in ASCII).
APPLICATION_ID = 0x42685374

#: An older store of up to so many bytes is read as if it were up to date.
MOST_BYTES = 256 * 1024 * 1024


def up_to_date_copy(db: sqlite3.Connection) -> sqlite3.Connection | None:
    """Return a copy in memory of an older store, up to date; None: it is too large for that.

    Whoever only reads changes nothing, not even what an older harness left: the store may lie on
    a medium that cannot be written to, or belong to a rig that is at work with that harness.
    """
    if number(db, "page_count") * number(db, "page_size") > MOST_BYTES:
        return None
    copy = sqlite3.connect(":memory:", isolation_level=None)
    db.backup(copy)
    migrate(copy)
    copy.execute("PRAGMA query_only = ON")
    return copy


def migrate(db: sqlite3.Connection) -> None:
    """Bring the schema up to date, each step whole or not at all."""
    steps = migrations("sqlite")
    while number(db, "user_version") < len(steps):
        db.execute("BEGIN IMMEDIATE")
        try:
            done = number(db, "user_version")  # another process may have been first
            if done < len(steps):
                for statement in statements(steps[done]):
                    db.execute(statement)
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute(f"PRAGMA user_version = {done + 1}")
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


def statements(script: str) -> Iterator[str]:
    """Return the statements of an SQL script, one by one (a trigger's body is part of it)."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def number(db: sqlite3.Connection, pragma: str) -> int:
    """Return what SQLite says of one of its settings that is a number."""
    return int(db.execute(f"PRAGMA {pragma}").fetchone()[0])
