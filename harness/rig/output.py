"""What a command says, kept raw in files under a ceiling.

Touches disk. The command writes to its files itself: nothing reads a pipe, so nothing wakes
up during a pass, and nothing stands still when nobody reads. A file that grows over the
ceiling keeps its first and its last part; what lies between is given back to the disk while
the command still writes, and counted.
"""

from __future__ import annotations

import ctypes
import os
from collections.abc import Sequence
from pathlib import Path

#: What is kept of one stream, bytes.
CEILING_BYTES = 8 * 1024 * 1024

_BLOCK = 4096
_CHUNK = 1024 * 1024
_KEEP_SIZE, _PUNCH_HOLE = 0x01, 0x02  # linux/falloc.h


class OutputFiles:
    """The files one command writes to.

    Args:
        paths: Where each stream goes; the command makes the files.
        ceiling_bytes: What is kept of each, half of it the beginning, half of it the end.
    """

    def __init__(self, paths: Sequence[Path], *, ceiling_bytes: int = CEILING_BYTES) -> None:
        self._paths = tuple(paths)
        self._half = ceiling_bytes // 2
        self._holes: dict[Path, int] = dict.fromkeys(paths, self._half // _BLOCK * _BLOCK)

    def trim(self) -> None:
        """Give back to the disk what will not be kept; cheap where nothing has grown over."""
        for path in self._paths:
            start = self._holes[path]
            end = (_size(path) - self._half) // _BLOCK * _BLOCK
            if end > start and _punch(path, start, end - start):
                self._holes[path] = end

    def close(self) -> int:
        """Cut each file down to what is kept; return how many bytes were dropped in all.

        Both parts end at a line, and one line between them says what was dropped, so that
        two halves never read like one line the command has written.
        """
        return sum(self._cut(path) for path in self._paths)

    def _cut(self, path: Path) -> int:
        size = _size(path)
        if size <= 2 * self._half:
            return 0
        with path.open("r+b") as file:
            head = self._half // _BLOCK * _BLOCK
            file.seek(max(0, head - _CHUNK))
            before = file.read(min(head, _CHUNK))
            newline = before.rfind(b"\n")
            head -= len(before) - (newline + 1) if newline >= 0 else 0
            tail = size - self._half
            tail += -tail % _BLOCK  # nothing of a hole that was punched
            file.seek(tail)
            after = file.read(_CHUNK)
            tail += after.find(b"\n") + 1
            dropped = tail - head
            note = b"%s(harness: %d bytes of output dropped here)\n" % (
                b"" if newline >= 0 else b"\n",
                dropped,
            )
            if len(note) > dropped:
                return 0
            file.seek(head)
            file.write(note)
            target = head + len(note)
            while tail < size:
                file.seek(tail)
                chunk = file.read(_CHUNK)
                file.seek(target)
                file.write(chunk)
                tail += len(chunk)
                target += len(chunk)
            file.truncate(target)
        return dropped


def last_line(path: Path, *, limit_bytes: int = 4096) -> str:
    """Return the last line of *path* that is not empty, undecodable bytes replaced."""
    try:
        with path.open("rb") as file:
            file.seek(max(0, _size(path) - limit_bytes))
            lines = file.read().decode("utf-8", "replace").split("\n")
    except OSError:
        return ""
    return next((line.strip() for line in reversed(lines) if line.strip()), "")


def _size(path: Path) -> int:
    try:
        return os.stat(path).st_size  # noqa: PTH116 - at every tick, and half as dear
    except OSError:
        return 0


def _punch(path: Path, start: int, length: int) -> bool:
    """Give a stretch of a file back to the disk; return False where that cannot be done."""
    libc = ctypes.CDLL(None, use_errno=True)
    if not hasattr(libc, "fallocate64"):
        return False
    try:
        descriptor = os.open(path, os.O_WRONLY)
    except OSError:
        return False
    try:
        mode = _PUNCH_HOLE | _KEEP_SIZE
        answer: int = libc.fallocate64(
            descriptor, mode, ctypes.c_longlong(start), ctypes.c_longlong(length)
        )
        return answer == 0
    finally:
        os.close(descriptor)
