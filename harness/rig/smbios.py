"""Memory modules, from the table that the firmware hands to the operating system.

Pure. DSP0134, System Management BIOS Reference Specification: structures of type 17, Memory
Device. Every structure has its length in its second byte and is followed by its texts, each
ended by a zero byte, all of them by one more. A field that a shorter structure of an older
version does not have is not told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

_MEMORY_DEVICE = 17
_END_OF_TABLE = 127
_HEADER_BYTES = 4
#: Where the fields stand in a structure of type 17, and how many bytes they take.
_SIZE, _EXTENDED_SIZE = (0x0C, 2), (0x1C, 4)
_CONFIGURED_SPEED, _EXTENDED_CONFIGURED_SPEED = (0x20, 2), (0x58, 4)
_SLOT, _BANK, _MAKER, _PART = 0x10, 0x11, 0x17, 0x1A
_UNKNOWN, _SEE_EXTENDED_SIZE, _SEE_EXTENDED_SPEED = 0xFFFF, 0x7FFF, 0xFFFF
_IN_KIB = 0x8000
_KIB_PER_MIB = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class MemoryModule:
    """One module in its slot. What the firmware does not tell is None, or empty."""

    slot: str
    bank: str  #: as the firmware names it: where it tells a channel, it does so here or in the slot
    size_mib: int | None
    speed_mts: int | None  #: the rate it is set to, not the rate it could have
    maker: str
    part: str


def memory_modules(table: bytes) -> tuple[MemoryModule, ...]:
    """Return the modules that are there, by slot. A table that breaks off ends the list."""
    found = (
        _module(formatted, texts) for kind, formatted, texts in structures(table)
        if kind == _MEMORY_DEVICE
    )  # fmt: skip
    there = [module for module in found if module is not None]
    return tuple(sorted(there, key=lambda m: (m.bank, m.slot, m.part)))


def counted(modules: tuple[MemoryModule, ...]) -> str:
    """Return how many modules there are, in words."""
    return "1 module" if len(modules) == 1 else f"{len(modules)} modules"


def slowest_mts(modules: tuple[MemoryModule, ...]) -> int | None:
    """Return the lowest rate that the modules are set to, MT/s; None where one is not told.

    All modules of a board run at one rate; where the firmware says otherwise, the lowest is
    what a plan can rely on.
    """
    speeds = [module.speed_mts for module in modules]
    known = [speed for speed in speeds if speed is not None]
    return min(known) if known and len(known) == len(speeds) else None


def structures(table: bytes) -> Iterator[tuple[int, bytes, tuple[str, ...]]]:
    """Yield each structure: its type, its formatted part, its texts.

    A table that is cut short ends early.
    """
    at = 0
    while at + _HEADER_BYTES <= len(table):
        kind, length = table[at], table[at + 1]
        if length < _HEADER_BYTES or at + length > len(table):
            return
        end = table.find(b"\0\0", at + length)
        told = table[at + length : end] if end >= 0 else b""
        texts = told.decode("utf-8", errors="replace").split("\0")
        yield kind, table[at : at + length], tuple(text.strip() for text in texts)
        if kind == _END_OF_TABLE or end < 0:
            return
        at = end + 2


def _module(formatted: bytes, texts: tuple[str, ...]) -> MemoryModule | None:
    size = _number(formatted, _SIZE)
    if not size:
        return None  # an empty slot
    return MemoryModule(
        slot=_text(formatted, _SLOT, texts),
        bank=_text(formatted, _BANK, texts),
        size_mib=_size_mib(formatted, size),
        speed_mts=_speed_mts(formatted),
        maker=_text(formatted, _MAKER, texts),
        part=_text(formatted, _PART, texts),
    )


def _size_mib(formatted: bytes, size: int) -> int | None:
    if size == _UNKNOWN:
        return None
    if size == _SEE_EXTENDED_SIZE:
        extended = _number(formatted, _EXTENDED_SIZE)
        return None if extended is None else extended & 0x7FFF_FFFF
    return (size & ~_IN_KIB) // _KIB_PER_MIB if size & _IN_KIB else size


def _speed_mts(formatted: bytes) -> int | None:
    speed = _number(formatted, _CONFIGURED_SPEED)
    if speed == _SEE_EXTENDED_SPEED:
        extended = _number(formatted, _EXTENDED_CONFIGURED_SPEED)
        speed = None if extended is None else extended & 0x7FFF_FFFF
    return speed or None  # 0: unknown


def _number(formatted: bytes, place: tuple[int, int]) -> int | None:
    at, width = place
    if at + width > len(formatted):
        return None
    return int.from_bytes(formatted[at : at + width], "little")


def _text(formatted: bytes, at: int, texts: tuple[str, ...]) -> str:
    """Return the text whose number stands at *at*; texts are counted from 1, 0 is none."""
    number = formatted[at] if at < len(formatted) else 0
    return texts[number - 1] if 0 < number <= len(texts) else ""
