"""The latest lines of one sensor of the lab, in a small file between two processes.

Touches disk. The feeder writes it whenever its sensor has said something; the runner reads it
on its own tick, which costs one read whatever the sensor does. Every line has the instant at
which it came, so that old lines are known to be old, however long nobody looked.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, field
from pathlib import Path

from harness.rig.sensors.outside_lines import Said

#: Names that are kept; a sensor that says more names is not one.
MOST_NAMES = 256
_MOST_BYTES = 1 << 18


@dataclass(slots=True, kw_only=True)
class Board:
    """What a sensor has said last, by name, and when (steady clock, seconds)."""

    lines: dict[str, tuple[float, Said]] = field(default_factory=dict)
    trouble: str | None = None  #: why nothing comes at present

    def put(self, found: Said, *, at_s: float) -> None:
        """Take one line up."""
        if found.name in self.lines or len(self.lines) < MOST_NAMES:
            self.lines[found.name] = (at_s, found)


def packed(board: Board) -> bytes:
    """Return *board* as bytes, with their checksum in front."""
    plain = {
        "trouble": board.trouble,
        "lines": [[said.name, said.rest, said.line, at_s] for at_s, said in board.lines.values()],
    }
    text = json.dumps(plain, ensure_ascii=False).encode()
    return b"%08x %d\n" % (zlib.crc32(text), len(text)) + text


def unpacked(data: bytes) -> Board | None:
    """Return the board; None where *data* is only a part of one: it is being written."""
    head, _, body = data.partition(b"\n")
    try:
        checksum, length = head.split()
        text = body[: int(length)]
        if len(text) != int(length) or zlib.crc32(text) != int(checksum, 16):
            return None
        plain = json.loads(text)
    except ValueError:
        return None
    board = Board(trouble=plain["trouble"])
    for name, rest, line, at_s in plain["lines"]:
        board.put(Said(name=name, rest=rest, line=line), at_s=at_s)
    return board


class BoardFile:
    """The file, open in one of the two processes."""

    def __init__(self, path: Path, *, write: bool) -> None:
        self.path = path
        self._file = path.open("r+b" if write else "rb", buffering=0)
        self._last: tuple[bytes, Board] = (b"", Board())

    def write(self, board: Board) -> None:
        """Put *board* there."""
        data = packed(board)
        self._file.seek(0)
        self._file.write(data)
        self._file.truncate(len(data))

    def read(self) -> Board | None:
        """Return the board; None: it is being written, or nothing was written yet."""
        self._file.seek(0)
        data = self._file.read(_MOST_BYTES)
        if data != self._last[0]:
            board = unpacked(data)
            if board is None:
                return None
            self._last = (data, board)
        return self._last[1] if data else None

    def close(self) -> None:
        """Close it, on this side."""
        self._file.close()
