"""The morning after, with real processes: rerun, recompute, verify, copy, as a user gives them."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.run import records as r
from harness.store.sqlite import open_store
from tests.end_to_end.runs import Place
from tests.end_to_end.test_kill import MOMENTS

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A plan that was carried out once. Nothing here may change it."""
    place = Place(tmp_path_factory.mktemp("done"))
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    return place


@pytest.fixture
def place(done: Place, tmp_path: Path) -> Iterator[Place]:
    """The same in a folder of its own."""
    shutil.copytree(done.folder, tmp_path / "copy")
    with Place(tmp_path / "copy") as found:
        yield found


def rows(place: Place) -> list[tuple[int, str, str]]:
    """Return every record as it is kept: its number, its body, its hash."""
    with open_store(place.store, write=False) as store:
        return [(row.seq, row.body, row.hash) for row in store.rows(the_run(place))]


def bundles(place: Place) -> dict[str, str]:
    """Return the SHA-256 of every kept bundle, by its path."""
    found = place.store.rglob("*.tar.zst")
    return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in found}


def the_run(place: Place) -> str:
    [line] = place.json("status")["runs"]
    return str(line["run"])


def test_a_rerun_measures_one_cell_again_and_shows_what_it_superseded(place: Place) -> None:
    run, before, files = the_run(place), rows(place), bundles(place)
    key, other = (each["cell"] for each in place.json("trace")["cells"])
    status, out, err = place.harness(
        "rerun", run, "--cell", key[:6], "--because", "fan was unplugged", "--by", "Ana"
    )
    assert status == 0, out + err
    assert rows(place)[: len(before)] == before
    assert bundles(place).items() > files.items()
    after = place.entries()
    assert not [x for x in after[len(before) :] if getattr(x.record, "cell", key) == other]
    _, table, _ = place.harness("results")
    assert "attempts 1, 2, 3; measured again, asked by Ana: fan was unplugged" in table
    _, story, _ = place.harness("trace", f"{key}-002")
    assert "attempts 1, 2, 3 are superseded, and kept" in story
    assert place.harness("status")[1].splitlines()[-1] == (
        f"  cell {key} measured again, asked by Ana: fan was unplugged; "
        "attempts 1, 2, 3 superseded, and kept"
    )
    [line] = place.json("status")["runs"]
    assert line["superseded"] == [
        {"cell": key, "attempts": [1, 2, 3], "by": "Ana", "reason": "fan was unplugged"}
    ]


def test_a_rerun_asked_while_nobody_could_answer_is_carried_out_by_the_next_run(
    place: Place,
) -> None:
    from datetime import UTC, datetime

    from harness.store.sqlite import open_store

    run = the_run(place)
    key = place.json("trace")["cells"][0]["cell"]
    with open_store(place.store, write=True) as store:
        store.put_request(
            run, r.RequestKind.RERUN, by="Ana", at=datetime(2026, 11, 3, tzinfo=UTC), cells=(key,)
        )
    status, out, err = place.harness("run", "plan.yaml", "--plain")
    assert status == 0, out + err
    assert len([x for x in place.entries() if isinstance(x.record, r.CellReopened)]) == 1


def test_choosing_nothing_is_refused_and_leaves_no_request(place: Place) -> None:
    run = the_run(place)
    for arguments in (("--failed",), ("--void", "--discarded"), ()):
        status, _, err = place.harness("rerun", run, *arguments)
        assert status == 2
        assert "error[nothing-to-rerun]" in err
    key = place.json("trace")["cells"][0]["cell"]
    status, _, err = place.harness("rerun", run, "--cell", f"{key}-002")
    assert (status, "error[cell-not-pass]" in err) == (2, True)
    db = sqlite3.connect(place.store / "records.sqlite")
    assert db.execute("SELECT count(*) FROM requests").fetchone() == (0,)
    db.close()


def test_recomputing_changes_no_record_and_gives_the_same_where_nothing_is_asked(
    place: Place,
) -> None:
    run, before = the_run(place), place.entries()
    again = place.json("recompute", run)
    assert [cell["old"] for cell in again["cells"]] == [cell["new"] for cell in again["cells"]]
    assert place.json("recompute", run)["file"] == again["file"]
    other = place.json("recompute", run, "--rule", "rule: spread, on: average_fps, more_than: 1 %")
    assert other["file"] != again["file"]
    assert place.entries() == before


def test_the_run_to_recompute_may_stand_after_what_is_chosen_of_it(place: Place) -> None:
    run = the_run(place)
    (cell, *_), low = place.json("recompute", run)["cells"], ("--low", "slowest-time")
    again = place.json("recompute", *low, "--where", f"setting={cell['setting']}", run)
    assert {each["setting"] for each in again["cells"]} == {cell["setting"]}


def test_a_key_that_no_cell_has_names_the_run_it_was_looked_for_in(place: Place) -> None:
    run = the_run(place)
    status, _, err = place.harness("trace", "nokey-001")
    assert status == 2
    assert f"no cell of run {run} can be meant by 'nokey-001'" in err
    assert f"harness trace --run {run}" in err


def test_a_rule_that_cannot_be_is_told_as_in_a_plan(place: Place) -> None:
    status, _, err = place.harness("recompute", the_run(place), "--rule", "rule: sprad")
    assert status == 2
    assert "the nearest is spread" in err
    assert "plan.yaml" not in err


def test_a_copy_of_the_records_is_a_whole_store_with_the_bundles_beside_it(place: Place) -> None:
    target = place.folder / "copied"
    target.mkdir()
    status, out, err = place.harness("verify", "--backup", str(target / "records.sqlite"))
    assert status == 0, out + err
    shutil.copytree(place.store / "bundles", target / "bundles")
    status, out, _ = place.harness("verify", str(target))
    assert (status, "as it was kept; every bundle was read through" in out) == (0, True)
    status, _, err = place.harness("verify", "--backup", str(target / "records.sqlite"))
    assert (status, "error[target-exists]" in err) == (2, True)


def test_a_damaged_store_is_named_with_what_is_left_and_is_not_copied(place: Place) -> None:
    path = place.store / "records.sqlite"
    data = bytearray(path.read_bytes())
    data[4096 * 3 : 4096 * 6] = b"\xaa" * (4096 * 3)
    path.write_bytes(data)
    status, out, err = place.harness("verify", "--backup", str(place.folder / "copy.sqlite"))
    assert status == 4
    assert "8 of 8 bundles are whole" in out + err or "6 of 6 bundles are whole" in out + err
    assert not (place.folder / "copy.sqlite").exists()


@pytest.mark.parametrize(
    "moment",
    ["after the files are kept and before the record", "while the files are being written"],
)
def test_after_the_next_start_no_row_is_without_its_file_and_no_file_without_its_row(
    tmp_path: Path, moment: str
) -> None:
    with Place(tmp_path) as place:
        place.harness("run", "plan.yaml", killed=MOMENTS[moment])
        assert place.json("verify")["problems"] != []
        assert place.harness("run", "plan.yaml")[0] == 0
        found = place.json("verify")
        assert (found["ok"], found["problems"]) == (True, [])
