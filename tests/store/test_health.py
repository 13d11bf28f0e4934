"""Whether a store is whole: the file, the cache, the folder, the archive, what can be saved."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from harness.errors import StoreError
from harness.run import records as r
from harness.store.derived import keep_derived
from harness.store.footers import archive_files, footer_problems
from harness.store.salvage import what_is_left
from harness.store.sqlite import Store, open_store
from harness.store.unpacked import unpacked
from harness.store.verify import (
    problems,
    problems_of_file,
    problems_of_folder,
    problems_of_standing,
)
from tests.store.examples import AT, BEGINNING, BOOT, CELL, frame_log, keep_pass
from tests.store.test_verify import RUN, tamper


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "store"
    with open_store(folder, write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append(BEGINNING, at=AT, boot=BOOT)
        for attempt in (1, 2):
            keep_pass(journal, attempt, (frame_log(tmp_path),))
    return folder


def bundles(store: Store) -> list[r.BundleRef | None]:
    """Return what the records name."""
    records = (entry.record for entry in store.entries(RUN))
    return [record.bundle for record in records if isinstance(record, r.PassEnded)]


def codes(folder: Path) -> list[str]:
    with open_store(folder, write=False) as store:
        return [
            problem.code
            for found in (
                problems_of_file(store),
                problems_of_folder(store, [RUN]),
                problems_of_standing(store, RUN),
            )
            for problem in found
        ]


def test_a_whole_store_has_nothing_against_it(folder: Path) -> None:
    assert codes(folder) == []


def test_a_cache_that_is_wrong_is_named_and_made_again_after_it_is_dropped(folder: Path) -> None:
    with open_store(folder, write=True) as store:
        store._file._db.execute("UPDATE cell_standing SET kept = kept + 1")
        assert [p.code for p in problems_of_standing(store, RUN)] == ["standing-wrong"]
        store.health().forget_standing(RUN)
        assert [*problems_of_standing(store, RUN)] == []
        store.journal(RUN)  # as the next runner does
        assert [each.kept for each in store.cells(RUN)] == [2]


def test_bundles_of_a_run_that_is_not_there_are_named(folder: Path) -> None:
    (folder / "bundles" / "other-1").mkdir()
    assert codes(folder) == []  # an empty folder is nothing
    (folder / "bundles" / "other-1" / "a.tar.zst").write_bytes(b"x")
    assert codes(folder) == ["bundles-of-no-run"]


def test_what_lies_among_the_bundles_and_is_not_the_stores_is_named(folder: Path) -> None:
    (folder / "bundles" / "readme.md").write_text("notes", encoding="ascii")
    (folder / "bundles" / RUN / "thumbs.db").write_bytes(b"x")
    (folder / "bundles" / RUN / "pictures").mkdir()
    with open_store(folder, write=False) as store:
        found = [*problems_of_folder(store, (RUN,))]
    assert [(each.code, each.severity) for each in found] == [("foreign-file", "warning")] * 3
    assert [each.where[0] for each in found] == [
        "bundles/readme.md", f"bundles/{RUN}/pictures", f"bundles/{RUN}/thumbs.db",
    ]  # fmt: skip


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize("emptied", [True, False])
def test_a_store_whose_records_are_gone_is_not_begun_anew_over_its_bundles(
    folder: Path, write: bool, emptied: bool
) -> None:
    for path in folder.glob("records.sqlite*"):
        path.unlink()
    if emptied:
        (folder / "records.sqlite").touch()
    with pytest.raises(StoreError) as raised, open_store(folder, write=write):
        pass
    [problem] = raised.value.problems
    assert problem.code == "records-missing"
    assert "put records.sqlite back from a copy" in problem.do
    assert what_is_left(folder)[0] == "2 of 2 bundles are whole"


def test_a_record_that_is_no_json_any_more_is_named_and_its_bundle_left_alone(
    folder: Path,
) -> None:
    cut = "UPDATE entries SET body = substr(body, 1, 40) WHERE kind = 'pass-ended'"
    tamper(folder, cut)
    with open_store(folder, write=False) as store:
        found = [*problems(store, RUN)]
    codes_found = [each.code for each in found]
    assert codes_found.count("bundle-orphan") == 2
    assert set(codes_found) == {"record-not-as-kept", "bundle-orphan"}
    assert all("leave it there" in x.do for x in found if x.code == "bundle-orphan")


def test_a_bundle_that_was_never_finished_is_named_and_can_be_removed(folder: Path) -> None:
    part = folder / "bundles" / RUN / ".x.part"
    part.write_bytes(b"half")
    assert codes(folder) == ["bundle-unfinished"]
    with open_store(folder, write=True) as store:
        store.health().remove_unfinished(RUN)
    assert not part.exists()


def test_the_next_runner_takes_up_the_bundle_that_a_dead_one_could_not_name(
    folder: Path, tmp_path: Path
) -> None:
    with open_store(folder, write=True) as store:
        left = store.journal(RUN).keep(f"{CELL}-003", (frame_log(tmp_path),))
        assert store.orphans(RUN) == (left.path,)
        again = store.journal(RUN).keep(f"{CELL}-003", (frame_log(tmp_path),))
        assert again == left
        store.check_bundle(again)


def test_a_bundle_that_a_record_names_is_never_taken_for_an_orphan(
    folder: Path, tmp_path: Path
) -> None:
    with open_store(folder, write=True) as store:
        named = bundles(store)
        again = store.journal(RUN).keep(f"{CELL}-001", (frame_log(tmp_path),))
        assert again.path not in {ref.path for ref in named if ref is not None}


def test_what_is_left_of_a_damaged_database_counts_bundles_and_records(folder: Path) -> None:
    with open_store(folder, write=False) as store:
        entries = len(store.entries(RUN))
    assert what_is_left(folder) == (
        "2 of 2 bundles are whole",
        f"run {RUN}: {entries} records from the first on are as they were kept",
    )
    bundle = next((folder / "bundles" / RUN).glob("*.tar.zst"))
    bundle.write_bytes(bundle.read_bytes()[:-1])
    tamper(folder, "UPDATE entries SET body = '{}' WHERE seq = 4")
    left = what_is_left(folder)
    assert left[:2] == ("1 of 2 bundles are whole", f"not whole: {bundle.relative_to(folder)}")
    assert "3 records from the first on" in left[2]
    assert "record 4 is not as it was kept" in left[2]


def test_a_file_that_is_no_database_still_tells_of_its_bundles(folder: Path) -> None:
    for name in ("records.sqlite-wal", "records.sqlite-shm"):
        (folder / name).unlink(missing_ok=True)
    (folder / "records.sqlite").write_bytes(b"hello, world" * 100)
    whole, records = what_is_left(folder)
    assert whole == "2 of 2 bundles are whole"
    assert "no record can be read" in records


def test_a_parquet_file_is_whole_where_its_footer_is(folder: Path) -> None:
    """Apache Parquet format: PAR1, …, footer, its length in 4 bytes little-endian, PAR1."""
    path = folder / "archive" / "rig=a" / "x.parquet"
    path.parent.mkdir(parents=True)
    pq.write_table(pa.table({"ticks": [1, 2, 3]}), path)
    assert archive_files(folder) == (path,)
    assert [*footer_problems((path,))] == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data[:-1],
        lambda data: data[:6],
        lambda data: b"",
        lambda data: b"XXXX" + data[4:],
        lambda data: data[:-8] + b"\xff\xff\xff\x7f" + data[-4:],
    ],
)
def test_a_parquet_file_that_was_cut_or_changed_at_its_ends_is_named(
    tmp_path: Path, spoil: object
) -> None:
    assert callable(spoil)
    path = tmp_path / "x.parquet"
    pq.write_table(pa.table({"ticks": [1, 2, 3]}), path)
    path.write_bytes(spoil(path.read_bytes()))
    assert [problem.code for problem in footer_problems((path,))] == ["archive-damaged"]


def test_what_was_worked_out_again_is_kept_once_under_the_hash_of_its_content(
    tmp_path: Path,
) -> None:
    one = keep_derived(tmp_path, RUN, {"low": "percentile"})
    assert keep_derived(tmp_path, RUN, {"low": "percentile"}) == one
    assert keep_derived(tmp_path, RUN, {"low": "slowest-time"}) != one
    assert len([*(tmp_path / "recomputed").iterdir()]) == 2


def test_a_bundle_is_unpacked_byte_for_byte(folder: Path, tmp_path: Path) -> None:
    with open_store(folder, write=False) as store:
        ref = next(ref for ref in bundles(store) if ref is not None)
        with unpacked(store, ref) as out:
            member = frame_log(tmp_path)
            assert (out / member.name).read_bytes() == member.path.read_bytes()
        assert not out.exists()
