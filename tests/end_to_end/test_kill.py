"""kill -9 of the runner in each phase, with real processes: nothing lost, nothing doubled."""

from __future__ import annotations

import itertools
import os
import signal
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.rules.judgement import Verdict
from harness.run import records as r
from tests.end_to_end.runs import Place

pytestmark = pytest.mark.slow

BENCH = "harness.rig.bench:RealBench"
APPEND = "harness.store.sqlite_journal:SqliteJournal.append"
KEEP = "harness.store.bundles:Bundles.keep"

#: Moments at which the runner kills itself: a function, before or after it, at which call.
MOMENTS = {
    "while the gates are awaited": (f"{BENCH}.wait/before", 2),
    "before the start of a pass is kept": (f"{APPEND}/before", 4),
    "just after the start of a pass is kept": (f"{APPEND}/after", 4),
    "just after the command of a warm-up has ended": (f"{BENCH}.carry_out/after", 1),
    "just after the command of a pass has ended": (f"{BENCH}.carry_out/after", 3),
    "before the files are kept": (f"{KEEP}/before", 3),
    "while the files are being written": ("harness.store.files:DiskFiles.sync/before", 3),
    "after the files are kept and before the record": (f"{KEEP}/after", 3),
    "in the middle of the transaction": ("harness.store.sqlite_file:SqliteFile.ask/after", 9),
}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    gate = "{reading: cpu.load, at_most: 100 %, for: 0 s, give_up: 30 s, then: mark}"
    with Place(tmp_path) as found:
        found.write(f"gates: [{gate}]")
        yield found


def alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


def promises_hold(place: Place) -> None:
    """Hold what a run promises against its records and the title's own log."""
    records = [entry.record for entry in place.entries()]
    started = [x for x in records if isinstance(x, r.PassStarted)]
    judged = [x for x in records if isinstance(x, r.PassJudged)]
    names = [(x.cell, x.attempt) for x in started]
    assert len(set(names)) == len(names), "an attempt was counted twice"
    assert sorted(names) == sorted((x.cell, x.attempt) for x in judged), "a pass has no verdict"
    closed = [x for x in records if isinstance(x, r.CellClosed)]
    assert [x.state for x in closed] == [r.CellState.ACCEPTED] * 2
    assert all(len(x.kept) == 2 for x in closed)
    captures = sorted(place.captures(), key=lambda each: each[1])
    for (pid, _, end), (_, start, _) in itertools.pairwise(captures):
        assert not alive(pid), f"the title {pid} lives on"
        assert end is None or end < start, "two captures ran at the same time"
    for pid, _, _ in captures:
        assert not alive(pid)


@pytest.mark.parametrize("moment", MOMENTS)
def test_a_runner_killed_at_any_moment_loses_nothing_and_counts_nothing_twice(
    place: Place, moment: str
) -> None:
    status, out, err = place.harness("run", "plan.yaml", killed=MOMENTS[moment])
    assert status == -signal.SIGKILL, f"it was never killed: {out}{err}"
    before = [entry.record for entry in place.entries()]
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    after = [entry.record for entry in place.entries()]
    assert after[: len(before)] == before, "something kept was lost or changed"
    promises_hold(place)


@pytest.mark.parametrize("capture", [1, 3])
def test_a_runner_killed_while_the_title_runs_takes_the_title_with_it(
    place: Place, capture: int
) -> None:
    runner = place.start("run", "plan.yaml")
    deadline = time.monotonic() + 30
    while not place.log.exists() or len(place.captures()) < capture:
        assert time.monotonic() < deadline
        assert runner.poll() is None
        time.sleep(0.005)
    runner.send_signal(signal.SIGKILL)
    runner.communicate()
    pid = place.captures()[-1][0]
    deadline = time.monotonic() + 5
    while alive(pid):
        assert time.monotonic() < deadline, "the title outlived its runner"
        time.sleep(0.005)
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    verdicts = Counter(
        x.record.verdict for x in place.entries() if isinstance(x.record, r.PassJudged)
    )
    assert verdicts[Verdict.INTERRUPTED] == 1
    promises_hold(place)


