"""Figures 22 and 23: what the daemon costs a rig while it waits, and what it holds.

Touches disk, processes and the clock. A real daemon with one plan on its queue, whose night is
far away; processor time and wake-ups are the kernel's own counts of all its threads, over the
spans between its looks and across them.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from bench.pairs import Line, spread
from harness.rig.clock import MachineClock

ROOT = Path(__file__).resolve().parent.parent.parent

SPANS, SPAN_S = 4, 15.0  # two looks in a minute: each pair of spans holds one

_PLAN = """
plan: nights
limits: [{reading: memory.available, at_least: 0.001 GiB}]
settings: {one: {size: 16x16}}
titles:
  - title: Copper Fen
    scene: causeway
    settings: [one]
    command: [copper-fen]
    time_limit: 30 s
    figures: {length: {from: wall_time, better: lower}}
passes: {keep: 1, at_most: 1}
"""


def idle() -> Iterator[Line]:
    """Figure 22: processor time and wake-ups of a daemon that waits."""
    with _daemon() as pid:
        shares, wakes = [], []
        for _ in range(SPANS):
            ticks, woken = _ticks(pid), _wakes(pid)
            MachineClock().pause(SPAN_S)
            shares.append(100 * (_ticks(pid) - ticks) / os.sysconf("SC_CLK_TCK") / SPAN_S)
            wakes.append((_wakes(pid) - woken) / SPAN_S)
    yield spread("a daemon that waits, of a core", shares, limit=0.1, unit="%")
    yield spread("a daemon that waits, wake-ups a second", wakes, limit=2.0, unit="/s")


def held() -> Line:
    """Figure 23, the daemon's part: memory that it holds once it waits."""
    found = []
    for _ in range(3):
        with _daemon() as pid:
            status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
            rss = next(line for line in status.splitlines() if line.startswith("VmRSS:"))
            found.append(int(rss.split()[1]) / 1000)
    return spread(
        "a daemon that waits, resident", found, limit=60.0, unit="MB", note="without the page"
    )


@contextmanager
def _daemon() -> Iterator[int]:
    """Start a daemon and let it come to rest; return its number."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan = folder / "nights.yaml"
        plan.write_text(_PLAN, encoding="utf-8")
        own = {"HARNESS_RIG": str(folder / "rig"), "PYTHONPATH": str(ROOT)}
        door = [sys.executable, "-m", "harness"]
        asked = [*door, "queue", str(plan), "--at", "2099-01-01 22:30", "--store", name]
        quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL}
        subprocess.run(asked, check=True, env=os.environ | own, **quiet)  # type: ignore[call-overload]
        log = folder / "rig" / "daemon.log"
        watch = [*door, "daemon", "--no-page"]
        with subprocess.Popen(watch, env=os.environ | own, **quiet) as daemon:  # type: ignore[call-overload]
            try:
                _wait_until_it_waits(log)
                yield daemon.pid
            finally:
                daemon.send_signal(signal.SIGTERM)
                daemon.wait(timeout=30)


def _wait_until_it_waits(log: Path) -> None:
    for _ in range(300):
        lines = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
        if any(json.loads(line)["event"] == "next start" for line in lines):
            MachineClock().pause(1.0)
            return
        MachineClock().pause(0.1)
    raise RuntimeError("the daemon never came to wait")


def _tasks(pid: int) -> list[Path]:
    return sorted(Path(f"/proc/{pid}/task").iterdir())


def _ticks(pid: int) -> int:
    """Return processor time of all its threads, in clock ticks."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return int(fields[11]) + int(fields[12])


def _wakes(pid: int) -> int:
    """Return how often its threads have slept of their own accord."""
    count = 0
    for task in _tasks(pid):
        status = (task / "status").read_text(encoding="ascii")
        count += int(status.partition("\nvoluntary_ctxt_switches:")[2].split()[0])
    return count


FIGURES = {22: idle, 23: held}
