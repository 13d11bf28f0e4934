from __future__ import annotations

import os
import subprocess
import sys
import threading

import pytest

from harness.rig.process import inherited, keep_to_last_core, share_cores_of


@pytest.mark.parametrize(
    ("cores", "kept"),
    [({0, 1, 2, 3}, {3}), ({4, 6, 7}, {7}), ({0, 1}, {0, 1}), ({5}, {5})],
)
def test_the_runner_keeps_to_a_core_of_its_own_where_there_are_several(
    monkeypatch: pytest.MonkeyPatch, cores: set[int], kept: set[int]
) -> None:
    now = set(cores)
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: set(now))

    def set_to(pid: int, wanted: set[int]) -> None:
        now.clear()
        now.update(wanted)

    monkeypatch.setattr(os, "sched_setaffinity", set_to)
    given = inherited()
    keep_to_last_core()
    assert now == kept
    assert given.cores == cores, "a command gets back what the runner was given"


@pytest.mark.skipif(len(os.sched_getaffinity(0)) < 2, reason="one core is all there is to have")
def test_only_the_thread_that_looks_goes_wherever_the_title_may() -> None:
    cores = os.sched_getaffinity(0)
    title = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    seen: list[set[int]] = []

    def look() -> None:
        share_cores_of(title.pid)
        seen.append(os.sched_getaffinity(0))

    try:
        os.sched_setaffinity(0, {max(cores)})
        looking = threading.Thread(target=look)
        looking.start()
        looking.join()
        assert seen == [cores]
        assert os.sched_getaffinity(0) == {max(cores)}
    finally:
        os.sched_setaffinity(0, cores)
        title.communicate(b"\n")


def test_a_title_that_has_gone_leaves_the_thread_where_it_is() -> None:
    cores = os.sched_getaffinity(0)
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    share_cores_of(gone.pid)
    assert os.sched_getaffinity(0) == cores
