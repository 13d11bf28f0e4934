"""Figures 13, 14, 19 and 20: the sampler, and starting and ending a command.

Touches disk, processes and the clock.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psutil

from bench.pairs import Line, ratio
from harness.rig import launcher
from harness.rig.clock import MachineClock
from harness.rig.command import Commands, Patience
from harness.rig.ending import become_subreaper
from harness.rig.locks import RigLock
from harness.rig.process import Started, inherited, start
from harness.rig.sampler import Sampler
from harness.rig.sensors.own_work import OwnWork
from harness.rig.sensors.registry import machine_sensors
from harness.rig.tree import ProcessId
from harness.rules.guards import GuardWatch

PAIRS = 15
LOOKS = 200
#: A tree as a launcher leaves it: a child, a helper in its own session, and one twice forked.
TREE = """
import os, subprocess, sys, time
sleep = [sys.executable, "-S", "-c", "import time; time.sleep(60)"]
for own in (False, True, True):
    subprocess.Popen(sleep, start_new_session=own)
if os.fork() == 0:
    os.setsid()
    if os.fork() == 0:
        time.sleep(60)
    os._exit(0)
open(sys.argv[1], "w").close()
time.sleep(60)
"""


def sample() -> Line:
    """Figure 13: one sample of the kernel's files against psutil's calls for the same."""
    clock = MachineClock()
    sensors = machine_sensors(store=Path.cwd(), clock=clock, own=OwnWork())

    def ours() -> None:
        for _ in range(LOOKS):
            sensors.sample()

    def theirs() -> None:
        for _ in range(LOOKS):
            psutil.cpu_times()
            psutil.virtual_memory()
            psutil.disk_io_counters(perdisk=True)
            psutil.disk_usage("/")
            psutil.sensors_battery()
            psutil.sensors_temperatures()

    # Rates are worked out anew only after a while: here every look is to count.
    from harness.rig.sensors import linux

    linux.LEAST_WINDOW_S = 0.0
    return ratio("one sample / psutil's calls for the same", ours, theirs, PAIRS, limit=0.25)


def sampling() -> Iterator[Line]:
    """Figure 14: what the sampler's thread costs beside a command, of a core; how late it is."""
    shares, late_ms, seconds = [], [], 8
    with tempfile.TemporaryDirectory() as name:
        clock, own = MachineClock(), OwnWork()
        sensors = machine_sensors(store=Path(name), clock=clock, own=own)
        for number in range(4):
            lines = Path(name) / f"{number}.jsonl"
            sampler = Sampler(
                sensors=sensors,
                clock=clock,
                watch=GuardWatch((), ()),
                lines=lines,
                follow=own.follow,
            )
            with subprocess.Popen(["sleep", str(seconds)]) as command:
                identity = ProcessId(command.pid, 0)
                began_s = clock.steady_s()
                sampler.begin(
                    Started(id=identity, descriptor=-1, started_s=began_s), each_tick=_nothing
                )
            sampler.finish()
            shares.append(100 * sampler.cpu_s / seconds)
            into_s = [json.loads(line)["into_s"] for line in lines.read_text().splitlines()]
            late_ms += [1000 * (into - tick) for tick, into in enumerate(into_s[:seconds])]
    yield _line("sampler beside a command, of a core", shares, 0.05, "%")
    yield _line("sample after its deadline", late_ms, None, "ms")


def ending() -> Iterator[Line]:
    """Figure 19: from the order to the proof of an empty tree, own sessions and orphans too."""
    become_subreaper()
    for grace_s, name in ((5.0, "TERM obeyed"), (0.0, "KILL at once")):
        took_ms, left = [], 0
        with tempfile.TemporaryDirectory() as made:
            folder = Path(made)
            commands = Commands(
                lock=RigLock(folder),
                clock=MachineClock(),
                given=inherited(),
                folder=folder,
                patience=Patience(grace_s=grace_s, ask_every_s=0.001),
            )
            for number in range(9):
                ready, asked = folder / f"ready-{number}", list[float]()

                def stop(ready: Path = ready, asked: list[float] = asked) -> bool:
                    if ready.exists() and not asked:
                        asked.append(time.perf_counter())
                    return bool(asked)

                end = commands.carry_out(
                    (sys.executable, "-c", TREE, str(ready)),
                    time_limit_s=60.0,
                    token=f"figure:{number}",
                    stdout=folder / "out",
                    stderr=folder / "err",
                    stop=stop,
                )
                took_ms.append(1000 * (time.perf_counter() - asked[0]))
                left += len(end.survivors)
        note = f"{left} survivors"
        yield _line(f"order -> proof of an empty tree of 5, {name}", took_ms, 20, "ms", note)


def starting() -> Iterator[Line]:
    """Figure 20: starting a command against a bare spawn through the same launcher."""
    become_subreaper()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lock = RigLock(folder)
        out, err = folder / "out", folder / "err"

        def ours() -> None:
            handed_over = lock.take()
            assert handed_over is not None
            started = start(
                ("true",),
                folder=folder,
                environment=dict(os.environ),
                stdout=out,
                stderr=err,
                handed_over=handed_over,
                given=inherited(),
            )
            assert isinstance(started, Started)
            os.waitpid(started.id.pid, 0)
            os.close(started.descriptor)

        cores = ",".join(map(str, os.sched_getaffinity(0)))

        def bare() -> None:
            read_fd, write_fd = os.pipe()
            os.set_inheritable(write_fd, True)
            words = [str(write_fd), str(os.getpid()), cores, "0", "", name, "true"]
            argv = [sys.executable, "-I", "-S", launcher.__file__, *words]
            pid = os.posix_spawn(sys.executable, argv, os.environ, setsid=True)
            os.waitpid(pid, 0)
            os.close(read_fd)
            os.close(write_fd)

        yield ratio("start to end of `true` / bare spawn", ours, bare, PAIRS, limit=1.3)
        commands = Commands(lock=lock, clock=MachineClock(), given=inherited(), folder=folder)

        def whole() -> None:
            commands.carry_out(
                ("true",), time_limit_s=9, token="x", stdout=out, stderr=err, stop=lambda: False
            )

        note = "with the proof that nothing is left"
        yield ratio("one whole command / bare spawn", whole, bare, PAIRS, note=note)


def _nothing() -> None:
    pass


def _line(name: str, values: list[float], limit: float | None, unit: str, note: str = "") -> Line:
    low, middle, high = statistics.quantiles(values, n=4)
    return Line(name=name, value=middle, low=low, high=high, limit=limit, unit=unit, note=note)


FIGURES = {13: sample, 14: sampling, 19: ending, 20: starting}
