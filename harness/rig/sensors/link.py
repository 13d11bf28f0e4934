"""The link of the card under test, from the Linux kernel's PCI devices.

Touches disk. A device is known by its address (domain:bus:device.function), which lasts as long
as the card stays in its slot. Formats: the kernel's documents on PCI devices in sysfs and on
the counters of advanced error reporting (AER). An idle link is slow on purpose: what is read
here is judged under load only.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile, text_of
from harness.rig.sensors.pci import pci_address
from harness.rig.sensors.source import Absent, Source, Unreadable

#: Transfers a second on each lane, GT/s, and the generation that has them: PCI Express Base
#: Specification, as the kernel's table of link speeds names them.
GENERATION_OF_GT: Mapping[float, int] = {
    2.5: 1,
    5.0: 2,
    8.0: 3,
    16.0: 4,
    32.0: 5,
    64.0: 6,
    128.0: 7,
}
#: Widths that the specification has. The register of a device that is gone reads 63.
WIDTHS = (1, 2, 4, 8, 12, 16, 32)
_SPEED = re.compile(r"(\d+(?:\.\d+)?) GT/s(?: PCIe)?\Z")
DEVICES = Path("/sys/bus/pci/devices")
#: PCI base class of display controllers: the first byte of ``class``.
_DISPLAY = "0x03"
_AER = ("aer_dev_correctable", "aer_dev_nonfatal", "aer_dev_fatal")


def parse_generation(text: str) -> int:
    """Return the generation of a speed, as old and new kernels write it.

    Raises:
        Unreadable: the kernel does not know it, or no generation has it.

    >>> parse_generation("8.0 GT/s PCIe"), parse_generation("5 GT/s")
    (3, 2)
    """
    found = _SPEED.match(text.strip())
    generation = GENERATION_OF_GT.get(float(found[1])) if found else None
    if generation is None:
        raise Unreadable("the device does not say its speed", raw=text.strip())
    return generation


def parse_width(text: str) -> int:
    """Return the lanes. Raises Unreadable where no link has so many: then nothing answers."""
    shown = text.strip()
    if not shown.isascii() or not shown.isdigit() or int(shown) not in WIDTHS:
        raise Unreadable("no link has so many lanes: the device does not answer", raw=shown)
    return int(shown)


def parse_errors(text: bytes) -> int:
    r"""Return how many errors one AER file has counted: its total, else the sum of its lines.

    Names may hold spaces, so a line is split at its last one. ValueError: it has no counts.

    >>> parse_errors(b"Receiver Error 2\nBad TLP 0\nTOTAL_ERR_COR 2\n")
    2
    >>> parse_errors(b"RxErr 4\nBadTLP 2\n")
    6
    """
    counts = [line.rsplit(None, 1) for line in text.splitlines() if line.strip()]
    if not counts:
        raise ValueError("no counts")
    totals = [int(count) for name, count in counts if name.startswith(b"TOTAL")]
    return totals[0] if totals else sum(int(count) for _, count in counts)


class Link:
    """gpu.link.generation and gpu.link.width: what the link runs at now."""

    names = ("gpu.link.generation", "gpu.link.width")
    each_tick = True

    def __init__(self, device: Path, port: Path | None) -> None:
        self._speed = KeptFile(device / "current_link_speed", size=64)
        self._width = KeptFile(device / "current_link_width", size=64)
        self.where = f"PCI device {device.name}{_at_most(device, port)}"

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return both; one that the device does not tell costs the other nothing."""
        return dict(
            _asked(name, file, parse)
            for name, file, parse in (
                (self.names[0], self._speed, parse_generation),
                (self.names[1], self._width, parse_width),
            )
        )


def _asked(name: str, file: KeptFile, parse: Callable[[str], int]) -> tuple[str, Reading]:
    try:
        text = file.read().decode("ascii", errors="replace")
        return name, measured(name, parse(text))
    except Unreadable as error:
        return name, not_measured(name, error.why, raw=error.raw)
    except OSError as error:
        return name, not_measured(name, f"cannot be read: {error.strerror}", raw=str(file.path))


def at_most(*ends: Path) -> tuple[int | None, int | None]:
    """Return the generation and width that a link could have: the least of its ends' own.

    What one end calls its maximum may be more than the other end has.
    """
    return (
        _least([text_of(end / "max_link_speed") for end in ends], parse_generation),
        _least([text_of(end / "max_link_width") for end in ends], parse_width),
    )


