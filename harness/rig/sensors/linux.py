"""Load, memory, disks and pressure from the files of the Linux kernel, kept open between looks.

Touches disk. A look at all of them costs about a twentieth of a process start. Formats:
proc(5), and the kernel's documents on iostats and PSI.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile
from harness.rig.sensors.machine import disk_names
from harness.rig.sensors.own_work import OwnWork
from harness.rig.tree import TICKS_PER_S

#: A rate over less than this is not worth having: the one before is given again, seconds.
LEAST_WINDOW_S = 0.2
_PRIMED = "the first look only starts the count"
_KIB_PER_GIB = 1024.0 * 1024.0


class ProcessorTimes:
    """cpu.load, and cpu.load.others: of it, by neither the title nor the harness."""

    names = ("cpu.load", "cpu.load.others")
    each_tick = True

    def __init__(self, *, own: OwnWork, path: Path = Path("/proc/stat")) -> None:
        self.where = str(path)
        self._own = own
        self._file = KeptFile(path, size=512)
        self._before: tuple[float, int, int, float] | None = None
        self._last: Mapping[str, Reading] = {}

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return both over the time since the look before."""
        if self._before is not None and at_s - self._before[0] < LEAST_WINDOW_S:
            return self._last
        busy, total = parse_cpu_line(self._file.read())
        own_s = self._own.spent_s()
        before, self._before = self._before, (at_s, busy, total, own_s)
        if before is None or total <= before[2]:
            self._last = {name: not_measured(name, _PRIMED) for name in self.names}
            return self._last
        span = total - before[2]
        load = 100.0 * (busy - before[1]) / span
        # The kernel counts a core in ticks: their sum over all cores is the span of the look.
        own = 100.0 * (own_s - before[3]) * TICKS_PER_S / span
        others = (
            not_measured(self.names[1], "a process of the title ended and nobody counted its time")
            if own < -0.5
            else measured(self.names[1], min(100.0, max(0.0, load - own)))
        )
        self._last = {"cpu.load": measured("cpu.load", load), self.names[1]: others}
        return self._last


def parse_cpu_line(text: bytes) -> tuple[int, int]:
    """Return the busy and all ticks of the first line of ``/proc/stat``, summed over cores.

    user nice system idle iowait irq softirq steal guest guest_nice; guest time is within
    user and nice, waiting for a disk is idle, time taken by another machine is busy.
    """
    fields = list(map(int, text[: text.index(b"\n")].split(None, 9)[1:9]))
    fields += [0] * (8 - len(fields))
    total = sum(fields)
    return total - fields[3] - fields[4], total


class Memory:
    """memory.available."""

    names = ("memory.available",)
    each_tick = True

    def __init__(self, path: Path = Path("/proc/meminfo")) -> None:
        self.where = str(path)
        self._file = KeptFile(path)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, GiB."""
        return {
            "memory.available": measured(
                "memory.available", gib(self._file.read(), b"MemAvailable:")
            )
        }


def gib(meminfo: bytes, key: bytes) -> float:
    """Return one line of ``/proc/meminfo``, in GiB."""
    start = meminfo.index(key) + len(key)
    return int(meminfo[start : meminfo.index(b"kB", start)]) / _KIB_PER_GIB


class DiskBusy:
    """disk.busy: the share of time the busiest disk had something to do."""

    names = ("disk.busy",)
    each_tick = True

    def __init__(
        self, path: Path = Path("/proc/diskstats"), *, blocks: Path = Path("/sys/block")
    ) -> None:
        self.where = str(path)
        self._file = KeptFile(path, size=65536)
        self._disks = {os.fsencode(name) for name in disk_names(blocks)}
        self._before: tuple[float, dict[bytes, int]] | None = None
        self._last: Mapping[str, Reading] = {}

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it over the time since the look before."""
        if self._before is not None and at_s - self._before[0] < LEAST_WINDOW_S:
            return self._last
        busy_ms = parse_busy_ms(self._file.read(), self._disks)
        before, self._before = self._before, (at_s, busy_ms)
        if before is None:
            reading = not_measured("disk.busy", _PRIMED)
        elif not busy_ms:
            reading = not_measured("disk.busy", "this rig shows no disk of its own")
        else:
            span_ms = 1000.0 * (at_s - before[0])
            most = max(ms - before[1].get(disk, ms) for disk, ms in busy_ms.items())
            reading = measured("disk.busy", min(100.0, 100.0 * most / span_ms))
        self._last = {"disk.busy": reading}
        return self._last


def parse_busy_ms(diskstats: bytes, disks: Collection[bytes]) -> dict[bytes, int]:
    """Return the time each of *disks* had something to do so far, ms (its 10th field)."""
    found: dict[bytes, int] = {}
    for disk in disks:
        start = diskstats.find(b" %s " % disk)
        if start >= 0:
            end = diskstats.find(b"\n", start)
            fields = diskstats[start : end if end >= 0 else None].split(None, 11)
            if len(fields) > 10:
                found[disk] = int(fields[10])
    return found


class Pressure:
    """cpu.pressure, memory.pressure, disk.pressure: the time that some work waited for each.

    The kernel's document on PSI: ``total`` of the line ``some`` counts microseconds. At the
    first look there is nothing to count from: that is the kernel's own mean of ten seconds.
    """

    names = ("cpu.pressure", "memory.pressure", "disk.pressure")
    #: Asked for by a gate or a guard only: the kernel sums up all its processors for an answer.
    each_tick = False

    def __init__(self, folder: Path = Path("/proc/pressure")) -> None:
        self.where = str(folder)
        files = ("cpu", "memory", "io")
        self._files = [
            (name, KeptFile(folder / file)) for name, file in zip(self.names, files, strict=True)
        ]
        self._before_s: float | None = None
        self._before_us: dict[str, int] = {}
        self._last: Mapping[str, Reading] = {}

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return each over the time since the look before, %; one that fails costs no other."""
        span_s = at_s - self._before_s if self._before_s is not None else None
        if span_s is not None and span_s < LEAST_WINDOW_S:
            return self._last
        self._before_s = at_s
        self._last = {name: self._share(name, file, span_s) for name, file in self._files}
        return self._last

    def _share(self, name: str, file: KeptFile, span_s: float | None) -> Reading:
        before_us = self._before_us.pop(name, None)
        try:
            mean_10s, waited_us = parse_pressure(file.read())
        except (OSError, ValueError) as error:
            why = error.strerror if isinstance(error, OSError) else "it has no line of that form"
            return not_measured(name, f"cannot be read: {why}", raw=str(file.path))
        self._before_us[name] = waited_us
        if before_us is None or span_s is None:
            return measured(name, mean_10s, raw="the kernel's mean of the last 10 s")
        return measured(name, min(100.0, 100.0 * (waited_us - before_us) / (1e6 * span_s)))


def parse_pressure(text: bytes) -> tuple[float, int]:
    r"""Return the mean of ten seconds, %, and the total, µs, of the line ``some``.

    Raises:
        ValueError: there is no such line.

    >>> parse_pressure(b"some avg10=1.50 avg60=0.20 avg300=0.05 total=123456\nfull avg10=0.75")
    (1.5, 123456)
    """
    line = text[text.index(b"some ") :].split(b"\n", 1)[0]
    fields = dict(field.split(b"=", 1) for field in line.split()[1:])
    try:
        return float(fields[b"avg10"]), int(fields[b"total"])
    except KeyError as missing:
        raise ValueError(f"no field {missing}") from None
