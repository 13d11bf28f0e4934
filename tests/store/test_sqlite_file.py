from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from harness.errors import StoreError
from harness.run.records import RunPaused
from harness.store.queries import SQL, migrations
from harness.store.schema import APPLICATION_ID, statements
from harness.store.sqlite import open_store
from harness.store.sqlite_file import FILE
from tests.store.examples import AT, BOOT, started

RUN = "two-slots-1"
GOLDEN = Path(__file__).parents[1] / "golden" / "store"


def make(folder: Path, run: str = RUN) -> None:
    with open_store(folder, write=True) as store:
        store.create_run(run, plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)


def refusal(folder: Path, *, write: bool, **options: object) -> StoreError:
    with pytest.raises(StoreError) as caught, open_store(folder, write=write, **options):  # type: ignore[arg-type]
        pass
    return caught.value


def test_a_store_is_made_where_there_is_none(tmp_path: Path) -> None:
    make(tmp_path / "new" / "store")
    with open_store(tmp_path / "new" / "store", write=False) as store:
        assert [line.run for line in store.runs()] == [RUN]


def test_reading_makes_no_store(tmp_path: Path) -> None:
    error = refusal(tmp_path / "none", write=False)
    assert error.problems[0].code == "no-store"
    assert not (tmp_path / "none").exists()


def test_what_is_put_into_a_store_that_is_not_there_makes_none(tmp_path: Path) -> None:
    """A store that was named wrongly is no store in which all is as it was kept."""
    error = refusal(tmp_path / "none", write=True, check=False)
    assert error.problems[0].code == "no-store"
    assert not (tmp_path / "none").exists()


def test_the_migrations_end_in_exactly_the_schema(tmp_path: Path) -> None:
    def shape(script: str) -> set[tuple[object, ...]]:
        db = sqlite3.connect(":memory:")
        for statement in statements(script):
            db.execute(statement)
        found = db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
        db.close()
        return set(found)

    schema = (SQL / "sqlite" / "schema.sql").read_text(encoding="utf-8")
    assert shape("".join(migrations("sqlite"))) == shape(schema)
    make(tmp_path)
    db = sqlite3.connect(tmp_path / FILE)
    made = set(db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall())
    db.close()
    assert made == shape(schema)


@pytest.mark.parametrize("done", range(len(migrations("sqlite"))))
def test_an_older_store_is_brought_up_to_date_and_keeps_its_runs(tmp_path: Path, done: int) -> None:
    db = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    for step in migrations("sqlite")[:done]:
        for statement in statements(step):
            db.execute(statement)
    if done:
        db.execute("INSERT INTO runs VALUES ('early', 1, 'p', 'h', 'r', 2, 't')")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {done}")
    db.close()
    if done:
        before = (tmp_path / FILE).read_bytes()
        with open_store(tmp_path, write=False) as store:
            assert [line.run for line in store.runs()] == ["early"]
        assert (tmp_path / FILE).read_bytes() == before, "who reads changes nothing"
    make(tmp_path)
    with open_store(tmp_path, write=False) as store:
        assert [line.run for line in store.runs()] == [RUN, "early"][: 1 + bool(done)]


def test_an_older_store_too_large_to_be_copied_says_how_it_is_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(tmp_path)
    db = sqlite3.connect(tmp_path / FILE)
    db.execute(f"PRAGMA user_version = {len(migrations('sqlite')) - 1}")
    db.close()
    monkeypatch.setattr("harness.store.schema.MOST_BYTES", 4096)
    (problem,) = refusal(tmp_path, write=False).problems
    assert problem.code == "store-older"
    assert "harness verify --mend" in problem.do


def test_a_migration_that_fails_leaves_the_store_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(tmp_path)
    steps = (*migrations("sqlite"), "CREATE TABLE half (a TEXT) STRICT;\nSELECT no_such_thing;\n")
    monkeypatch.setattr("harness.store.schema.migrations", lambda dialect: steps)
    assert refusal(tmp_path, write=True).problems[0].code == "store-failed"
    monkeypatch.undo()
    with open_store(tmp_path, write=False) as store:
        assert [line.run for line in store.runs()] == [RUN]


