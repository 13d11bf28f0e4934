"""Who else was at work in a pass, by two looks at made processes, and once at real ones."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace

from harness.rig.other_processes import OtherProcesses
from harness.rig.tasks import OtherLoad
from harness.rig.tree import TICKS_PER_S, Process, ProcessId


def made(pid: int, name: str, *, busy_s: float, started: int = 1) -> Process:
    return Process(
        id=ProcessId(pid, started),
        name=name,
        state="S",
        parent=1,
        own_ticks=round(busy_s * TICKS_PER_S),
        reaped_ticks=0,
    )


def looked(
    before: list[Process],
    after: list[Process],
    *,
    family: frozenset[int] = frozenset(),
    watched: tuple[str, ...] = ("cpu.load.others",),
) -> tuple[OtherLoad, ...]:
    looks: Iterator[list[Process]] = iter([before, after])
    clock = iter([100.0, 110.0])
    others = OtherProcesses(
        watched,
        look=lambda: next(looks),
        family=lambda: family,
        steady_s=lambda: next(clock),
        cores=4,
    )
    return others.after()


INDEXER = made(40, "indexer", busy_s=100.0)


def test_the_busiest_come_first_with_their_share_of_all_processors() -> None:
    mail = made(41, "mail", busy_s=3.0)
    found = looked(
        [mail, INDEXER], [made(41, "mail", busy_s=4.0), made(40, "indexer", busy_s=120.0)]
    )
    assert found == (
        OtherLoad(name="indexer", pid=40, share=0.5),
        OtherLoad(name="mail", pid=41, share=0.025),
    )


def test_what_started_in_between_counts_from_its_start() -> None:
    (found,) = looked([], [made(77, "update", busy_s=4.0)])
    assert (found.name, found.share) == ("update", 0.1)


def test_a_number_that_was_given_out_again_is_another_process() -> None:
    reborn = replace(made(40, "update", busy_s=4.0), id=ProcessId(40, 999))
    (found,) = looked([INDEXER], [reborn])
    assert found.share == 0.1


def test_the_harness_and_what_it_started_are_left_out() -> None:
    assert looked([], [made(50, "title", busy_s=40.0)], family=frozenset({50})) == ()


def test_small_shares_are_not_worth_a_name_and_no_more_than_three_are() -> None:
    after = [made(n, f"p{n}", busy_s=n / 10) for n in range(1, 9)]
    assert [each.pid for each in looked([], after)] == [8, 7, 6]
    assert looked([], [made(1, "idle", busy_s=0.1)]) == ()


def test_nobody_looks_where_no_guard_asks() -> None:
    assert looked([INDEXER], [INDEXER], watched=("gpu.temperature",)) == ()


def test_a_real_process_that_is_at_work_is_seen() -> None:
    others = OtherProcesses(("cpu.load.others",), family=lambda: frozenset())
    work = "import time\nwhile time.process_time() < 0.3: pass\nprint(flush=True)\ninput()"
    with subprocess.Popen(
        [sys.executable, "-c", work], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()  # the work is done, and the process still there
        found = others.after(most=100)
        process.communicate(b"\n")
    (seen,) = [each for each in found if each.pid == process.pid]
    assert 0.0 < seen.share <= 1.0
