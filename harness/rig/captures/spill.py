"""Sorted runs of a capture larger than memory should be, put into a file.

Touches disk: one temporary file without a name, gone with the capture.
"""

from __future__ import annotations

import mmap
import tempfile
from array import array
from collections.abc import Sequence
from typing import IO

#: Frames that are held in memory, as sorted runs of eight bytes each; what comes after is
#: written out.
HELD_FRAMES = 12_000_000


class Spill:
    """Where sorted runs stay: in memory at first, then in a file that is mapped."""

    def __init__(self) -> None:
        self._held = 0
        self._file: IO[bytes] | None = None

    def keep(self, run: Sequence[float]) -> Sequence[float]:
        """Return *run*, held where it is to stay."""
        packed = run if isinstance(run, memoryview) else memoryview(array("d", run))
        self._held += len(packed)
        if self._held <= HELD_FRAMES:
            return packed
        if self._file is None:
            # The maps outlive the file object: closing it here takes nothing from them.
            self._file = tempfile.TemporaryFile(prefix="harness-frames-")  # noqa: SIM115
        data = packed.cast("B")
        start = self._file.tell()
        padding = -start % mmap.ALLOCATIONGRANULARITY
        self._file.write(bytes(padding))
        self._file.write(data)
        self._file.flush()
        mapped = mmap.mmap(
            self._file.fileno(), len(data), offset=start + padding, access=mmap.ACCESS_READ
        )
        return memoryview(mapped).cast("d")

    def close(self) -> None:
        """Close the file; runs in it stay readable as long as they are held."""
        if self._file is not None:
            self._file.close()
