"""Readings from the files of the Linux kernel, kept open between looks.

Touches disk. A look at all of them costs about a twentieth of a process start. Formats:
proc(5), and the kernel's documents on iostats, cpufreq, hwmon and the power supply class.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile
from harness.rig.sensors.machine import disk_names
from harness.rig.sensors.own_work import OwnWork
from harness.rig.sensors.source import Absent, Source
from harness.rig.tree import TICKS_PER_S

#: A rate over less than this is not worth having: the one before is given again, seconds.
LEAST_WINDOW_S = 0.2
_PRIMED = "the first look only starts the count"
_KIB_PER_GIB = 1024.0 * 1024.0
#: Chips of hwmon that measure a processor, and the labels of its hottest spot.
_CPU_CHIPS = ("coretemp", "k10temp", "zenpower", "cpu_thermal", "cpu-thermal", "via_cputemp")


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
    fields = [int(field) for field in text[: text.index(b"\n")].split()[1:9]]
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


class Clocks:
    """cpu.clock: the mean of the cores, from the frequency driver."""

    names = ("cpu.clock",)
    each_tick = True

    def __init__(self, files: list[KeptFile], *, where: str) -> None:
        self.where = where
        self._files = files

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, MHz."""
        khz = [int(file.read()) for file in self._files]
        return {"cpu.clock": measured("cpu.clock", sum(khz) / len(khz) / 1000.0)}


def clocks(cpufreq: Path = Path("/sys/devices/system/cpu/cpufreq")) -> Source:
    """Return the source of cpu.clock: what the hardware says, else what the driver says.

    Without a driver (in a virtual machine, mostly) there is none: the list of processors
    then shows one number that stays the same under any load.
    """
    for name in ("cpuinfo_cur_freq", "scaling_cur_freq"):
        try:
            files = [KeptFile(path) for path in sorted(cpufreq.glob(f"policy*/{name}"))]
        except OSError:
            continue
        if files:
            return Clocks(files, where=f"{cpufreq}/policy*/{name}")
    return Absent(where=str(cpufreq), names=Clocks.names, why="no frequency driver is at work here")


class Temperatures:
    """cpu.temperature: the hottest input of the processor's own chips."""

    names = ("cpu.temperature",)
    each_tick = True

    def __init__(self, inputs: list[Path], *, where: str) -> None:
        self.where = where
        self._files = [(KeptFile(path), _fault_of(path)) for path in inputs]

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, °C. An input the chip itself calls faulty is left out."""
        values = [
            int(file.read()) / 1000.0
            for file, fault in self._files
            if fault is None or fault.read().strip() != b"1"
        ]
        if not values:
            return {"cpu.temperature": not_measured("cpu.temperature", "the chip reports a fault")}
        plausible = [value for value in values if measured("cpu.temperature", value).measured]
        return {"cpu.temperature": measured("cpu.temperature", max(plausible or values))}


def temperatures(hwmon: Path = Path("/sys/class/hwmon")) -> Source:
    """Return the source of cpu.temperature. Chips are known by name: their numbers change."""
    inputs: list[Path] = []
    chips: list[str] = []
    for chip in sorted(hwmon.glob("hwmon*")):
        try:
            name = (chip / "name").read_text(encoding="ascii").strip()
        except (OSError, ValueError):
            continue
        if name in _CPU_CHIPS:
            found = sorted(chip.glob("temp*_input"))
            inputs += found
            chips += [name] if found else []
    if not inputs:
        return Absent(
            where=str(hwmon), names=Temperatures.names, why="no processor sensor is shown here"
        )
    return Temperatures(inputs, where=f"{hwmon}: {', '.join(chips)}")


def _fault_of(path: Path) -> KeptFile | None:
    fault = path.with_name(path.name.replace("_input", "_fault"))
    return KeptFile(fault) if fault.exists() else None


class PowerSource:
    """power.source: mains, or battery."""

    names = ("power.source",)
    each_tick = True

    def __init__(self, mains: list[Path], *, where: str) -> None:
        self.where = where
        self._files = [KeptFile(path) for path in mains]

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return ``mains`` where any supply is connected, else ``battery``."""
        on = any(file.read().strip() == b"1" for file in self._files)
        return {"power.source": measured("power.source", "mains" if on else "battery")}


def power_source(supplies: Path = Path("/sys/class/power_supply")) -> Source:
    """Return the source of power.source."""
    mains: list[Path] = []
    for supply in sorted(supplies.glob("*")):
        try:
            kind = (supply / "type").read_text(encoding="ascii").strip()
        except (OSError, ValueError):
            continue
        if kind in ("Mains", "USB") and (supply / "online").exists():
            mains.append(supply / "online")
    if not mains:
        return Absent(
            where=str(supplies),
            names=PowerSource.names,
            why="the kernel shows no power supply here",
        )
    return PowerSource(mains, where=str(supplies))
