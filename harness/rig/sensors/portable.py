"""Readings through psutil: on systems without the Linux kernel's files, and as their check.

Touches the machine. psutil is imported only when one of these is made.
"""

from __future__ import annotations

from collections.abc import Mapping

from harness.rig.plausible import clock
from harness.rig.readings import Reading, measured, not_measured

_BYTES_PER_GIB = 1024.0**3


class PortableLoad:
    """cpu.load. The first look only starts the count."""

    names = ("cpu.load",)
    where = "psutil.cpu_percent"
    each_tick = True

    def __init__(self) -> None:
        import psutil

        self._percent = psutil.cpu_percent
        self._primed_s: float | None = None

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it over the time since the look before."""
        primed, self._primed_s = self._primed_s, at_s
        value = self._percent(interval=None)
        if primed is None:
            return {"cpu.load": not_measured("cpu.load", "the first look only starts the count")}
        return {"cpu.load": measured("cpu.load", value)}


class PortableMemory:
    """memory.available."""

    names = ("memory.available",)
    where = "psutil.virtual_memory"
    each_tick = True

    def __init__(self) -> None:
        import psutil

        self._memory = psutil.virtual_memory

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, GiB."""
        available = self._memory().available / _BYTES_PER_GIB
        return {"memory.available": measured("memory.available", available)}


class PortableClock:
    """cpu.clock: the mean of the cores, where the system gives one in MHz."""

    names = ("cpu.clock",)
    where = "psutil.cpu_freq"
    each_tick = True

    def __init__(self) -> None:
        import psutil

        self._frequencies = getattr(psutil, "cpu_freq", None)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, MHz. Some systems give GHz or kHz, and ``raw`` says so; some nothing but 0."""
        found = self._frequencies(percpu=True) if self._frequencies is not None else []
        current = [each.current for each in found if each.current]
        if not current:
            return {"cpu.clock": not_measured("cpu.clock", "the system gives no frequency")}
        mean = sum(current) / len(current)
        taken = clock(mean, unit="MHz")
        if taken is None:
            why = "implausible: no unit makes this a clock"
            return {"cpu.clock": not_measured("cpu.clock", why, raw=f"{mean:g}")}
        return {"cpu.clock": measured("cpu.clock", taken.mhz, raw=taken.scaled)}


class PortablePower:
    """power.source."""

    names = ("power.source",)
    where = "psutil.sensors_battery"
    each_tick = True

    def __init__(self) -> None:
        import psutil

        self._battery = getattr(psutil, "sensors_battery", None)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return ``mains`` or ``battery``."""
        battery = self._battery() if self._battery is not None else None
        if battery is None or battery.power_plugged is None:
            return {
                "power.source": not_measured("power.source", "the system shows no power supply")
            }
        word = "mains" if battery.power_plugged else "battery"
        return {"power.source": measured("power.source", word)}
