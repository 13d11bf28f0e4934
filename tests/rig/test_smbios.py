"""The firmware's table of memory, against DSP0134 (SMBIOS Reference Specification), 7.18.

Structures are built from the offsets of that table by ``struct``, never by the reader's own.
"""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.smbios import MemoryModule, memory_modules, slowest_mts


def module(
    *,
    size: int = 16384,
    extended_size: int = 0,
    speed: int = 6000,
    extended_speed: int = 0,
    length: int = 0x5C,
    texts: tuple[str, ...] = ("DIMM_A2", "CHANNEL A", "Copper Fen Memory", "CF-6000-16"),
) -> bytes:
    """Return one structure of type 17: DSP0134 7.18, of version 3.3 (length 5Ch)."""
    formatted = bytearray(0x5C)
    struct.pack_into("<BBH", formatted, 0x00, 17, length, 0x0040)
    struct.pack_into("<H", formatted, 0x0C, size)
    struct.pack_into("<BB", formatted, 0x10, 1, 2)  # device locator, bank locator
    struct.pack_into("<H", formatted, 0x15, 4800)  # what the module could do
    struct.pack_into("<B", formatted, 0x17, 3)  # manufacturer
    struct.pack_into("<B", formatted, 0x1A, 4)  # part number
    struct.pack_into("<I", formatted, 0x1C, extended_size)
    struct.pack_into("<H", formatted, 0x20, speed)
    struct.pack_into("<I", formatted, 0x58, extended_speed)
    return bytes(formatted[:length]) + "\0".join(texts).encode() + b"\0\0"


END = struct.pack("<BBH", 127, 4, 0x00FF) + b"\0\0"
OTHER = struct.pack("<BBHB", 16, 5, 0x0010, 3) + b"\0\0"


def test_a_module_has_its_slot_its_size_and_the_speed_it_is_set_to() -> None:
    [found] = memory_modules(OTHER + module() + END)
    assert found == MemoryModule(
        slot="DIMM_A2",
        bank="CHANNEL A",
        size_mib=16384,
        speed_mts=6000,
        maker="Copper Fen Memory",
        part="CF-6000-16",
    )


@pytest.mark.parametrize(
    ("size", "extended", "mib"),
    [
        (0x7FFF, 32768, 32768),  # 32 GiB - 1 MiB or more stands in the extended size
        (0x8000 | 512, 0, 0),  # bit 15: KiB
        (0x8000 | 2048, 0, 2),
        (0xFFFF, 0, None),  # unknown
    ],
)
def test_sizes_as_the_standard_writes_them(size: int, extended: int, mib: int | None) -> None:
    [found] = memory_modules(module(size=size, extended_size=extended) + END)
    assert found.size_mib == mib


def test_an_empty_slot_is_no_module() -> None:
    assert memory_modules(module(size=0) + END) == ()


def test_a_speed_of_zero_is_not_told_and_a_large_one_is_extended() -> None:
    untold, fast = module(speed=0), module(speed=0xFFFF, extended_speed=70_000)
    assert [m.speed_mts for m in memory_modules(untold + END)] == [None]
    assert [m.speed_mts for m in memory_modules(fast + END)] == [70_000]


def test_an_older_structure_that_ends_before_the_speed_does_not_tell_it() -> None:
    [found] = memory_modules(module(length=0x1B) + END)  # version 2.3
    assert (found.size_mib, found.speed_mts) == (16384, None)


def test_modules_stand_by_channel_and_slot_whatever_the_order_of_the_table() -> None:
    first = module(texts=("DIMM_A2", "CHANNEL A", "Fen", "P"))
    second = module(texts=("DIMM_B2", "CHANNEL B", "Fen", "P"))
    assert memory_modules(first + second + END) == memory_modules(second + first + END)


def test_the_slowest_counts_and_one_that_is_not_told_makes_all_unknown() -> None:
    assert slowest_mts(memory_modules(module() + module(speed=4800) + END)) == 4800
    assert slowest_mts(memory_modules(module() + module(speed=0) + END)) is None
    assert slowest_mts(()) is None


@given(st.binary(max_size=400))
def test_no_table_however_broken_is_more_than_read(table: bytes) -> None:
    for found in memory_modules(table):
        assert found.size_mib is None or found.size_mib >= 0


@given(st.integers(min_value=0, max_value=200))
def test_a_table_that_breaks_off_ends_the_list(length: int) -> None:
    whole = module() + module() + END
    assert len(memory_modules(whole[:length])) <= 2
