"""The sources of a rig, in order of preference: the one table that names them.

Touches the machine. A new source is a class with ``where``, ``names``, ``each_tick`` and
``read``, one line here, and a case in the sensors' contract.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from harness.rig.clock import MachineClock
from harness.rig.sensors import machine, portable
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import Absent, Single, Source

if TYPE_CHECKING:
    from harness.rig.sensors.own_work import OwnWork

_BYTES_PER_GIB = 1024.0**3
_Makers = tuple[tuple[tuple[str, ...], Callable[[], Source]], ...]


def _free_gib(folder: Path) -> Callable[[], float]:
    def read() -> float:
        there = folder
        while not there.exists() and there != there.parent:
            there = there.parent  # the store is made later, on the same disk
        state = os.statvfs(there)
        return state.f_bavail * state.f_frsize / _BYTES_PER_GIB

    return read


def _linux(own: OwnWork | None) -> _Makers:
    from harness.rig.sensors import linux
    from harness.rig.sensors.own_work import OwnWork

    counted = own if own is not None else OwnWork()
    return (
        (linux.ProcessorTimes.names, lambda: linux.ProcessorTimes(own=counted)),
        (linux.Memory.names, linux.Memory),
        (linux.DiskBusy.names, linux.DiskBusy),
        (linux.Clocks.names, linux.clocks),
        (linux.Temperatures.names, linux.temperatures),
        (linux.PowerSource.names, linux.power_source),
    )


_PORTABLE: _Makers = (
    (portable.PortableLoad.names, portable.PortableLoad),
    (portable.PortableMemory.names, portable.PortableMemory),
    (portable.PortableClock.names, portable.PortableClock),
    (portable.PortablePower.names, portable.PortablePower),
)


def sources(
    *, store: Path, own: OwnWork | None = None, system: str = sys.platform
) -> tuple[Source, ...]:
    """Return every source of this machine; one that cannot be opened is absent, and why.

    Args:
        store: Where results are kept: disk.free is about that disk.
        own: Counts the processor time of the title and the harness; None: of the harness.
        system: The platform, as ``sys.platform`` names it.
    """
    makers = _linux(own) if system == "linux" else _PORTABLE
    return (
        *(_opened(names, make) for names, make in makers),
        Single(where=f"free space at {store}", name="disk.free", value=_free_gib(store)),
        machine.Text("os.build", machine.os_build, where="os-release, uname"),
        machine.Text("firmware.version", machine.firmware, where="/sys/class/dmi/id"),
        machine.Text("disks", machine.disks, where="/sys/block"),
    )


def _opened(names: tuple[str, ...], make: Callable[[], Source]) -> Source:
    try:
        return make()
    except (OSError, ImportError) as error:
        return Absent(where="", names=names, why=f"cannot be opened: {error}")


def machine_sensors(*, store: Path, clock: MachineClock, own: OwnWork | None = None) -> Sensors:
    """Return the readings of this machine."""
    return Sensors(sources(store=store, own=own), now_s=clock.steady_s)