def test_a_second_runner_is_refused_and_told_who_holds_the_rig(place: Place) -> None:
    first = place.start("run", "plan.yaml")
    deadline = time.monotonic() + 30
    while not place.log.exists():
        assert time.monotonic() < deadline
        assert first.poll() is None
        time.sleep(0.01)
    status, _, err = place.harness("run", "plan.yaml")
    assert status == 3
    assert str(first.pid) in err
    assert "plan.yaml" in err
    out, errors = first.communicate(timeout=60)
    assert first.returncode == 0, out + errors


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_a_signal_stops_the_run_cleanly_and_says_how_to_go_on(place: Place, name: str) -> None:
    runner = place.start("run", "plan.yaml")
    deadline = time.monotonic() + 30
    while not place.log.exists() or len(place.captures()) < 2:
        assert time.monotonic() < deadline
        assert runner.poll() is None
        time.sleep(0.005)
    os.kill(runner.pid, getattr(signal, name))
    out, err = runner.communicate(timeout=20)
    assert runner.returncode == 5, out + err
    assert "go on:" in out
    assert "Traceback" not in err
    judged = [x.record for x in place.entries() if isinstance(x.record, r.PassJudged)]
    assert judged[-1].verdict is Verdict.INTERRUPTED
    assert not alive(place.captures()[-1][0])
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    promises_hold(place)


def test_a_finished_plan_says_so_and_runs_again_only_when_told(place: Place) -> None:
    assert place.harness("run", "plan.yaml")[0] == 0
    captures = len(place.captures())
    status, out, _ = place.harness("run", "plan.yaml")
    assert (status, len(place.captures())) == (0, captures)
    assert "finished" in out
    assert place.harness("run", "plan.yaml", "--again")[0] == 0
    assert len(place.captures()) == 2 * captures
    assert len(place.json("status")["runs"]) == 2


def test_a_plan_changed_while_unfinished_is_refused_with_what_changed(place: Place) -> None:
    moment = MOMENTS["just after the command of a pass has ended"]
    place.harness("run", "plan.yaml", killed=moment)
    text = (place.folder / "plan.yaml").read_text()
    (place.folder / "plan.yaml").write_text(text.replace("keep: 2", "keep: 3"))
    status, _, err = place.harness("run", "plan.yaml")
    assert status == 2
    assert "passes.keep" in err
    assert "--again" in err


def test_a_level_left_by_a_dead_runner_keeps_every_other_plan_off_the_rig(place: Place) -> None:
    path, log = place.folder / "plan.yaml", place.folder / "levels.log"
    plain = path.read_text()
    level = (
        f"other: {{command: [sh, -c, 'echo set >> {log}'], "
        f"put_back: [sh, -c, 'echo back >> {log}']}}"
    )
    path.write_text(plain.replace("other: {}", level))
    (place.folder / "else.yaml").write_text(plain.replace("small hours", "something else"))
    point = ("harness.rig.bench:RealBench.set_level/after", 1)
    assert place.harness("run", "plan.yaml", killed=point)[0] == -signal.SIGKILL
    assert log.read_text() == "set\n"
    status, _, err = place.harness("run", "else.yaml")
    assert status == 3
    assert "mode other, and it was not put back" in err
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    lines = log.read_text().splitlines()
    assert lines[:2] == ["set", "back"]
    assert lines[-1] == "back"
    assert place.harness("run", "else.yaml")[0] == 0
    assert place.json("status")["holds"] == []


def test_a_plan_that_was_put_back_as_it_was_goes_on_with_its_unfinished_run(place: Place) -> None:
    path = place.folder / "plan.yaml"
    first = path.read_text()
    place.harness("run", "plan.yaml", killed=MOMENTS["just after the command of a pass has ended"])
    path.write_text(first.replace("keep: 2", "keep: 1"))
    assert place.harness("run", "plan.yaml", "--again")[0] == 0
    path.write_text(first)
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    assert [line["phase"] for line in place.json("status")["runs"]] == ["finished", "finished"]
