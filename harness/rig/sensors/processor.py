"""The processor's clocks, and whether heat holds them down, from the Linux kernel's files.

Touches disk. Formats: the kernel's documents on cpufreq, and on the thermal throttle counters
below ``/sys/devices/system/cpu/cpu*/thermal_throttle``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from harness.rig.plausible import clock
from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile, text_of
from harness.rig.sensors.source import Absent, Source

#: A count that began is taken to go on for so long where its end was never seen, seconds.
BEGUN_S = 10.0
_CPUS = Path("/sys/devices/system/cpu")


class Clocks:
    """cpu.clock: the mean of the cores, from the frequency driver."""

    names = ("cpu.clock",)
    each_tick = True

    def __init__(self, files: list[KeptFile], *, where: str) -> None:
        self.where = where
        self._files = files

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, MHz. A driver that forgot its unit is taken by size, and ``raw`` says so."""
        khz = [file.number() for file in self._files]
        mean = sum(khz) / len(khz)
        found = clock(mean, unit="kHz")
        if found is None:
            why = "implausible: no unit makes this a clock"
            return {"cpu.clock": not_measured("cpu.clock", why, raw=f"{mean:.10g} kHz")}
        return {"cpu.clock": measured("cpu.clock", found.mhz, raw=found.scaled)}


def clocks(cpufreq: Path = _CPUS / "cpufreq") -> Source:
    """Return the source of cpu.clock: what the hardware says, else what the driver says.

    ``scaling_cur_freq`` is, on some drivers, only what was asked for last. Without a driver
    (in a virtual machine, mostly) there is none: the list of processors then shows one number
    that stays the same under any load, and so does ``base_frequency``; neither is taken.
    """
    for name in ("cpuinfo_cur_freq", "scaling_cur_freq"):
        try:
            files = [KeptFile(path) for path in sorted(cpufreq.glob(f"policy*/{name}"))]
        except OSError:
            continue
        if files:
            return Clocks(files, where=f"{cpufreq}/policy*/{name}{_driver(cpufreq)}")
    return Absent(where=str(cpufreq), names=Clocks.names, why="no frequency driver is at work here")


def _driver(cpufreq: Path) -> str:
    drivers = {text_of(path) for path in cpufreq.glob("policy*/scaling_driver")} - {None, ""}
    return f" ({', '.join(sorted(filter(None, drivers)))})" if drivers else ""


class Throttle:
    """cpu.limited.heat: whether a core or package was held down by heat since the look before.

    A count moves when the holding down begins, its time when it ends: both are looked at.
    """

    names = ("cpu.limited.heat",)
    each_tick = True

    def __init__(self, counters: Mapping[str, tuple[Path, Path | None]], *, where: str) -> None:
        """Open the counters: by what they count for, the count and, newer, the time file."""
        self.where = where
        self._files = [
            (of, KeptFile(count), KeptFile(time) if time is not None else None)
            for of, (count, time) in counters.items()
        ]
        self._before: list[tuple[int, int]] | None = None
        self._begun_s: dict[str, float] = {}

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it; ``raw`` names what was held down, and how often it began."""
        now = [
            (count.number(), time.number() if time is not None else 0)
            for _, count, time in self._files
        ]
        before, self._before = self._before, now
        if before is None:
            why = "the first look only starts the count"
            return {self.names[0]: not_measured(self.names[0], why)}
        if before == now and not self._begun_s:
            return {self.names[0]: measured(self.names[0], value=False)}
        held = []
        for (of, _, time), then, this in zip(self._files, before, now, strict=True):
            began, ended = this[0] - then[0], this[1] - then[1]
            if began < 0 or ended < 0:
                why = "the counts began anew"
                return {self.names[0]: not_measured(self.names[0], why)}
            if ended:
                self._begun_s.pop(of, None)
            elif began and time is not None:
                self._begun_s[of] = at_s
            if began or ended or at_s - self._begun_s.get(of, -BEGUN_S) < BEGUN_S:
                held.append(f"{of}: {began} more")
            else:
                self._begun_s.pop(of, None)
        raw = ", ".join(held) or None
        return {self.names[0]: measured(self.names[0], bool(held), raw=raw)}


def throttle(cpus: Path = _CPUS) -> Source:
    """Return the source of cpu.limited.heat.

    Every processor of a package shows the package's count, and both threads of a core the
    core's: each is read once.
    """
    counters: dict[str, tuple[Path, Path | None]] = {}
    for cpu in sorted(cpus.glob("cpu[0-9]*"), key=lambda path: (len(path.name), path.name)):
        folder = cpu / "thermal_throttle"
        package = text_of(cpu / "topology" / "physical_package_id") or "0"
        core = text_of(cpu / "topology" / "core_id") or cpu.name.removeprefix("cpu")
        for scope, of in (("package", f"package {package}"), ("core", f"core {package}.{core}")):
            count, time = (
                folder / f"{scope}_throttle_count",
                folder / f"{scope}_throttle_total_time_ms",
            )
            if of not in counters and count.exists():
                counters[of] = (count, time if time.exists() else None)
    where = f"{cpus}/cpu*/thermal_throttle"
    if not counters:
        why = "the kernel counts no holding down by heat on this processor"
        return Absent(where=where, names=Throttle.names, why=why)
    return Throttle(counters, where=where)
