"""Figures 15, 16 and 21: what looking at the rig costs a title, and what telling that costs.

Touches disk, processes and the clock. The title is a process of its own on one core, whose frames
are the same work every time, logged by the clock; the sampler is the real one, once a second, on
another core or on the title's. Its cost is read from the title's own log as after every pass
(harness/rules/observer.py). Beside figure 15 stands what the same frames tell as mere durations.
"""

from __future__ import annotations

import contextlib
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from bench.pairs import LEAST_PAIRS, Line, spread
from harness.rig.captures.assembly import frame_times
from harness.rig.captures.declared import Declared
from harness.rig.captures.read import read_capture
from harness.rig.captures.times import FrameTimes
from harness.rig.clock import MachineClock
from harness.rig.process import Started
from harness.rig.sampler import Sampler
from harness.rig.sensors.own_work import OwnWork
from harness.rig.sensors.registry import machine_sensors
from harness.rig.tasks import Sampling
from harness.rig.tree import ProcessId
from harness.rules.guards import GuardWatch
from harness.rules.observer import harness_cost
from harness.rules.student import t_quantile

SECONDS = 40.0
WINDOW_S, WINDOWS = 1.5, 48  #: of figure 16; of four, the first has looks, the third is A/A
TOLD = 1.05  #: the end of A/A's interval, on a quiet machine
FRAMES, RATE_HZ = 18_000, 300.0
#: argv: core, seconds, log. A frame is some milliseconds' worth of the same sums.
TITLE = """
import hashlib, os, sys, time
core, seconds, log = int(sys.argv[1]), float(sys.argv[2]), sys.argv[3]
os.sched_setaffinity(0, {core})
now, block = (lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME)), bytes(4096)
def frame(sums):
    for _ in range(sums):
        hashlib.sha256(block).digest()
took = []
for _ in range(50):
    began = now(); frame(20); took.append(now() - began)
sums = max(1, round(20 * 1.5e6 / sorted(took)[25]))
at = [now()]
end = at[0] + seconds * 1e9
while at[-1] < end:
    frame(sums)
    at.append(now())
with open(log, "w") as file:
    file.write("at_ns\\n" + "".join(f"{each}\\n" for each in at))
"""

Log = tuple[FrameTimes, float, float]  # the frames, when the title was started, how long it ran


def a_look() -> Iterator[Line]:
    """Figure 15: what a look costs the frames around it, on another core and on the title's."""
    cores = sorted(os.sched_getaffinity(0))
    for core, where, limit in ((cores[0], "another core", 0.05), (cores[-1], "its core", 0.2)):
        if where == "another core" and len(cores) == 1:
            continue
        sampler, (times, _, wall_s) = _watched(core=core, title_core=cores[-1])
        for laid, began_ms in (("", times.began_ms), (", durations alone", None)):
            times.began_ms = began_ms
            cost = harness_cost(times, sampler.sampling(), wall_s=wall_s)
            if cost.cost_ms is None or cost.low_ms is None or cost.high_ms is None:
                raise RuntimeError(f"not measured: {cost.why}")
            # On another core the whole interval must be near none; on the title's the cost
            # itself is asked for, where the machine is quiet enough to tell it.
            furthest = max(-cost.low_ms, cost.high_ms)
            vague = cost.high_ms - cost.low_ms > 2 * limit
            far = vague or where == "another core"
            share = 100.0 * (cost.most_share or 0.0)
            yield Line(
                name=f"a look from {where}{laid}" + (", furthest end" if far else ""),
                value=furthest if far else cost.cost_ms,
                low=cost.low_ms,
                high=cost.high_ms,
                limit=None if laid else limit,
                unit="ms",
                note=f"95 % interval of {cost.looks} looks, cost {cost.cost_ms:.3f} ms; at most "
                f"{share:.4f} % of the pass; laid by {cost.laid}"
                + ("; this machine is not quiet enough to tell" if vague else ""),
            )