def test_a_commit_outlives_a_power_cut_and_checkpoints_wait_for_the_runner(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        settings = {
            name: store._file._db.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "wal_autocheckpoint")
        }
        assert settings == {
            "journal_mode": "wal",
            "synchronous": 2,  # FULL; sqlite.org/pragma.html#pragma_synchronous
            "foreign_keys": 1,
            "wal_autocheckpoint": 0,
        }


@pytest.mark.parametrize("write", [True, False])
def test_a_file_that_is_no_database_is_refused_and_stays(tmp_path: Path, write: bool) -> None:
    (tmp_path / FILE).write_text("frame_ms\n16.7\n" * 200)
    error = refusal(tmp_path, write=write)
    assert error.problems[0].code == "store-not-a-database"
    assert (tmp_path / FILE).read_text() == "frame_ms\n16.7\n" * 200


@pytest.mark.parametrize("write", [True, False])
def test_another_programs_database_is_refused_and_stays(tmp_path: Path, write: bool) -> None:
    db = sqlite3.connect(tmp_path / FILE)
    db.execute("CREATE TABLE recipes (name TEXT)")
    db.close()
    before = (tmp_path / FILE).read_bytes()
    assert refusal(tmp_path, write=write).problems[0].code == "store-foreign"
    assert (tmp_path / FILE).read_bytes() == before


@pytest.mark.parametrize("write", [True, False])
def test_a_newer_store_is_refused_and_stays(tmp_path: Path, write: bool) -> None:
    make(tmp_path)
    db = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    db.execute("PRAGMA user_version = 99")
    db.close()
    before = (tmp_path / FILE).read_bytes()
    assert refusal(tmp_path, write=write).problems[0].code == "store-newer"
    assert (tmp_path / FILE).read_bytes() == before


def test_a_damaged_store_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        journal = store.create_run(RUN, plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        for _ in range(40):
            journal.append((RunPaused(reason="x" * 3000),), at=AT, boot=BOOT)
    content = bytearray((tmp_path / FILE).read_bytes())
    for page in range(8, len(content) // 4096):
        content[page * 4096 : page * 4096 + 16] = b"\xff" * 16
    (tmp_path / FILE).write_bytes(content)
    assert refusal(tmp_path, write=True).problems[0].code == "store-damaged"
    assert (tmp_path / FILE).read_bytes() == content


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "fuse.sshfs", "9p"])
@pytest.mark.parametrize("write", [True, False])
def test_a_network_file_system_is_refused(tmp_path: Path, kind: str, write: bool) -> None:
    error = refusal(tmp_path / "s", write=write, kind_of_file_system=lambda path: kind)
    assert error.problems[0].code == "store-on-network"
    assert kind in str(error)
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize("kind", ["ext4", "btrfs", "xfs", "tmpfs", "overlay", None])
def test_a_local_or_unknown_file_system_is_taken(tmp_path: Path, kind: str | None) -> None:
    with open_store(tmp_path, write=True, kind_of_file_system=lambda path: kind) as store:
        assert store.runs() == ()


