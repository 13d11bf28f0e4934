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
        while True:
            try:
                state = os.statvfs(there)
            except (FileNotFoundError, NotADirectoryError):
                if there == there.parent:
                    raise
                there = there.parent  # the store is made later, on the same disk
            else:
                return state.f_bavail * state.f_frsize / _BYTES_PER_GIB

    return read


def _linux(own: OwnWork | None) -> _Makers:
    from harness.rig.sensors import hwmon, linux, processor, smbios, standing, supply
    from harness.rig.sensors.own_work import OwnWork
    from harness.rig.sensors.renewed import renewed

    counted = own if own is not None else OwnWork()
    return (
        (linux.ProcessorTimes.names, lambda: linux.ProcessorTimes(own=counted)),
        (linux.Memory.names, linux.Memory),
        (linux.DiskBusy.names, linux.DiskBusy),
        (linux.Pressure.names, linux.Pressure),
        (processor.Clocks.names, renewed(processor.clocks)),
        (processor.Throttle.names, renewed(processor.throttle)),
        (hwmon.Temperatures.names, renewed(hwmon.temperatures)),
        (supply.PowerSource.names, renewed(supply.power_source)),
        (smbios.MemorySpeed.names, smbios.MemorySpeed),
        (standing.ClockKept.names, standing.ClockKept),
        (standing.Screen.names, standing.Screen),
    )


def _linux_card(bus: str | None) -> _Makers:
    """Return what the kernel tells of the card at *bus*; None: of the only card there is."""
    from harness.rig.sensors import graphics, link
    from harness.rig.sensors.renewed import renewed

    return (
        (graphics.NAMES, renewed(lambda: graphics.graphics(bus))),
        (link.Link.names, lambda: link.link(bus)),
        (link.LinkErrors.names, renewed(lambda: link.link_errors(bus))),
    )


_PORTABLE: _Makers = (
    (portable.PortableLoad.names, portable.PortableLoad),
    (portable.PortableMemory.names, portable.PortableMemory),
    (portable.PortableClock.names, portable.PortableClock),
    (portable.PortablePower.names, portable.PortablePower),
)


def sources(
    *,
    store: Path,
    own: OwnWork | None = None,
    system: str = sys.platform,
    gpu: str | None = None,
) -> tuple[Source, ...]:
    """Return every source of this machine; one that cannot be opened is absent, and why.

    Args:
        store: Where results are kept: disk.free is about that disk.
        own: Counts the processor time of the title and the harness; None: of the harness.
        system: The platform, as ``sys.platform`` names it.
        gpu: The UUID of the card under test, or its beginning; None: the only one there is.
    """
    cards, bus = _cards(gpu)
    makers = _linux(own) if system == "linux" else _PORTABLE
    if system == "linux" and (gpu is None or bus is not None):
        makers += _linux_card(bus)  # a card that was named and is not found is no other card
    return (
        *cards,
        *(_opened(names, make) for names, make in makers),
        # Before a pass, and in one only where something watches it: it fills over hours.
        Single(
            where=f"free space at {store}",
            name="disk.free",
            value=_free_gib(store),
            each_tick=False,
        ),
        machine.Text("os.build", machine.os_build, where="os-release, uname"),
        machine.Text("firmware.version", machine.firmware, where="/sys/class/dmi/id"),
        machine.Text("disks", machine.disks, where="/sys/block"),
    )


def _cards(gpu: str | None) -> tuple[tuple[Source, ...], str | None]:
    """Return the sources of the card under test, and its PCI address where there is one."""
    from harness.rig.sensors.card_readings import CardNow, card_sources
    from harness.rig.sensors.nvml_binding import NvmlBinding

    changing, still = card_sources(NvmlBinding, gpu=gpu)
    address = changing.card.address if isinstance(changing, CardNow) else None
    return (changing, still), address


def _opened(names: tuple[str, ...], make: Callable[[], Source]) -> Source:
    try:
        return make()
    except (OSError, ImportError) as error:
        return Absent(where="", names=names, why=f"cannot be opened: {error}")


def machine_sensors(
    *,
    store: Path,
    clock: MachineClock,
    own: OwnWork | None = None,
    gpu: str | None = None,
    rig: Path | None = None,
) -> Sensors:
    """Return the readings of this machine; arguments as in :func:`sources`.

    *rig* is the folder whose ``rig.yaml`` names the lab's own sensors: what a lab names itself
    is preferred. They are started here, and waited for a little; None: there are none.

    Raises:
        AskedError: ``rig.yaml`` has problems.
    """
    own_sources = _of_the_lab(rig, clock) if rig is not None else ()
    found = sources(store=store, own=own, gpu=gpu)
    return Sensors((*own_sources, *found), now_s=clock.steady_s)


def _of_the_lab(rig: Path, clock: MachineClock) -> tuple[Source, ...]:
    if not (rig / "rig.yaml").exists():
        return ()  # and nothing of it need be imported
    from harness.rig.sensors.outside import outside_sources
    from harness.rig.sensors.outside_settings import outside_sensors

    return outside_sources(outside_sensors(rig), folder=rig, pause=clock.pause)