def _least(texts: list[str | None], parse: Callable[[str], int]) -> int | None:
    found = []
    for text in texts:
        with contextlib.suppress(Unreadable):
            found += [parse(text)] if text is not None else []
    return min(found, default=None)


def _at_most(device: Path, port: Path | None) -> str:
    generation, width = at_most(device, *([port] if port is not None else []))
    if generation is None or width is None:
        return ""
    return f", at most generation {generation} with {width} lanes"


class LinkErrors:
    """gpu.link.errors: what the device and the port above it counted since the look before.

    An error may be counted at either end of the link, so both are read.
    """

    names = ("gpu.link.errors",)
    each_tick = True

    def __init__(self, files: list[Path], *, where: str) -> None:
        self.where = where
        self._files = [KeptFile(path) for path in files]
        self._texts: list[bytes] = []
        self._before: list[int] | None = None

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it. Raises OSError, ValueError: a counter cannot be read."""
        (name,) = self.names
        texts = [file.read() for file in self._files]
        if texts == self._texts:  # nothing was counted: the ordinary case needs no parse
            return {name: measured(name, 0)}
        counts = [parse_errors(text) for text in texts]
        before, self._before, self._texts = self._before, counts, texts
        if before is None:
            return {name: not_measured(name, "the first look only starts the count")}
        more = [now - then for now, then in zip(counts, before, strict=True)]
        if min(more) < 0:
            return {name: not_measured(name, "the counts began anew")}
        named = (
            f"{file.path.parent.name} {file.path.name}: {each}"
            for file, each in zip(self._files, more, strict=True)
            if each
        )
        return {name: measured(name, sum(more), raw=", ".join(named) or None)}


def port_above(device: Path) -> Path | None:
    """Return the PCI device that *device* is plugged into; None at the root."""
    parent = device.resolve().parent
    try:
        pci_address(parent.name)
    except ValueError:
        return None
    return parent


def cards(devices: Path = DEVICES) -> tuple[str, ...]:
    """Return the addresses of the display controllers that have a link, in order."""
    found = (path for path in sorted(devices.glob("*")) if _is_card(path))
    return tuple(path.name for path in found)


def _is_card(path: Path) -> bool:
    return (text_of(path / "class") or "").startswith(_DISPLAY) and (
        path / "current_link_width"
    ).exists()


def link(address: str | None = None, *, devices: Path = DEVICES) -> Source:
    """Return the source of the link's speed and width.

    Args:
        address: The card under test, in any spelling; None: the only one that there is.
        devices: ``/sys/bus/pci/devices``.
    """
    device = card(address, devices=devices, names=Link.names)
    if isinstance(device, Absent):
        return device
    if not (device / "current_link_width").exists():
        why = "the device has no PCI Express link"
        return Absent(where=f"PCI device {device.name}", names=Link.names, why=why)
    return Link(device, port_above(device))


def link_errors(address: str | None = None, *, devices: Path = DEVICES) -> Source:
    """Return the source of the link's errors, with arguments as :func:`link`."""
    device = card(address, devices=devices, names=LinkErrors.names)
    if isinstance(device, Absent):
        return device
    port = port_above(device)
    ends = [end for end in (device, port) if end is not None]
    files = [end / name for end in ends for name in _AER if (end / name).exists()]
    where = f"PCI device {device.name}" + (f" and port {port.name}" if port is not None else "")
    if not files:
        why = "the kernel counts no errors of this link"
        return Absent(where=where, names=LinkErrors.names, why=why)
    return LinkErrors(files, where=where)


def card(address: str | None, *, names: tuple[str, ...], devices: Path = DEVICES) -> Path | Absent:
    """Return the device of the card under test, or why *names* cannot be read of it.

    Args:
        address: In any spelling; None: the only graphics card that there is.
        names: What it is wanted for.
        devices: ``/sys/bus/pci/devices``.
    """
    if address is not None:
        device = devices / pci_address(address)
        if device.exists():
            return device
        why = f"no PCI device has the address {device.name}"
        return Absent(where=str(devices), names=names, why=why)
    there = cards(devices)
    if len(there) == 1:
        return devices / there[0]
    why = (
        f"several cards ({', '.join(there)}): name one in rig.gpu"
        if there
        else "no graphics card with a link is shown here"
    )
    return Absent(where=str(devices), names=names, why=why)
