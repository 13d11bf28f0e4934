"""A runner that is killed, a second runner, a runner told to stop: with real processes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.rig.locks import RigLock, RunnerLock
from harness.rig.orphans import rig_mark
from harness.rig.tree import having_in_environment
from tests.end_to_end.rigs import bench, fake, python, task, title

RUNNER = Path(__file__).with_name("lone_runner.py")
NOW = datetime(2026, 3, 2, 22, 30, tzinfo=UTC)


@pytest.fixture
def runners() -> Iterator[list[subprocess.Popen[str]]]:
    started: list[subprocess.Popen[str]] = []
    yield started
    for each in started:
        each.kill()
        each.wait()
        if each.stdout is not None:
            each.stdout.close()


def _start(
    runners: list[subprocess.Popen[str]], folder: Path, *argv: str, ready: str
) -> subprocess.Popen[str]:
    """Start a runner, and wait until its title has made the file *ready*."""
    runner = subprocess.Popen(
        [sys.executable, str(RUNNER), str(folder), *argv], stdout=subprocess.PIPE, text=True
    )
    runners.append(runner)
    deadline = time.monotonic() + 20
    while not (folder / ready).exists() and runner.poll() is None:
        assert time.monotonic() < deadline, "the title never started"
        time.sleep(0.01)
    return runner


def _title(folder: Path, code: str) -> tuple[str, ...]:
    script = folder / "title.py"
    script.write_text(f"import os, subprocess, sys, time\n{code}\n")
    return (sys.executable, str(script))


SLEEPER = (
    "open('ready.part', 'w').write(str(os.getpid())); os.rename('ready.part', 'ready')\n"
    "time.sleep(60)"
)
#: A title that leaves a helper in a session of its own, with or without what it inherited.
WITH_HELPER = (
    "helper = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'],"
    " start_new_session=True, {})\n" + SLEEPER
)


def _is_alive(pid: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


def _wait_until_dead(pid: int) -> None:
    deadline = time.monotonic() + 5
    while _is_alive(pid):
        assert time.monotonic() < deadline, f"process {pid} lives on"
        time.sleep(0.005)


def test_the_command_dies_with_its_runner(
    runners: list[subprocess.Popen[str]], tmp_path: Path
) -> None:
    runner = _start(runners, tmp_path, *_title(tmp_path, SLEEPER), ready="ready")
    pid = int((tmp_path / "ready").read_text())
    assert _is_alive(pid)
    runner.kill()
    runner.wait()
    _wait_until_dead(pid)


@pytest.mark.parametrize(
    "descriptors",
    ["close_fds=True", "close_fds=False"],
    ids=["found-by-its-token", "found-by-token-and-lock"],
)
def test_what_outlived_a_killed_runner_is_found_and_ended_by_the_next(
    runners: list[subprocess.Popen[str]], tmp_path: Path, descriptors: str
) -> None:
    argv = _title(tmp_path, WITH_HELPER.format(descriptors))
    runner = _start(runners, tmp_path, *argv, ready="ready")
    runner.kill()
    runner.wait()
    _wait_until_dead(int((tmp_path / "ready").read_text()))
    mine = _carrying_token(tmp_path)
    assert len(mine) == 1, "the helper lives on"
    assert RigLock(tmp_path / "rig").is_free() == (descriptors == "close_fds=True")

    began = time.monotonic()
    with RunnerLock(tmp_path / "rig", plan="two-slots", now=NOW):
        left = bench(tmp_path).recover("run-1")
    assert time.monotonic() - began < 1.0
    assert left.survivors == ()
    (ended,) = left.ended
    assert f"process {mine[0]} " in ended
    assert "time.sleep(60)" in ended
    assert not _is_alive(mine[0])
    assert RigLock(tmp_path / "rig").is_free()


def test_an_orphan_without_token_is_found_by_the_lock_it_holds(
    runners: list[subprocess.Popen[str]], tmp_path: Path
) -> None:
    argv = _title(tmp_path, WITH_HELPER.format("close_fds=False, env={}"))
    runner = _start(runners, tmp_path, *argv, ready="ready")
    runner.kill()
    runner.wait()
    _wait_until_dead(int((tmp_path / "ready").read_text()))
    assert _carrying_token(tmp_path) == []
    with RunnerLock(tmp_path / "rig", plan="two-slots", now=NOW):
        left = bench(tmp_path).recover("run-1")
    assert len(left.ended) == 1
    assert left.survivors == ()
    assert RigLock(tmp_path / "rig").is_free()


def test_an_orphan_of_another_rig_is_left_alone(
    runners: list[subprocess.Popen[str]], tmp_path: Path
) -> None:
    for name in ("east", "west"):
        (tmp_path / name).mkdir()
    argv = _title(tmp_path / "east", SLEEPER)
    _start(runners, tmp_path / "east", *argv, ready="ready")
    with RunnerLock(tmp_path / "west" / "rig", plan="two-slots", now=NOW):
        assert bench(tmp_path / "west").recover("run-1").ended == ()
    assert _is_alive(int((tmp_path / "east" / "ready").read_text()))


def test_what_an_interrupted_attempt_left_is_given_to_the_next_runner(
    runners: list[subprocess.Popen[str]], tmp_path: Path
) -> None:
    code = "open(sys.argv[1], 'w').write('frame_no,frame_ms\\n1,16.6')\n" + SLEEPER
    argv = (*_title(tmp_path, code), "{captures}/frames.csv")
    runner = _start(runners, tmp_path, *argv, ready="ready")
    runner.kill()
    runner.wait()
    rig = bench(tmp_path)
    left = rig.recover("run-1")
    assert left.attempts is not None
    ((name, found),) = left.attempts.items()
    assert name.endswith("-001")
    by_name = {member.name: member.path.read_bytes() for member in found}
    assert by_name["captures/frames.csv"] == b"frame_no,frame_ms\n1,16.6"
    assert b"memory.available" in by_name["readings.jsonl"]
    assert rig.recover("another-run").attempts == {}


def test_a_second_runner_is_refused_while_the_first_is_at_work(
    runners: list[subprocess.Popen[str]], tmp_path: Path
) -> None:
    first = _start(runners, tmp_path, *_title(tmp_path, SLEEPER), ready="ready")
    second = subprocess.run(
        [sys.executable, str(RUNNER), str(tmp_path), "true"],
        capture_output=True,
        text=True,
        check=False,
        timeout=20,
    )
    assert second.returncode == 3
    assert "error[rig-busy]" in second.stdout
    assert f"runner: process {first.pid}, since " in second.stdout
    assert "plan: two-slots" in second.stdout
    assert _is_alive(int((tmp_path / "ready").read_text())), "the first pass goes on"


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_runner_told_to_stop_ends_its_tree_first(
    runners: list[subprocess.Popen[str]], tmp_path: Path, number: signal.Signals
) -> None:
    argv = _title(tmp_path, WITH_HELPER.format("close_fds=True"))
    runner = _start(runners, tmp_path, *argv, ready="ready")
    began = time.monotonic()
    runner.send_signal(number)
    said, _ = runner.communicate(timeout=10)
    assert time.monotonic() - began < 0.7
    assert said.splitlines()[-1] == "ended stopped"
    assert _carrying_token(tmp_path) == []


def test_nothing_is_started_beside_what_still_holds_the_rig(tmp_path: Path) -> None:
    rig = bench(tmp_path)
    held = RigLock(tmp_path / "rig").take()
    assert held is not None
    with subprocess.Popen(["sleep", "60"], pass_fds=(held,)) as stranger:
        os.close(held)
        end = rig.carry_out(task(fake("ok")), lambda: False).end
        stranger.kill()
    assert end.detail == "an earlier command is still running on this rig"
    assert end.survivors == (f"process {stranger.pid} (sleep 60)",)


def test_a_process_that_hides_from_the_tree_is_found_by_its_token(tmp_path: Path) -> None:
    """A helper that belongs to somebody else's tree, started with our environment."""
    pids = tmp_path / "pid"
    # A process of this test, which the bench counts as a stranger, hands the token on.
    code = (
        "import os, subprocess, sys, time\n"
        "while not os.path.exists('token'): time.sleep(0.01)\n"
        "env = {'HARNESS_RUN_TOKEN': open('token').read()}\n"
        "helper = subprocess.Popen(['/bin/sleep', '60'], env=env)\n"
        "open('pid.part', 'w').write(str(helper.pid)); os.rename('pid.part', 'pid')\n"
        "helper.wait()\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=tmp_path) as stranger:
        rig = bench(tmp_path)
        wait = (
            "import os, time\n"
            "open('token.part', 'w').write(os.environ['HARNESS_RUN_TOKEN'])\n"
            "os.rename('token.part', 'token')\n"
            "while not os.path.exists('pid'): time.sleep(0.01)\n"
        )
        end = rig.carry_out(task(title(*python(wait))), lambda: False).end
        assert stranger.wait(timeout=10) == 0, "the stranger itself was not hit"
    assert (end.status, end.survivors) == (0, ())
    assert not _is_alive(int(pids.read_text()))


def _carrying_token(folder: Path) -> list[int]:
    mark = rig_mark(folder / "rig")
    found = having_in_environment("HARNESS_RUN_TOKEN", lambda text: text.startswith(mark))
    return [each.id.pid for each in found if not each.is_over]
