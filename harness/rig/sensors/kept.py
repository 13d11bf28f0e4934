"""A file of the kernel that is read again and again.

Touches disk. Reading through one descriptor costs a quarter of opening the file each time.
"""

from __future__ import annotations

import os
from pathlib import Path

from harness.rig.sensors.source import Unreadable


class KeptFile:
    """A file of the kernel that is read again and again through one descriptor."""

    def __init__(self, path: Path, *, size: int = 4096) -> None:
        self.path = path
        self._size = size
        self._fd = -1  # where opening fails there is nothing to close
        self._fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC)

    def read(self) -> bytes:
        """Return its content now (its first *size* bytes)."""
        return os.pread(self._fd, self._size, 0)

    def number(self) -> int:
        """Return the whole number that it says.

        Raises:
            OSError: it cannot be read now.
            Unreadable: it is empty, or says something else.
        """
        text = self.read()
        try:
            return int(text)
        except ValueError:
            shown = text.strip()[:40].decode(errors="replace")
            why = f"says {shown!r} where a number should be" if shown else "its file is empty"
            raise Unreadable(f"cannot be read: {why}", raw=str(self.path)) from None

    def close(self) -> None:
        """Give the descriptor back."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    __del__ = close


def text_of(path: Path) -> str | None:
    """Return what a small file of the kernel says, once; None where it cannot be read."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return None
