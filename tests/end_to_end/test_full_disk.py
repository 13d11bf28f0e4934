"""A disk that is full: a real file system of a few MiB, filled on purpose."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.errors import StoreError
from harness.run import records as r
from harness.store.sqlite import open_store
from harness.store.verify import problems
from tests.end_to_end.runs import ROOT, Place
from tests.store.examples import AT, BEGINNING, BOOT, frame_log, keep_pass

pytestmark = pytest.mark.slow

TITLE = Path(__file__).with_name("filling_title.py")
#: `harness …` that leaves no floor free: the file system of these tests is smaller than it.
WITHOUT_FLOOR = (
    "import sys, harness.run.disk_room as room; room.FLOOR_BYTES = 0; "
    "from harness.__main__ import main; "
    "sys.exit(main(sys.argv[1:], out=sys.stdout, err=sys.stderr))"
)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 4 MiB, where this machine lets one be mounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)]
    try:
        done = subprocess.run(mount, capture_output=True, text=True, check=False)
    except OSError as error:
        pytest.skip(f"nothing can be mounted here: {error}")
    if done.returncode != 0:
        pytest.skip(f"nothing can be mounted here: {done.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=False)


def fill(folder: Path, *, leave: int) -> Path:
    """Fill the disk but for *leave* bytes; return the file to be deleted."""
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"\0" * 4096)
        except OSError:
            pass
        file.truncate(max(0, filler.stat().st_size - leave))
    return filler


@pytest.mark.parametrize("leave", [0, 4096, 8192, 16_384, 65_536])
def test_a_disk_that_fills_up_in_any_write_loses_nothing_that_was_kept(
    small_disk: Path, tmp_path: Path, leave: int
) -> None:
    run, log = "two-slots-1", frame_log(tmp_path)
    store_folder = small_disk / "store"
    with open_store(store_folder, write=True) as store:
        journal = store.create_run(
            run, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append(BEGINNING, at=AT, boot=BOOT)
        for attempt in range(1, 4):
            keep_pass(journal, attempt, (log,))
        filler = fill(small_disk, leave=leave)
        told = 3

        def go_on() -> None:
            nonlocal told
            for attempt in range(4, 200):
                keep_pass(journal, attempt, (log,))
                told = attempt

        with pytest.raises(StoreError) as caught:
            go_on()
        assert [problem.code for problem in caught.value.problems] == ["store-full"]
        assert "free space there" in caught.value.problems[0].do
    filler.unlink()
    with open_store(store_folder, write=True) as store:
        assert [each for each in problems(store, run) if each.severity == "error"] == []
        ended = [x.record for x in store.entries(run) if isinstance(x.record, r.PassEnded)]
        assert [each.attempt for each in ended][:told] == [*range(1, told + 1)]
        for each in ended:
            assert each.bundle is not None
            store.check_bundle(each.bundle)
        keep_pass(store.journal(run), 500, (log,))  # and it goes on
        assert [each for each in problems(store, run) if each.severity == "error"] == []


def test_a_run_that_would_not_fit_is_refused_before_its_first_pass(
    small_disk: Path, tmp_path: Path
) -> None:
    with Place(tmp_path) as place:
        store = ("--store", str(small_disk / "store"))
        status, _, err = place.harness("run", "plan.yaml", *store)
        assert status == 3
        assert "error[disk-too-full]" in err
        assert "bytes) are free where the store lies, and the run needs 1.00 GiB" in err
        assert "make room for at least" in err
        assert not place.log.exists()
        assert json.loads(place.harness("status", *store, "--json")[1])["runs"] == []


def test_a_disk_that_is_full_in_mid_run_holds_the_rig_and_the_run_goes_on_after_it(
    small_disk: Path, tmp_path: Path
) -> None:
    mark, store = tmp_path / "passes", small_disk / "store"
    with Place(tmp_path) as place:
        plan = place.folder / "plan.yaml"
        text = plan.read_text(encoding="utf-8")
        command = json.dumps(
            ["{python}", str(TITLE), "{captures}/frames.csv", str(small_disk), str(mark), "{mode}"]
        )
        start = text.index("command: [")
        text = text[: start + 9] + command + text[text.index("\n", start) :]
        plan.write_text(text, encoding="utf-8")

        def harness(*arguments: str) -> tuple[int, str]:
            done = subprocess.run(
                [sys.executable, "-c", WITHOUT_FLOOR, *arguments, "--store", str(store)],
                cwd=place.folder, env={**place.environment(), "PYTHONPATH": str(ROOT)},
                capture_output=True, text=True, check=False, timeout=60,
            )  # fmt: skip
            return done.returncode, done.stdout + done.stderr

        status, said = harness("run", "plan.yaml", "--plain")
        assert status == 4, said
        assert "error[store-full]" in said
        assert "error[rig-held]" in said
        assert "Traceback" not in said
        with open_store(store, write=False) as kept:
            (line,) = kept.runs()
            before = [entry.record for entry in kept.entries(line.run)]
        assert len([x for x in before if isinstance(x, r.PassJudged)]) == 2
        assert harness("run", "plan.yaml", "--plain")[0] == 3  # held

        (small_disk / "filler").unlink()
        hold = f"{line.run}-store-1"
        status, said = place.harness("release", hold, "--by", "Ana", "--store", str(store))[:2]
        assert status == 0, said
        status, said = harness("run", "plan.yaml", "--plain")
        assert status == 0, said
        with open_store(store, write=False) as kept:
            after = [entry.record for entry in kept.entries(line.run)]
            assert [x for x in problems(kept, line.run) if x.severity == "error"] == []
        assert after[: len(before)] == before
        held = [x for x in after if isinstance(x, r.RigHeld)]
        assert [(x.hold, x.fault) for x in held] == [(hold, "store-refused")]
        closed = [x for x in after if isinstance(x, r.CellClosed)]
        assert [(x.state, len(x.kept)) for x in closed] == [(r.CellState.ACCEPTED, 2)] * 2


def test_where_no_file_may_grow_further_nothing_kept_is_lost_and_the_run_goes_on(
    tmp_path: Path,
) -> None:
    # Needs no file system of its own: a limit on the size of every file that is written.
    limited = f'ulimit -f {2 * 160}; exec "$@"'  # in blocks of 512 bytes (POSIX)
    with Place(tmp_path) as place:
        plan = place.folder / "plan.yaml"
        text = plan.read_text(encoding="utf-8").replace(
            "keep: 2, at_most: 4", "keep: 5, at_most: 5"
        )
        plan.write_text(text, encoding="utf-8")
        done = subprocess.run(
            ["sh", "-c", limited, "-", sys.executable, "-m", "harness", "run", "plan.yaml"],
            cwd=place.folder, env=place.environment(), stdin=subprocess.DEVNULL,
            capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert done.returncode == 4, done.stdout + done.stderr
        assert "error[store-failed]" in done.stderr
        assert "error[rig-held]" in done.stderr
        assert "Traceback" not in done.stderr
        before = place.entries()
        status, out, _ = place.harness("verify")
        assert status == 0, out
        assert place.harness("release", "--by", "Ana")[0] == 0
        status, out, err = place.harness("run", "plan.yaml")
        assert status == 0, out + err
        assert place.entries()[: len(before)] == before
        assert place.harness("verify")[0] == 0
