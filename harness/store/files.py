"""The few things that are done with files, as a port: so that a disk can fail in a test.

Touches disk. ``harness.store.faulty_files`` is the fake.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import BinaryIO, Protocol


class Files(Protocol):
    """A disk. Every method may raise OSError."""

    def make_folder(self, folder: Path) -> None:
        """Make *folder*, and those above it, durably; nothing where it exists."""

    def create(self, path: Path) -> BinaryIO:
        """Open *path* for writing, empty."""

    def open(self, path: Path) -> BinaryIO:
        """Open *path* for reading."""

    def sync(self, file: BinaryIO) -> None:
        """Make what was written to *file* durable (one fsync)."""

    def replace(self, source: Path, target: Path) -> None:
        """Give *source* the name *target*, at once and whole."""

    def sync_folder(self, folder: Path) -> None:
        """Make the names in *folder* durable (one fsync)."""

    def remove(self, path: Path) -> None:
        """Remove the file *path*; nothing where there is none."""

    def exists(self, path: Path) -> bool:
        """Return whether there is something at *path*."""

    def names(self, folder: Path) -> tuple[str, ...]:
        """Return the names in *folder*, sorted; none where there is no such folder."""


class DiskFiles:
    """The real disk."""

    def make_folder(self, folder: Path) -> None:
        """Make *folder*, and those above it, durably; nothing where it exists."""
        if folder.is_dir():
            return
        self.make_folder(folder.parent)
        folder.mkdir(exist_ok=True)
        self.sync_folder(folder.parent)

    def create(self, path: Path) -> BinaryIO:
        """Open *path* for writing, empty."""
        return path.open("wb")

    def open(self, path: Path) -> BinaryIO:
        """Open *path* for reading."""
        return path.open("rb")

    def sync(self, file: BinaryIO) -> None:
        """Make what was written to *file* durable (one fsync)."""
        file.flush()
        os.fsync(file.fileno())

    def replace(self, source: Path, target: Path) -> None:
        """Give *source* the name *target*, at once and whole."""
        source.replace(target)

    def sync_folder(self, folder: Path) -> None:
        """Make the names in *folder* durable (one fsync; Windows has none for folders)."""
        if sys.platform == "win32":
            return
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def remove(self, path: Path) -> None:
        """Remove the file *path*; nothing where there is none."""
        path.unlink(missing_ok=True)

    def exists(self, path: Path) -> bool:
        """Return whether there is something at *path*."""
        return path.exists()

    def names(self, folder: Path) -> tuple[str, ...]:
        """Return the names in *folder*, sorted; none where there is no such folder."""
        try:
            return tuple(sorted(path.name for path in folder.iterdir()))
        except (FileNotFoundError, NotADirectoryError):
            return ()