def test_a_full_disk_keeps_all_that_was_kept(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        journal = store.create_run(RUN, plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        journal.append((started(1),), at=AT, boot=BOOT)
        pages = store._file._db.execute("PRAGMA page_count").fetchone()[0]
        store._file._db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(StoreError) as caught:
            journal.append((RunPaused(reason="x" * 100_000),), at=AT, boot=BOOT)
        assert caught.value.problems[0].code == "store-full"
        store._file._db.execute("PRAGMA max_page_count = 1000000")
        journal.append((RunPaused(reason="stop"),), at=AT, boot=BOOT)
        assert [e.record for e in journal.entries()] == [started(1), RunPaused(reason="stop")]


def test_reading_before_writing_beside_another_writer_is_no_lock_error(tmp_path: Path) -> None:
    # Reading and then writing in one deferred transaction fails at once when another process
    # has written in between, however long the timeout (SQLITE_BUSY_SNAPSHOT).
    make(tmp_path)
    with open_store(tmp_path, write=True) as one, open_store(tmp_path, write=True) as two:
        assert one.runs() == two.runs()
        two.create_run("b", plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        one.create_run("c", plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        assert [line.run for line in two.runs()] == ["c", "b", RUN]


def test_another_program_that_does_not_let_go_is_named(tmp_path: Path) -> None:
    make(tmp_path)
    with open_store(tmp_path, write=True) as one, open_store(tmp_path, write=True) as two:
        two._file._db.execute("PRAGMA busy_timeout = 0")
        one._file._db.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError) as caught:
            two.create_run("b", plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        one._file._db.execute("ROLLBACK")
        assert caught.value.problems[0].code == "store-busy"


def test_a_copy_holds_what_is_still_in_the_log(tmp_path: Path) -> None:
    with open_store(tmp_path / "s", write=True) as store:
        store.create_run(RUN, plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        (tmp_path / "copy").mkdir()
        store.copy_records(tmp_path / "copy" / FILE)
    with open_store(tmp_path / "copy", write=False) as copy:
        assert [line.run for line in copy.runs()] == [RUN]


def test_a_copy_never_goes_over_a_file(tmp_path: Path) -> None:
    make(tmp_path)
    (tmp_path / "notes.txt").write_text("mine")
    with (
        open_store(tmp_path, write=False) as store,
        pytest.raises(StoreError, match="target-exists"),
    ):
        store.copy_records(tmp_path / "notes.txt")
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_reading_changes_nothing(tmp_path: Path) -> None:
    make(tmp_path)
    before = (tmp_path / FILE).read_bytes()
    with open_store(tmp_path, write=False) as store:
        with pytest.raises(StoreError) as caught:
            store.create_run("b", plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        assert caught.value.problems[0].code == "store-not-accessible"
    assert (tmp_path / FILE).read_bytes() == before


def test_a_folder_that_cannot_be_made_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    error = refusal(tmp_path / "file" / "store", write=True)
    assert error.problems[0].code == "store-not-accessible"


def test_the_errors_of_opening_a_store_read_as_written_down(tmp_path: Path) -> None:
    shown = []
    for name, content in (("none", None), ("text", b"frame_ms\n" * 200)):
        folder = tmp_path / name
        if content is not None:
            folder.mkdir()
            (folder / FILE).write_bytes(content)
        shown.append(str(refusal(folder, write=False)))
    make(tmp_path / "newer")
    db = sqlite3.connect(tmp_path / "newer" / FILE, isolation_level=None)
    db.execute("PRAGMA user_version = 99")
    db.close()
    shown.append(str(refusal(tmp_path / "newer", write=False)))
    shown.append(
        str(refusal(tmp_path / "far", write=True, kind_of_file_system=lambda path: "nfs4"))
    )
    text = "\n\n".join(shown).replace(str(tmp_path), "/home/ines")
    assert text + "\n" == (GOLDEN / "refusals.txt").read_text(encoding="utf-8")


def test_a_store_that_is_just_being_made_is_not_there_yet(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / FILE).execute("PRAGMA journal_mode = WAL").close()
    assert refusal(tmp_path, write=False).problems[0].code == "no-store"
    make(tmp_path)


def test_who_reads_while_a_store_is_made_sees_none_or_a_whole_one(tmp_path: Path) -> None:
    steps = migrations("sqlite")
    db = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    for done, step in enumerate(steps, start=1):
        db.execute("BEGIN IMMEDIATE")
        for statement in statements(step):
            db.execute(statement)
        if done == 1:  # the first step is not kept yet
            assert refusal(tmp_path, write=False).problems[0].code == "no-store"
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {done}")
        db.execute("COMMIT")
        with open_store(tmp_path, write=False) as store:
            assert store.runs() == ()
    db.close()
