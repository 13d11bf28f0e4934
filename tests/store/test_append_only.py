"""The database itself refuses to change what was kept, whoever asks, however SQL lets them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.run.records import RequestKind
from harness.store.sqlite import open_store
from tests.store.examples import AT, BOOT, despite, judged, started

RUN = "two-slots-1"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_store(tmp_path, write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append((started(1), judged(1)), at=AT, boot=BOOT)
        store.put_request(RUN, RequestKind.STOP, by="Ines", at=AT)
        store.comparisons().keep(despite(run=RUN), at=AT)
    return tmp_path


@pytest.fixture(params=[0, 1], ids=["recursive-triggers-off", "recursive-triggers-on"])
def db(folder: Path, request: pytest.FixtureRequest) -> Iterator[sqlite3.Connection]:
    """Somebody else's connection, with none of our settings."""
    connection = sqlite3.connect(folder / "records.sqlite", isolation_level=None)
    connection.execute(f"PRAGMA recursive_triggers = {request.param}")
    yield connection
    connection.close()


def everything(db: sqlite3.Connection) -> list[object]:
    return [db.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES]


TABLES = ("runs", "entries", "requests", "comparisons")

_ENTRY = "(run, seq, at, boot, kind, version, body, previous, hash)"
_LAST = "(SELECT hash FROM entries ORDER BY seq DESC LIMIT 1)"
_FIRST = "''"
_H = "'" + "0" * 64 + "'"


def row(seq: str, *, run: str = RUN, version: str = "1", previous: str = _LAST) -> str:
    """An entry to be inserted; each part as SQL."""
    values = f"'{run}', {seq}, 't', 'b', 'k', {version}, '{{}}', {previous}, {_H}"
    return f"entries {_ENTRY} VALUES ({values})"


CHANGES = [
    "UPDATE runs SET rig = 'other'",
    "UPDATE entries SET body = '{}'",
    "UPDATE entries SET seq = seq + 10",
    "UPDATE OR IGNORE entries SET body = '{}'",
    "UPDATE OR REPLACE entries SET seq = 1 WHERE seq = 2",
    "UPDATE requests SET note = 'no'",
    "DELETE FROM runs",
    "DELETE FROM entries",
    "DELETE FROM entries WHERE seq = 2",
    "DELETE FROM requests",
    "INSERT OR REPLACE INTO runs SELECT * FROM runs",
    f"REPLACE INTO runs VALUES ('{RUN}', 2, 'p', 'h', 'r', 1, 't')",
    "INSERT INTO runs VALUES ('another', 1, 'p', 'h', 'r', 1, 't')",
    "INSERT OR REPLACE INTO entries SELECT * FROM entries",
    "REPLACE INTO entries SELECT * FROM entries WHERE seq = 2",
    "INSERT OR REPLACE INTO " + row("1", previous=_FIRST),
    "INSERT OR REPLACE INTO " + row("'2'"),
    "INSERT OR REPLACE INTO " + row("NULL"),
    f"INSERT INTO {row('2')} ON CONFLICT (run, seq) DO UPDATE SET body = excluded.body",
    "INSERT OR REPLACE INTO requests SELECT * FROM requests",
    "UPDATE comparisons SET body = '{}'",
    "DELETE FROM comparisons",
    "INSERT OR REPLACE INTO comparisons SELECT * FROM comparisons",
    f"REPLACE INTO comparisons VALUES (1, 't', '{{}}', '', {_H})",
    f"INSERT INTO comparisons VALUES (2, 't', '{{}}', '', {_H})",
    f"REPLACE INTO requests VALUES ('{RUN}', 1, 't', 'stop', 'x', '', NULL, '[]', 0)",
]


@pytest.mark.parametrize("statement", CHANGES)
def test_what_was_kept_is_never_changed(db: sqlite3.Connection, statement: str) -> None:
    before = everything(db)
    with pytest.raises(sqlite3.IntegrityError):
        db.execute(statement)
    assert everything(db) == before


@pytest.mark.parametrize("verb", ["INSERT OR IGNORE", "INSERT"])
def test_a_row_over_an_existing_key_is_refused_aloud(db: sqlite3.Connection, verb: str) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        db.execute(f"{verb} INTO entries SELECT * FROM entries WHERE seq = 2")


@pytest.mark.parametrize("seq", [0, 1, 2, 4, -1])
def test_a_record_that_is_not_the_next_is_refused(db: sqlite3.Connection, seq: int) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        db.execute(
            "INSERT INTO " + row("?"),
            (seq,),
        )


def test_a_record_that_does_not_follow_the_last_hash_is_refused(db: sqlite3.Connection) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        db.execute("INSERT INTO " + row("3", previous=_FIRST))


def test_the_next_record_is_taken(db: sqlite3.Connection) -> None:
    # So the refusals above are of what they say, not of everything.
    db.execute("INSERT INTO " + row("3"))
    assert len(everything(db)[1]) == 3  # type: ignore[arg-type]


@pytest.mark.parametrize("value", ["16,7", float("nan"), 2.5])
def test_what_is_no_whole_number_does_not_slip_into_a_number(
    db: sqlite3.Connection, value: object
) -> None:
    with pytest.raises(sqlite3.IntegrityError):
        db.execute(
            "INSERT INTO " + row("3", version="?"),
            (value,),
        )


def test_every_kept_table_refuses_all_three_ways(db: sqlite3.Connection) -> None:
    triggers = {
        (table, sql.split(" ON ")[0].split()[-1])
        for table, sql in db.execute(
            "SELECT tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
        )
        if "RAISE (ABORT" in sql
    }
    assert triggers == {(t, verb) for t in TABLES for verb in ("INSERT", "UPDATE", "DELETE")}


def test_no_kept_table_has_a_hidden_row_number(db: sqlite3.Connection) -> None:
    # Replacing over a hidden number would remove a row that no trigger looked for.
    for table in TABLES:
        with pytest.raises(sqlite3.OperationalError, match="rowid"):
            db.execute(f"SELECT rowid FROM {table}")


def test_no_column_but_the_key_is_unique(db: sqlite3.Connection) -> None:
    for table in TABLES:
        indexes = db.execute(f"PRAGMA index_list({table})").fetchall()
        assert [origin for _, _, unique, origin, _ in indexes if unique] == ["pk"]


def test_a_record_of_no_run_is_refused(folder: Path) -> None:
    with open_store(folder, write=True) as store:
        assert store._file._db.execute("PRAGMA foreign_keys").fetchone() == (1,)
        with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
            store._file._db.execute("INSERT INTO " + row("1", run="none", previous=_FIRST))
