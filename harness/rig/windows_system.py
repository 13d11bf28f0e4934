"""Windows itself, as what a machine is asked for: the registry, the firmware, psutil.

Touches the machine. Fits ``harness.rig.identity_windows.WindowsSystem``. Written for review:
it has not run. ``winreg`` and ``ctypes.windll`` exist on Windows alone.
"""

from __future__ import annotations

import ctypes
import importlib
from typing import Any

#: ``RSMB`` as the number that GetSystemFirmwareTable takes.
_RAW_SMBIOS = 0x52534D42
#: RawSMBIOSData: four bytes of versions, then the length of the structures.
_HEADER_BYTES = 8


class ThisWindows:
    """The Windows that this process runs on."""

    def __init__(self) -> None:
        self._registry: Any = importlib.import_module("winreg")
        self._kernel: Any = getattr(ctypes, "windll").kernel32  # noqa: B009 - not there elsewhere

    def value(self, key: str, name: str) -> str | int | bytes:
        """Return a value under HKEY_LOCAL_MACHINE."""
        registry = self._registry
        # Without KEY_WOW64_64KEY a 32-bit interpreter would be shown another tree.
        access = registry.KEY_READ | registry.KEY_WOW64_64KEY
        with registry.OpenKey(registry.HKEY_LOCAL_MACHINE, key, 0, access) as opened:
            found: str | int | bytes = registry.QueryValueEx(opened, name)[0]
            return found

    def firmware_table(self) -> bytes:
        """Return the SMBIOS structures."""
        size = self._kernel.GetSystemFirmwareTable(_RAW_SMBIOS, 0, None, 0)
        if not size:
            raise OSError("Windows hands out no SMBIOS table")
        buffer = ctypes.create_string_buffer(size)
        written = self._kernel.GetSystemFirmwareTable(_RAW_SMBIOS, 0, buffer, size)
        if not _HEADER_BYTES < written <= size:
            raise OSError("the SMBIOS table changed while it was read")
        return buffer.raw[_HEADER_BYTES:written]

    def cores(self) -> tuple[int, int]:
        """Return how many cores and how many threads there are."""
        import psutil

        cores, threads = psutil.cpu_count(logical=False), psutil.cpu_count()
        if cores is None or threads is None:
            raise OSError("Windows does not tell its processors")
        return cores, threads

    def memory_bytes(self) -> int:
        """Return the size of main memory."""
        import psutil

        return int(psutil.virtual_memory().total)