def windows() -> Iterator[Line]:
    """Figure 16: the longest frames of windows with looks against those beside, and A/A."""
    cores = sorted(os.sched_getaffinity(0))
    with tempfile.TemporaryDirectory() as name, _pinned(cores[0]):
        clock, log = MachineClock(), Path(name) / "log.csv"
        command = _title(cores[-1], WINDOW_S * (WINDOWS + 1), log)
        with subprocess.Popen(command) as title:
            clock.pause(WINDOW_S / 2)
            began_s = clock.steady_s()
            for number in range(WINDOWS):
                if number % 4 == 0:
                    sampler, begin = _sampler(clock, Path(name), number)
                    begin(title.pid)
                    clock.pause(began_s + WINDOW_S * (number + 0.95) - clock.steady_s())
                    sampler.finish()
                clock.pause(began_s + WINDOW_S * (number + 1) - clock.steady_s())
        times = _frames(log)
    assert times.began_ms is not None
    worst = _worst(times.opening, times.began_ms / 1000.0, began_s)
    sides = {
        place: [
            math.log(2 * worst[at] / (worst[at - 1] + worst[at + 1]))
            for at in range(place, WINDOWS - 1, 4)
            if at
        ]
        for place in (0, 2)
    }
    same = _interval("worst 1 %, windows A/A inside a pass", sides[2])
    note = f"95 % interval of {len(sides[2])} windows of {WINDOW_S:g} s"
    quiet = max(1 / same.low, same.high) <= TOLD
    yield replace(same, note=note + ("" if quiet else "; this machine is not quiet enough to tell"))
    looks = _interval("worst 1 %, with looks / without, inside a pass", sides[0])
    yield replace(looks, limit=TOLD, note=f"95 % interval; A/A {same.low:.3g} to {same.high:.3g}")


def telling() -> Iterator[Line]:
    """Figure 21, its part: what is added between passes by telling what the harness cost."""
    for laid, began_ms in (("clock values", 1_000_100.0), ("durations", None)):
        frame_ms = 1000.0 / RATE_HZ
        frames = [frame_ms + 0.05 * (place * 7 % 13) / 13 for place in range(FRAMES)]
        times = frame_times(frames)
        times.began_ms = began_ms
        looks = tuple((1000.0 + tick, 1000.0 + tick + 0.0004) for tick in range(60))
        sampling = Sampling(started_s=1000.0, interval_s=1.0, looks=looks)
        took_ms = []
        for _ in range(LEAST_PAIRS):
            began = time.perf_counter()
            harness_cost(times, sampling, wall_s=61.0)
            took_ms.append(1000.0 * (time.perf_counter() - began))
        yield spread(f"the harness's cost told of {FRAMES} frames, {laid}", took_ms, unit="ms")


# ------------------------------------------------------------------------------------ a pass


def _watched(*, core: int, title_core: int) -> tuple[Sampler, Log]:
    with tempfile.TemporaryDirectory() as name, _pinned(core):
        clock, log = MachineClock(), Path(name) / "log.csv"
        sampler, begin = _sampler(clock, Path(name), 0)
        started_s = clock.steady_s()
        with subprocess.Popen(_title(title_core, SECONDS, log)) as title:
            begin(title.pid)
        wall_s = clock.steady_s() - started_s
        sampler.finish()
        return sampler, (_frames(log), started_s, wall_s)


def _title(core: int, seconds: float, log: Path) -> list[str]:
    return [sys.executable, "-I", "-S", "-c", TITLE, str(core), str(seconds), str(log)]


def _sampler(
    clock: MachineClock, folder: Path, number: int
) -> tuple[Sampler, Callable[[int], None]]:
    own = OwnWork()
    sensors = machine_sensors(store=folder, clock=clock, own=own)
    lines, watch = folder / f"{number}.jsonl", GuardWatch((), ())
    sampler = Sampler(sensors=sensors, clock=clock, watch=watch, lines=lines, follow=own.follow)

    def begin(pid: int) -> None:
        started = Started(id=ProcessId(pid, 0), descriptor=-1, started_s=clock.steady_s())
        sampler.begin(started, each_tick=lambda: None)

    return sampler, begin


def _frames(log: Path) -> FrameTimes:
    declared = Declared(column="at_ns", unit="ns", values="clock")
    capture = read_capture(os.fspath(log), declared)
    if capture.times is None:
        raise RuntimeError(f"the title's log: {capture.troubles}")
    return capture.times


@contextlib.contextmanager
def _pinned(core: int) -> Iterator[None]:
    """Keep this process, and the threads it starts, on one core."""
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {core})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


# ----------------------------------------------------------------------------------- windows


def _worst(frames: Sequence[float], first_s: float, began_s: float) -> list[float]:
    """Return the mean of the longest hundredth of the frames of each window, ms."""
    of_window: list[list[float]] = [[] for _ in range(WINDOWS)]
    now_s = first_s
    for frame in frames:
        place = int((now_s - began_s) // WINDOW_S)
        if 0 <= place < WINDOWS:
            of_window[place].append(frame)
        now_s += frame / 1000.0
    return [statistics.fmean(sorted(each)[-max(1, len(each) // 100) :]) for each in of_window]


def _interval(name: str, logs: Sequence[float]) -> Line:
    middle = statistics.fmean(logs)
    half = t_quantile(0.975, df=len(logs) - 1) * statistics.stdev(logs) / math.sqrt(len(logs))
    low, value, high = (math.exp(each) for each in (middle - half, middle, middle + half))
    return Line(name=name, value=value, low=low, high=high)


FIGURES = {15: a_look, 16: windows, 21: telling}
