"""The first pass after an opened case, with real runners: who is there is asked, not assumed."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.run import records as r
from tests.end_to_end.runs import Place
from tests.end_to_end.test_door import BY_ANA, wait_for_step

pytestmark = pytest.mark.slow

#: A step that opens the case, and a level that can be read: it is not asked for again.
SLOT = """\
conditions:
  slot:
    by: operator
    opens_case: true
    levels:
      upper:
        say: Card in the upper slot.
        expect: [{reading: memory.available, at_least: 0.01 GiB}]
"""


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Place]:
    """A run whose runner was killed while its step was open, confirmed with no runner at work."""
    with Place(tmp_path) as place:
        leave_opened(place)
        yield place


def leave_opened(place: Place, *, slot: str = SLOT) -> None:
    text = (place.folder / "plan.yaml").read_text()
    start, end = text.index("conditions:"), text.index("settings:")
    (place.folder / "plan.yaml").write_text(
        text[:start] + slot + text[end:].replace('"{mode}"', '"{slot}"')
    )
    runner = place.start("run", "plan.yaml")
    wait_for_step(place, 1)
    runner.kill()
    runner.communicate(timeout=20)
    status, out, err = place.harness("confirm", *BY_ANA)
    assert status == 0, out + err
    assert "it asks again who is there before its first pass" in out


def of(place: Place, kind: type[r.Record]) -> list[r.Record]:
    return [x.record for x in place.entries() if isinstance(x.record, kind)]


def wait_for_runner(place: Place, number: int) -> None:
    deadline_s = time.monotonic() + 30
    while len(of(place, r.RunnerStarted)) < number:
        assert time.monotonic() < deadline_s
        time.sleep(0.05)


def test_a_runner_without_a_terminal_waits_for_somebody_also_after_a_kill(opened: Place) -> None:
    for number in (2, 3):
        runner = opened.start("run", "plan.yaml")
        wait_for_runner(opened, number)
        wait_for_step(opened, 2)
        (line,) = opened.json("status")["runs"]
        assert (line["phase"], line["waits"]["attend"]) == ("step", True)
        runner.kill()
        runner.communicate(timeout=20)
    assert of(opened, r.PassStarted) == []
    status, _, err = opened.harness("confirm", "--by", "Ana")
    assert status == 2
    assert "error[not-attended]: the case was opened" in err
    runner = opened.start("run", "plan.yaml")
    wait_for_runner(opened, 4)
    status, out, err = opened.harness("confirm", *BY_ANA)
    assert status == 0, out + err
    out, err = runner.communicate(timeout=60)
    assert runner.returncode == 0, out + err
    assert "step 2 was confirmed by Ana, who stays for the first pass" in out


def run_at_a_terminal(place: Place) -> subprocess.CompletedProcess[str]:
    ours, theirs = pty.openpty()
    try:
        return subprocess.run(
            [sys.executable, "-m", "harness", "run", "plan.yaml"],
            cwd=place.folder,
            env=place.environment(),
            stdin=theirs,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
    finally:
        os.close(ours)
        os.close(theirs)


def test_what_was_confirmed_with_no_runner_at_work_is_not_asked_again(tmp_path: Path) -> None:
    unread = "".join(line for line in SLOT.splitlines(keepends=True) if "expect" not in line)
    with Place(tmp_path) as place:
        leave_opened(place, slot=unread)
        done = run_at_a_terminal(place)
        assert done.returncode == 0, done.stdout + done.stderr
        assert len(of(place, r.StepAsked)) == 1


def test_whoever_starts_it_at_a_terminal_is_there(opened: Place) -> None:
    done = run_at_a_terminal(opened)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "started at a terminal by" in done.stdout
    assert len(of(opened, r.StepAsked)) == 1
    assert opened.json("status")["holds"] == []


def test_meanwhile_no_other_plan_starts_on_the_rig(opened: Place) -> None:
    other = (opened.folder / "plan.yaml").read_text().replace("plan: small hours", "plan: other")
    (opened.folder / "other.yaml").write_text(other)
    status, _, err = opened.harness("run", "other.yaml")
    assert status == 3
    assert "opens the case, and no pass is over since" in err
    assert "first-pass --by YOUR-NAME" in err


def test_a_runner_that_a_daemon_starts_refuses_a_plan_for_attended_runs_only(
    tmp_path: Path,
) -> None:
    place = Place(tmp_path)  # its plan says limits: none
    done = subprocess.run(
        [sys.executable, "-m", "harness", "run", "plan.yaml"],
        cwd=place.folder,
        env={**place.environment(), "HARNESS_TELL": "9"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 2
    assert "error[attended-only]: the plan says limits: none" in done.stderr
    assert not place.log.exists()
