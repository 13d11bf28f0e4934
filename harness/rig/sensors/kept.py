"""A file of the kernel that is read again and again.

Touches disk. Reading through one descriptor costs a quarter of opening the file each time.
"""

from __future__ import annotations

import os
from pathlib import Path


class KeptFile:
    """A file of the kernel that is read again and again through one descriptor."""

    def __init__(self, path: Path, *, size: int = 4096) -> None:
        self.path = path
        self._size = size
        self._fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC)

    def read(self) -> bytes:
        """Return its content now (its first *size* bytes)."""
        return os.pread(self._fd, self._size, 0)

    def close(self) -> None:
        """Give the descriptor back."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    __del__ = close
