"""The card under test through its driver in the Linux kernel, where that shows it as files.

Touches disk. Formats: the kernel's documents on hwmon, and on the thermal and power files of the
amdgpu driver, whose labels these are. Drivers of other makers show some of the same files. The
card is known by its PCI address, so that the numbers of chips and cards do not matter.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile, text_of
from harness.rig.sensors.link import DEVICES, card
from harness.rig.sensors.source import Absent, Source, Unreadable

#: Reading -> the files of the chip that may have it, best first, each with the label that it must
#: have ("" none is asked for), and how many of the reading's unit one of the file's is.
_CHIP: Mapping[str, tuple[tuple[str, str, float], ...]] = {
    "gpu.temperature": (("temp*_input", "edge", 1e-3), ("temp1_input", "", 1e-3)),
    "gpu.memory.temperature": (("temp*_input", "mem", 1e-3),),
    "gpu.clock": (("freq*_input", "sclk", 1e-6),),
    "gpu.memory.clock": (("freq*_input", "mclk", 1e-6),),
    "gpu.power": (("power1_average", "", 1e-6), ("power1_input", "", 1e-6)),
    "gpu.power.limit": (("power1_cap", "", 1e-6),),
}
_BUSY = "gpu_busy_percent"
NAMES = (*_CHIP, "gpu.load")


class Graphics:
    """What the kernel's driver shows of one card, once a second."""

    each_tick = True

    def __init__(self, files: Mapping[str, tuple[Path, float]], *, where: str) -> None:
        self.where = where
        self.names = tuple(files)
        self._files = {name: (KeptFile(path), per) for name, (path, per) in files.items()}

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return each; one that fails costs no other.

        Raises:
            OSError: none can be read: the card, or its driver, is gone.
        """
        found: dict[str, Reading] = {}
        failures = []
        for name, (file, per) in self._files.items():
            try:
                found[name] = measured(name, file.number() * per)
            except Unreadable as error:
                found[name] = not_measured(name, error.why, raw=error.raw)
            except OSError as error:
                failures.append(error)
                why = f"cannot be read: {error.strerror}"
                found[name] = not_measured(name, why, raw=str(file.path))
        if len(failures) == len(self._files):
            raise failures[0]
        return found


def graphics(address: str | None = None, *, devices: Path = DEVICES) -> Source:
    """Return the source of the card's readings.

    Args:
        address: The card under test, in any spelling; None: the only one that there is.
        devices: ``/sys/bus/pci/devices``.
    """
    device = card(address, names=NAMES, devices=devices)
    if isinstance(device, Absent):
        return device
    files = dict(_files_of(device))
    driver = (device / "driver").resolve().name if (device / "driver").exists() else "no driver"
    where = f"PCI device {device.name}, {driver}"
    if not files:
        return Absent(where=where, names=NAMES, why=f"the kernel shows no sensors of it ({driver})")
    return Graphics(files, where=where)


def _files_of(device: Path) -> Iterator[tuple[str, tuple[Path, float]]]:
    for chip in sorted(device.resolve().glob("hwmon/hwmon*"))[:1]:
        for name, places in _CHIP.items():
            for pattern, label, per in places:
                path = _labelled(chip, pattern, label)
                if path is not None:
                    yield name, (path, per)
                    break
    if (device / _BUSY).exists():
        yield "gpu.load", ((device / _BUSY).resolve(), 1.0)


def _labelled(chip: Path, pattern: str, label: str) -> Path | None:
    for path in sorted(chip.glob(pattern)):
        stem = path.name.rpartition("_")[0]
        if not label or text_of(chip / f"{stem}_label") == label:
            return path
    return None
