"""What a level and a title changed on the rig, with real processes: put back however a run ends."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from harness.run import records as r
from tests.end_to_end.runs import Place

pytestmark = pytest.mark.slow

#: Says that it is at work under the quiet level, and then goes on until it is told or ended.
TITLE = """\
import sys, time
from pathlib import Path
frames = Path(sys.argv[1])
here = (Path("power.txt").read_text(), Path("own.ini").read_text())
if here[0] == "220":
    Path("at-work").write_text("|".join(here))
    while not Path("go").exists():
        time.sleep(0.02)
time.sleep(0.3)
frames.write_text("frame,frame_ms\\n" + "".join(f"{n + 1},7.5\\n" for n in range(40)))
sys.exit(3 if Path("fail").exists() else 0)
"""
PLAN = """\
plan: changes
conditions:
  power:
    by: command
    levels:
      quiet:
        command: [sh, -c, "printf 220 > power.txt"]
        put_back: [sh, -c, "printf 300 > power.txt"]
settings:
  fhd: {size: 1920x1080}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [fhd]
    files: {put: {lab.ini: own.ini}, give_back: true}
    command: ["{python}", title.py, "{captures}/frames.csv"]
    time_limit: 30 s
    frames: {file: frames.csv, column: frame_ms, unit: ms}
passes: {warm_up: 0, keep: 2, at_most: 3}
faults: {again: 0, then: hold}
limits: none
"""


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    with Place(tmp_path) as found:
        (tmp_path / "title.py").write_text(TITLE)
        (tmp_path / "power.txt").write_text("300")
        (tmp_path / "own.ini").write_text("user's own")
        (tmp_path / "lab.ini").write_text("the lab's")
        (tmp_path / "plan.yaml").write_text(PLAN)
        yield found


def as_it_was(place: Place) -> bool:
    kept = {name: (place.folder / name).read_text() for name in ("power.txt", "own.ini")}
    return kept == {"power.txt": "300", "own.ini": "user's own"}


def in_a_pass(place: Place) -> int:
    """Start the plan; return the runner's process once its title is at work, all changed."""
    runner = place.start("run", "plan.yaml", "--plain")
    deadline_s = time.monotonic() + 30
    while not (place.folder / "at-work").exists():
        assert time.monotonic() < deadline_s
        assert runner.poll() is None
        time.sleep(0.05)
    time.sleep(0.1)  # until what was written is whole
    assert (place.folder / "at-work").read_text() == "220|the lab's"
    assert not as_it_was(place)
    return runner.pid


def left(place: Place) -> int:
    status = place.started[-1].wait(timeout=30)
    place.started[-1].communicate()
    return status


def stopped(place: Place) -> None:
    os.kill(in_a_pass(place), signal.SIGINT)
    assert left(place) == 5


def held(place: Place) -> None:
    in_a_pass(place)
    (place.folder / "fail").touch()
    (place.folder / "go").touch()
    assert left(place) == 3


def finished(place: Place) -> None:
    in_a_pass(place)
    (place.folder / "go").touch()
    assert left(place) == 0


def killed(place: Place) -> None:
    os.kill(in_a_pass(place), signal.SIGKILL)
    left(place)
    assert not as_it_was(place)  # nobody was there to put it back
    [debt] = place.json("status")["holds"]
    assert "set power quiet, and it was not put back" in debt["reason"]
    (place.folder / "go").touch()
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    back = [x.record for x in place.entries() if isinstance(x.record, r.LevelPutBack)]
    assert [each.problem for each in back] == ["", ""]


@pytest.mark.parametrize("end", [finished, held, stopped, killed])
def test_what_was_changed_is_as_it_was_after_a_run_that_is(
    place: Place, end: Callable[[Place], None]
) -> None:
    end(place)
    assert as_it_was(place)
    assert [x["id"] for x in place.json("status")["holds"] if "-owes-" in x["id"]] == []


def test_a_finished_run_whose_runner_was_killed_while_it_put_back_is_taken_up_and_does_it(
    place: Place,
) -> None:
    plan = place.folder / "plan.yaml"
    slow = "if test -e slow; then rm slow; exec sleep 60; fi; printf 300 > power.txt"
    plan.write_text(plan.read_text().replace("printf 300 > power.txt", slow))
    (place.folder / "slow").touch()
    runner = in_a_pass(place)
    (place.folder / "go").touch()
    deadline_s = time.monotonic() + 30
    while (place.folder / "slow").exists():  # it is being put back
        assert time.monotonic() < deadline_s
        time.sleep(0.05)
    os.kill(runner, signal.SIGKILL)
    left(place)
    assert isinstance(place.entries()[-1].record, r.RunFinished)
    assert not as_it_was(place)
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    assert as_it_was(place)
    assert place.json("status")["holds"] == []
    assert len([x for x in place.entries() if isinstance(x.record, r.RunStarted)]) == 1
