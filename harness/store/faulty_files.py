"""A disk that fails when told to: it fills up, it writes half, it loses power.

Touches disk. It works on a real folder and writes down the order of what was done. After
``cut_power`` the folder is left as badly as a file system may leave it: what was written
and not synced is torn, a name that was given and not synced in its folder is gone.
"""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path
from typing import BinaryIO, cast

from harness.store.files import DiskFiles


class PowerCut(BaseException):
    """The machine is gone. Not an Exception: nothing may catch it and go on."""


class _Tearing(io.FileIO):
    """A file whose writes go through the disk that fails."""

    def __init__(self, path: Path, files: FaultyFiles) -> None:
        super().__init__(path, "w+b")
        self._path, self._files = path, files

    def write(self, data: object, /) -> int:
        content = memoryview(data).cast("B")  # type: ignore[arg-type]
        try:
            self._files.step("write", self._path)
        except BaseException:
            super().write(content[: len(content) // 2])
            raise
        self._files.unsynced[self._path] = None
        return super().write(content) or 0


class FaultyFiles(DiskFiles):
    """A disk that fails at one call.

    Args:
        fail_at: Which call fails, counted from 1; None: none does.
        error: What it fails with; None: the power is cut.
    """

    def __init__(self, *, fail_at: int | None = None, error: int | None = errno.ENOSPC) -> None:
        self._fail_at, self._error = fail_at, error
        #: What was done, in order: (verb, name of the file or folder).
        self.done: list[tuple[str, str]] = []
        self.unsynced: dict[Path, None] = {}
        self._unnamed: dict[Path, Path | None] = {}  # name not yet durable -> name before

    def step(self, verb: str, path: Path) -> None:
        """Count one call, and fail where it is the one."""
        self.done.append((verb, path.name))
        if len(self.done) == self._fail_at:
            if self._error is None:
                raise PowerCut
            raise OSError(self._error, os.strerror(self._error), str(path))

    def cut_power(self) -> None:
        """Leave the folder as a power cut may leave it, at its worst."""
        for path in self.unsynced:
            if path.exists():
                os.truncate(path, path.stat().st_size // 2)
        for path, before in reversed(self._unnamed.items()):
            if not path.exists():
                continue
            if before is None:
                path.unlink()
            else:
                path.replace(before)
        self.unsynced.clear()
        self._unnamed.clear()

    def create(self, path: Path) -> BinaryIO:
        """Open *path* for writing, empty."""
        self.step("create", path)
        if not path.exists():
            self._unnamed[path] = None
        return cast(BinaryIO, _Tearing(path, self))

    def sync(self, file: BinaryIO) -> None:
        """Make what was written to *file* durable."""
        self.step("sync", Path(file.name))
        super().sync(file)
        self.unsynced.pop(Path(file.name), None)

    def replace(self, source: Path, target: Path) -> None:
        """Give *source* the name *target*."""
        self.step("replace", target)
        super().replace(source, target)
        self._unnamed[target] = source
        if source in self.unsynced:
            self.unsynced[target] = self.unsynced.pop(source)

    def sync_folder(self, folder: Path) -> None:
        """Make the names in *folder* durable."""
        self.step("sync-folder", folder)
        super().sync_folder(folder)
        for path in [path for path in self._unnamed if path.parent == folder]:
            del self._unnamed[path]
