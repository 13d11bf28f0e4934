"""Sleep is held off while a runner is at work, and never longer.

The program that asks is stood in for by a script: what it must do is in systemd-inhibit's manual
(runs the given program under the lock, and fails with a message where it cannot have it).
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from harness.rig.awake import kept_awake
from harness.rig.tree import descendants, described


def _script(folder: Path, body: str) -> list[str]:
    path = folder / "inhibit"
    path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    path.chmod(0o755)
    return [str(path)]


def _inhibits(folder: Path) -> list[str]:
    """Return a stand-in that holds a file for as long as its program runs."""
    return _script(folder, f'shift; echo $$ > {folder}/held; "$@"; rm {folder}/held')


def test_sleep_is_held_off_until_the_block_ends(tmp_path: Path) -> None:
    with kept_awake(why="carrying out two-slots", inhibit=_inhibits(tmp_path)) as awake:
        assert awake.held
        assert (tmp_path / "held").exists()
    assert not (tmp_path / "held").exists()


def test_the_reason_is_told_to_the_system(tmp_path: Path) -> None:
    told = _script(tmp_path, f'echo "$1" > {tmp_path}/why; shift; exec "$@"')
    with kept_awake(why="carrying out two-slots", inhibit=told):
        assert (tmp_path / "why").read_text() == "--why=carrying out two-slots\n"


def test_a_refusal_is_told_in_the_systems_words_and_stops_nothing(tmp_path: Path) -> None:
    refuses = _script(tmp_path, "echo Access denied >&2; exit 1")
    with kept_awake(why="-", inhibit=refuses) as awake:
        assert not awake.held
        assert awake.how == f"{refuses[0]} says: Access denied"
        assert awake.sentence().startswith("sleep is not held off: ")


def test_a_system_without_such_a_program_is_told(tmp_path: Path) -> None:
    with kept_awake(why="-", inhibit=[str(tmp_path / "none")]) as awake:
        assert not awake.held
        assert "cannot be started: No such file or directory" in awake.how


@pytest.mark.parametrize(
    "body",
    [
        pytest.param("exec >&-; sleep 600", id="closes its output and goes on"),
        pytest.param('shift; echo "no lock"; exec "$@"', id="says something else and goes on"),
        pytest.param("sleep 600", id="says nothing"),
    ],
)
def test_one_that_gives_no_answer_and_does_not_end_holds_up_nobody(
    tmp_path: Path, body: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.rig.awake._ANSWER_S", 0.2)
    asked = _script(tmp_path, body)
    with kept_awake(why="-", inhibit=asked) as awake:
        assert awake.how == f"{asked[0]} did not answer within 0.2 s"
        there = map(described, descendants(os.getpid()))
        assert [each for each in there if asked[0] in each] == []  # it gets no lock later


def test_a_refusal_is_told_while_something_else_holds_the_output_open(tmp_path: Path) -> None:
    other = tmp_path / "other"
    body = f"echo Access denied >&2; (exec >&-; exec sleep 600) & echo $! > {other}; exit 1"
    refuses = _script(tmp_path, body)
    try:
        with kept_awake(why="-", inhibit=refuses) as awake:
            assert awake.how == f"{refuses[0]} says: Access denied"
    finally:
        os.kill(int(other.read_text()), signal.SIGKILL)


def test_a_killed_runner_gives_sleep_back(tmp_path: Path) -> None:
    lock = tmp_path / "lock"
    inhibit = _script(tmp_path, f'shift; exec 9> {lock}; flock 9; "$@"')
    holds = (
        "import os, signal\nfrom harness.rig.awake import kept_awake\n"
        f"with kept_awake(why='-', inhibit={inhibit!r}) as awake:\n"
        "    assert awake.held\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", holds], timeout=30, check=False)
    assert done.returncode == -signal.SIGKILL
    subprocess.run(["flock", "--wait", "30", lock, "true"], check=True)
