"""The speed that the main memory runs at, from the firmware's own table.

Pure but for reading the table. Format: DMTF DSP0134, System Management BIOS Reference
Specification 3.7, Memory Device (type 17): size at 0Ch, configured speed at 20h, and, where that
holds FFFFh, extended configured speed at 58h. The field *speed* at 15h is what the module could
do, which is not what it does, so it is not taken.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.smbios import structures

_NAME = "memory.speed"
_MEMORY_DEVICE = 17
_TABLE = Path("/sys/firmware/dmi/tables/DMI")


class MemorySpeed:
    """memory.speed: of the slowest module that is fitted."""

    names = (_NAME,)
    each_tick = False

    def __init__(self, table: Path = _TABLE) -> None:
        self.where = f"{table}, configured speed"
        self._table = table

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, MT/s. ``raw`` has the speed of each module where they differ."""
        try:
            table = self._table.read_bytes()
        except PermissionError:
            why = "cannot be read: the firmware's table is for the administrator only"
            return {_NAME: not_measured(_NAME, why, raw=str(self._table))}
        except FileNotFoundError:
            return {_NAME: not_measured(_NAME, "the firmware shows no table of the memory here")}
        speeds = parse_speeds(table)
        if not speeds:
            why = "the firmware does not say at what speed its memory runs"
            return {_NAME: not_measured(_NAME, why)}
        raw = ", ".join(f"{speed} MT/s" for speed in speeds) if len(set(speeds)) > 1 else None
        return {_NAME: measured(_NAME, min(speeds), raw=raw)}


def parse_speeds(table: bytes) -> tuple[int, ...]:
    """Return the configured speed of every fitted module that tells it, MT/s."""
    speeds = []
    for kind, structure, _ in structures(table):
        if kind != _MEMORY_DEVICE or not _word(structure, 0x0C):
            continue  # another kind, or an empty socket
        speed = _word(structure, 0x20)
        if speed == 0xFFFF:
            speed = int.from_bytes(structure[0x58:0x5C], "little") & 0x7FFF_FFFF
        if speed:
            speeds.append(speed)
    return tuple(speeds)


def _word(structure: bytes, at: int) -> int:
    """Return a word of a structure; 0, which means unknown, where an older one ends before it."""
    return int.from_bytes(structure[at : at + 2], "little") if len(structure) >= at + 2 else 0
