r"""What a Windows machine is, from its registry and its firmware: the table of fields.

Pure. The system is handed in. Written for review: it is tested with a fake of the
system, and has not run on Windows. Keys and values: Microsoft's documentation of the registry
and of GetSystemFirmwareTable; those under ``HARDWARE\DESCRIPTION`` are common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from harness.rig import fingerprint_fields as f
from harness.rig.identity import IdentityField
from harness.rig.sensors.source import Unreadable
from harness.rig.smbios import counted, memory_modules, slowest_mts

_VERSION = r"SOFTWARE\Microsoft\Windows NT\CurrentVersion"
_BOARD = r"HARDWARE\DESCRIPTION\System\BIOS"
_PROCESSOR = r"HARDWARE\DESCRIPTION\System\CentralProcessor\0"
_SCHEMES = r"SYSTEM\CurrentControlSet\Control\Power\User\PowerSchemes"
_DISKS = r"SYSTEM\CurrentControlSet\Services\disk\Enum"
_BYTES_PER_GIB = 1024.0**3
_FIRST_11_BUILD = 22_000


class WindowsSystem(Protocol):
    """What is asked of Windows. Every method may raise OSError."""

    def value(self, key: str, name: str) -> str | int | bytes:
        """Return a value under HKEY_LOCAL_MACHINE."""

    def firmware_table(self) -> bytes:
        """Return the SMBIOS structures, without the header that Windows puts before them."""

    def cores(self) -> tuple[int, int]:
        """Return how many cores and how many threads there are."""

    def memory_bytes(self) -> int:
        """Return the size of main memory."""


def windows_fields(system: WindowsSystem) -> tuple[IdentityField, ...]:
    """Return the fields of a Windows machine."""

    def field(
        name: str, read: Callable[[WindowsSystem], str], where: str, *, each_pass: bool = False
    ) -> IdentityField:
        return IdentityField(name=name, read=lambda: read(system), where=where, each_pass=each_pass)

    return (
        field("os.build", _build, _VERSION, each_pass=True),
        field(f.POWER_PLAN, _power_plan, _SCHEMES, each_pass=True),
        field(f.CPU_MODEL, lambda s: _text(s, _PROCESSOR, "ProcessorNameString"), _PROCESSOR),
        field(f.CPU_MICROCODE, _microcode, _PROCESSOR),
        field(f.CPU_CORES, _cores, "psutil"),
        field(
            f.BOARD_MODEL, lambda s: _words(s, "BaseBoardManufacturer", "BaseBoardProduct"), _BOARD
        ),
        field(
            "firmware.version",
            lambda s: _words(s, "BIOSVendor", "BIOSVersion", "BIOSReleaseDate"),
            _BOARD,
        ),
        field(f.MEMORY_SIZE, lambda s: f"{s.memory_bytes() / _BYTES_PER_GIB:.1f} GiB", "psutil"),
        field(f.MEMORY_MODULES, _modules, "SMBIOS"),
        field("memory.speed", _speed, "SMBIOS"),
        field("disks", _disks, _DISKS),
    )


def _build(system: WindowsSystem) -> str:
    """Return the edition, the release and the build with its revision: ``26100.2314``."""
    build = _text(system, _VERSION, "CurrentBuildNumber")
    name = _text(system, _VERSION, "ProductName")
    if build.isdecimal() and int(build) >= _FIRST_11_BUILD:
        name = name.replace("Windows 10", "Windows 11")  # the value was never brought up to date
    return f"{name} {_text(system, _VERSION, 'DisplayVersion')}, build {build}." + _text(
        system, _VERSION, "UBR"
    )


def _power_plan(system: WindowsSystem) -> str:
    active = _text(system, _SCHEMES, "ActivePowerScheme")
    try:
        name = _text(system, rf"{_SCHEMES}\{active}", "FriendlyName")
    except OSError:
        return active
    # The name is a reference to a text of the system, followed by the text itself.
    return f"{name.rpartition(',')[2].strip()} ({active})"


def _microcode(system: WindowsSystem) -> str:
    """Return the revision in force, as the other system writes it: ``0x10d``."""
    raw = system.value(_PROCESSOR, "Update Revision")
    if not isinstance(raw, bytes) or len(raw) != 8:
        raise Unreadable("the registry tells no revision of the microcode")
    return hex(int.from_bytes(raw[4:], "little") or int.from_bytes(raw[:4], "little"))


def _cores(system: WindowsSystem) -> str:
    cores, threads = system.cores()
    return f"{cores} cores, {threads} threads"


def _modules(system: WindowsSystem) -> str:
    modules = memory_modules(system.firmware_table())
    if not modules:
        raise Unreadable("the firmware names no memory modules")
    told = (f"{m.bank} {m.slot}: {m.size_mib} MiB {m.maker} {m.part}".strip() for m in modules)
    return f"{counted(modules)}: " + "; ".join(told)


def _speed(system: WindowsSystem) -> str:
    speed = slowest_mts(memory_modules(system.firmware_table()))
    if speed is None:
        raise Unreadable("the firmware does not tell the rate the memory is set to")
    return f"{speed} MT/s"


def _disks(system: WindowsSystem) -> str:
    count = system.value(_DISKS, "Count")
    names = (_text(system, _DISKS, str(number)) for number in range(int(count)))
    return ", ".join(sorted(names))


def _words(system: WindowsSystem, *names: str) -> str:
    return " ".join(_text(system, _BOARD, name) for name in names)


def _text(system: WindowsSystem, key: str, name: str) -> str:
    value = system.value(key, name)
    if isinstance(value, bytes):
        raise Unreadable(f"the registry has bytes for {name}")
    return str(value).strip()
