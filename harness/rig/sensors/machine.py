"""What a machine is, as text: read once, or before a pass, never during one.

Touches disk. Used as readings and in the fingerprint. No name of the host or of a person.
"""

from __future__ import annotations

import platform
from collections.abc import Callable, Mapping
from pathlib import Path

from harness.rig.readings import Reading, Value, measured, not_measured

_DMI = Path("/sys/class/dmi/id")
_BLOCKS = Path("/sys/block")
#: Disks that are only views of others, or of memory, or of what is put in and taken out.
_VIEWS = ("loop", "ram", "zram", "dm-", "md", "sr", "fd", "nbd")


def os_build() -> str:
    """Return the operating system and its kernel, with their builds."""
    try:
        release = platform.freedesktop_os_release()
    except (OSError, AttributeError):
        return f"{platform.system()} {platform.release()} {platform.version()}".strip()
    name = release.get("PRETTY_NAME", platform.system())
    build = release.get("BUILD_ID") or release.get("VERSION_ID", "")
    shown = name if build in name else f"{name} {build}"
    return f"{shown}, {platform.system()} {platform.release()}"


def firmware() -> str:
    """Return the board's firmware: maker, version and date.

    Raises:
        OSError: the system does not say.
    """
    parts = [_text(_DMI / name) for name in ("bios_vendor", "bios_version", "bios_date")]
    return " ".join(part for part in parts if part)


def disks() -> tuple[str, ...]:
    """Return the disks by model, or by the kernel's name where they have none, sorted.

    The kernel's own order may change with a restart.
    """
    return tuple(sorted(_model(name) for name in disk_names(_BLOCKS)))


def disk_names(blocks: Path) -> tuple[str, ...]:
    """Return the kernel's names of the whole disks under ``/sys/block``, in order."""
    names = (path.name for path in blocks.iterdir())
    return tuple(sorted(name for name in names if not name.startswith(_VIEWS)))


def _model(name: str) -> str:
    try:
        return _text(_BLOCKS / name / "device" / "model") or name
    except OSError:
        return name


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8", errors="replace").strip()


class Text:
    """A source of one text that does not change during a pass."""

    each_tick = False

    def __init__(self, name: str, value: Callable[[], Value], *, where: str) -> None:
        self.names = (name,)
        self.where = where
        self._value = value

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it as it is now; an empty text is not a value."""
        (name,) = self.names
        value = self._value()
        if value in ("", ()):
            return {name: not_measured(name, "the system does not say")}
        return {name: measured(name, value)}
