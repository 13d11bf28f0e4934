from __future__ import annotations

import os
from collections.abc import Callable

import pytest

from harness.rig.sensors.own_work import OwnWork
from harness.rig.tree import TICKS_PER_S, Process, ProcessId


class _Rig:
    """A table of processes as the kernel would show it."""

    def __init__(self) -> None:
        self.table: dict[int, Process] = {}
        self.newest = 100
        self.reads: list[int] = []
        self.waited_s = 0.0

    def start(self, pid: int, parent: int, own: int = 0, reaped: int = 0) -> None:
        self.table[pid] = Process(
            id=ProcessId(pid, pid),
            name="x",
            state="R",
            parent=parent,
            own_ticks=own,
            reaped_ticks=reaped,
        )
        self.newest = max(self.newest, pid)

    def read(self, pid: int) -> Process | None:
        self.reads.append(pid)
        return self.table.get(pid)

    def ticks(self, who: ProcessId) -> Callable[[], int | None]:
        """Give the time of one process, as its kept file does; None once it is another."""

        def spent() -> int | None:
            found = self.read(who.pid)
            same = found is not None and found.id == who
            return found.own_ticks + found.reaped_ticks if found is not None and same else None

        return spent

    def session(self, pid: int) -> int | None:
        """Give the session of a process: that of its parent, but below init and the runner."""
        found = self.table.get(pid)
        if found is None:
            return None
        return pid if found.parent in (1, os.getpid()) else self.session(found.parent)


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> _Rig:
    rig = _Rig()
    monkeypatch.setattr(
        "harness.rig.sensors.own_work._is_process", lambda number: number in rig.table
    )
    return rig


def _work(rig: _Rig) -> OwnWork:
    return OwnWork(
        read=rig.read,
        ticks=rig.ticks,
        session=rig.session,
        newest=lambda: rig.newest,
        harness_s=lambda: 0.0,
        waited_s=lambda: rig.waited_s,
    )


def _ticks(work: OwnWork) -> float:
    return work.spent_s() * TICKS_PER_S


def test_a_child_started_between_two_looks_is_counted(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=10)
    work = _work(rig)
    work.follow(101)
    assert _ticks(work) == pytest.approx(10)
    rig.start(103, 101, own=5)
    rig.start(104, 103, own=2)
    assert _ticks(work) == pytest.approx(17)


def test_a_stranger_started_meanwhile_is_not(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=10)
    work = _work(rig)
    work.follow(101)
    work.spent_s()
    rig.start(102, 1, own=500)
    assert _ticks(work) == pytest.approx(10)


def test_an_orphan_below_the_runner_is_counted(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=10)
    work = _work(rig)
    work.follow(101)
    rig.start(105, os.getpid(), own=3)
    assert _ticks(work) == pytest.approx(13)


def test_nothing_is_counted_twice_when_a_child_is_reaped(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=10)
    rig.start(102, 101, own=40)
    work = _work(rig)
    work.follow(101)
    before = work.spent_s()
    del rig.table[102]
    rig.start(101, os.getpid(), own=10, reaped=40)
    assert work.spent_s() == pytest.approx(before)


def test_the_count_goes_on_when_the_title_has_ended(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=70)
    work = _work(rig)
    work.follow(101)
    before = work.spent_s()
    del rig.table[101]
    rig.waited_s = 70 / TICKS_PER_S
    assert work.spent_s() == pytest.approx(before)


def test_a_number_used_again_by_a_stranger_is_not_counted(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=10)
    work = _work(rig)
    work.follow(101)
    rig.table[101] = Process(
        id=ProcessId(101, 999), name="y", state="R", parent=1, own_ticks=800, reaped_ticks=0
    )
    assert _ticks(work) == pytest.approx(0)


def test_a_look_reads_only_what_is_known_and_what_is_new(rig: _Rig) -> None:
    for pid in range(1, 100):
        rig.start(pid, 1)
    rig.start(101, os.getpid(), own=10)
    work = _work(rig)
    work.follow(101)
    work.spent_s()
    rig.reads.clear()
    rig.start(102, 1)
    work.spent_s()
    assert sorted(rig.reads) == [101, 102]


def test_without_a_title_only_the_harness_counts(rig: _Rig) -> None:
    rig.start(101, os.getpid(), own=10)
    work = _work(rig)
    work.follow(101)
    work.follow(None)
    assert work.spent_s() == 0.0
