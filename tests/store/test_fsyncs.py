"""What keeping a pass costs a disk, and what asking costs a start."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from harness.store.sqlite import open_store
from tests.store.examples import AT, BEGINNING, BOOT, frame_log, keep_pass

ROOT = Path(__file__).parents[2]

_KEEP = """
import os, sys
from pathlib import Path
from harness.store.sqlite import open_store
from tests.store.examples import AT, BEGINNING, BOOT, CELL, ended, frame_log, judged, started
folder = Path(sys.argv[1])
log = frame_log(folder)
mark = lambda text: os.write(2, f"mark {text}".encode())
with open_store(folder / "store", write=True) as store:
    journal = store.create_run("r", plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
    journal.append(BEGINNING, at=AT, boot=BOOT)
    for attempt in (1, 2, 3):
        mark("start")
        journal.append((started(attempt),), at=AT, boot=BOOT)
        mark("bundle")
        ref = journal.keep(f"{CELL}-{attempt:03d}", (log,))
        mark("end")
        journal.append((ended(attempt, bundle=ref), judged(attempt)), at=AT, boot=BOOT)
        mark("rest")
        journal.rest()
    mark("over")
"""


def traced(folder: Path) -> list[str]:
    """Return the system calls that matter of keeping three passes, in order."""
    strace = shutil.which("strace")
    if strace is None:
        pytest.skip("needs the tool strace")
    log = folder / "calls"
    done = subprocess.run(
        [
            strace,
            "-f",
            "-o",
            log,
            "-e",
            "trace=fsync,fdatasync,write",
            sys.executable,
            "-c",
            _KEEP,
            folder,
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    if done.returncode:
        if "ptrace" in done.stderr:
            pytest.skip("strace may not trace here")
        raise AssertionError(done.stderr)
    calls = []
    for line in log.read_text(errors="replace").splitlines():
        if found := re.search(r'"mark (\w+)"', line):
            calls.append(found[1])
        elif re.search(r"\bf(data)?sync\(", line):
            calls.append("sync")
    return calls[calls.index("start") :]


def test_keeping_a_pass_takes_exactly_four_syncs(tmp_path: Path) -> None:
    one_pass = ["start", "sync", "bundle", "sync", "sync", "end", "sync", "rest"]
    calls = traced(tmp_path)
    assert calls[: calls.index("over")] == one_pass * 3


_ASK = """
import sys
from pathlib import Path
from harness.store.sqlite import open_store
with open_store(Path(sys.argv[1]), write=False) as store:
    (line,) = store.runs()
    assert line.standing.passes == 1 and len(store.cells(line.run)) == 1
print(*sorted(sys.modules))
"""


def test_asking_where_runs_stand_imports_no_record_and_no_large_library(tmp_path: Path) -> None:
    with open_store(tmp_path / "store", write=True) as store:
        journal = store.create_run("r", plan_name="p", plan_hash="9", rig="r", cells=1, at=AT)
        journal.append(BEGINNING, at=AT, boot=BOOT)
        keep_pass(journal, 1, (frame_log(tmp_path),))
    done = subprocess.run(
        [sys.executable, "-c", _ASK, tmp_path / "store"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    loaded = set(done.stdout.split())
    assert "harness.store.sqlite" in loaded
    assert not loaded & {
        "harness.plan.document",
        "harness.run.records",
        "harness.store.bodies",
        "numpy",
        "pandas",
        "tarfile",
        "yaml",
        "zstandard",
    }
