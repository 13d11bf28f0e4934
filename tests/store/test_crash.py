"""A runner that is killed loses nothing that it was told is kept."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from harness.run.records import PassEnded
from harness.store.sqlite import open_store
from harness.store.verify import problems
from tests.store.examples import AT, BEGINNING, BOOT, frame_log, keep_pass

ROOT = Path(__file__).parents[2]
RUN = "two-slots-1"

_RUNNER = """
import sys
from pathlib import Path
from harness.store.sqlite import open_store
from tests.store.examples import frame_log, keep_pass
folder = Path(sys.argv[1])
log = frame_log(folder)
with open_store(folder / "store", write=True) as store:
    journal = store.journal("two-slots-1")
    attempt = store.run("two-slots-1").standing.passes
    while True:
        attempt += 1
        keep_pass(journal, attempt, (log,))
        print(attempt, flush=True)
"""


@pytest.mark.parametrize("passes", [1, 3, 8])
def test_what_was_kept_outlives_a_kill(tmp_path: Path, passes: int) -> None:
    with open_store(tmp_path / "store", write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append(BEGINNING, at=AT, boot=BOOT)
    with subprocess.Popen(
        [sys.executable, "-c", _RUNNER, tmp_path], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as runner:
        assert runner.stdout is not None
        for _ in range(passes):
            runner.stdout.readline()
        runner.kill()  # SIGKILL, at whatever it was doing
        told = [*range(1, passes + 1), *map(int, runner.stdout.read().split())]
    with open_store(tmp_path / "store", write=True) as store:
        assert [p for p in problems(store, RUN) if p.severity == "error"] == []
        kept = [e.record.attempt for e in store.entries(RUN) if isinstance(e.record, PassEnded)]
        assert kept[: len(told)] == told
        assert len(kept) <= len(told) + 1
        keep_pass(store.journal(RUN), 1000, (frame_log(tmp_path),))
        assert [p for p in problems(store, RUN) if p.severity == "error"] == []
