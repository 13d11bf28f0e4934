from __future__ import annotations

import os

import pytest

from harness.rig.process import inherited, keep_to_last_core


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
