from __future__ import annotations

import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.rig.clock import MachineClock, boot_id, steady_ns
from harness.rig.stop import StopFlag
from harness.run.ports import Clock


@pytest.fixture
def flag() -> Iterator[StopFlag]:
    flag = StopFlag()
    yield flag
    flag.close()


def test_the_instant_is_aware_and_utc() -> None:
    now = MachineClock().now()
    assert now.utcoffset() is not None
    assert abs(now.timestamp() - time.time()) < 1


def test_the_steady_clock_agrees_with_the_time_since_the_machine_started() -> None:
    # proc_uptime(5): the first field, seconds since boot, suspend included.
    uptime_s = float(Path("/proc/uptime").read_text().split()[0])
    assert MachineClock().steady_s() == pytest.approx(uptime_s, abs=0.5)
    assert steady_ns() / 1e9 == pytest.approx(uptime_s, abs=0.5)


def test_a_machine_that_never_slept_was_not_suspended() -> None:
    clock = MachineClock()
    assert abs(clock.suspended_s() - (clock.steady_s() - clock.awake_s())) < 0.01


def test_a_process_that_is_kept_waiting_between_two_clocks_does_not_take_that_for_a_sleep(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    clock, real = MachineClock(), time.clock_gettime
    waits = [0.06, 0.2, 0.06]

    def waiting(which: int) -> float:
        found = real(which)
        time.sleep(waits.pop() if waits else 0.0)  # the processor is with somebody else
        return found

    before_s = clock.suspended_s()
    monkeypatch.setattr(time, "clock_gettime", waiting)
    assert abs(clock.suspended_s() - before_s) < 0.02
    assert not waits


def test_the_boot_is_known_by_the_kernels_own_name_for_it() -> None:
    assert boot_id() == Path("/proc/sys/kernel/random/boot_id").read_text().strip()


def test_a_whole_wait_says_so() -> None:
    clock: Clock = MachineClock()
    began = time.monotonic()
    assert clock.wait(0.05, lambda: False)
    assert time.monotonic() - began >= 0.05


def test_a_wait_that_is_broken_off_says_so_without_waiting() -> None:
    began = time.monotonic()
    assert not MachineClock().wait(float("inf"), lambda: True)
    assert time.monotonic() - began < 0.05


def test_a_raised_flag_wakes_a_wait_without_end_at_once(flag: StopFlag) -> None:
    timer = threading.Timer(0.1, flag.raise_for, ("told to",))
    timer.start()
    began = time.monotonic()
    assert not MachineClock(flag).wait(float("inf"), flag)
    assert time.monotonic() - began < 0.3
    timer.join()


def test_a_signal_handler_may_raise_it_and_wakes_the_wait(flag: StopFlag) -> None:
    before = signal.signal(signal.SIGALRM, lambda *_: flag.raise_for("told to"))
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.1)
        began = time.monotonic()
        assert not MachineClock(flag).wait(30.0, flag)
        assert time.monotonic() - began < 0.3
    finally:
        signal.signal(signal.SIGALRM, before)


def test_a_flag_keeps_its_first_reason_and_counts(flag: StopFlag) -> None:
    assert not flag()
    flag.raise_for("SIGTERM came")
    flag.raise_for("Ctrl-C")
    assert (flag(), flag.in_a_hurry, flag.reason) == (True, True, "SIGTERM came")


def test_a_flag_raised_very_often_blocks_nobody(flag: StopFlag) -> None:
    for _ in range(100_000):
        flag.raise_for("again")
    flag.drain()
    assert flag.times == 100_000
