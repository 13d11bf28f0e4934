"""Structures built by the table of DMTF DSP0134, Memory Device (type 17)."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.readings import Reading
from harness.rig.sensors.smbios import MemorySpeed, parse_speeds


def _structure(kind: int, formatted: bytes, *texts: bytes) -> bytes:
    head = struct.pack("<BBH", kind, 4 + len(formatted), 0x0040)
    return head + formatted + (b"\0".join(texts) + b"\0\0" if texts else b"\0\0")


def _module(*, size_mib: int = 16384, rated: int = 6400, runs_at: int = 6000,
            extended: int = 0, length: int = 0x5C) -> bytes:  # fmt: skip
    body = bytearray(0x5C)
    struct.pack_into("<H", body, 0x0C, size_mib)
    struct.pack_into("<H", body, 0x15, rated)
    struct.pack_into("<H", body, 0x20, runs_at)
    struct.pack_into("<I", body, 0x58, extended)
    return _structure(17, bytes(body[4:length]), b"DIMM_A2", b"LAB-TEST-16")


BIOS = _structure(0, bytes(20), b"a maker", b"1.0")
END = _structure(127, b"")


def _read(path: Path) -> Reading:
    return MemorySpeed(path).read(0.0)["memory.speed"]


def test_memory_runs_at_its_configured_speed_and_not_at_what_it_could_do(tmp_path: Path) -> None:
    table = tmp_path / "DMI"
    table.write_bytes(BIOS + _module(rated=6400, runs_at=4800) + END)
    assert _read(table).value == 4800


def test_an_empty_socket_has_no_speed() -> None:
    assert parse_speeds(_module(size_mib=0, runs_at=0xFFFE) + _module() + END) == (6000,)


def test_the_slowest_module_counts_and_all_are_told(tmp_path: Path) -> None:
    table = tmp_path / "DMI"
    table.write_bytes(_module(runs_at=6000) + _module(runs_at=5600) + END)
    reading = _read(table)
    assert (reading.value, reading.raw) == (5600, "6000 MT/s, 5600 MT/s")


def test_a_speed_that_does_not_fit_a_word_stands_in_the_extended_field() -> None:
    assert parse_speeds(_module(runs_at=0xFFFF, extended=70_000) + END) == (70_000,)


@pytest.mark.parametrize("length", [0x15, 0x1B, 0x20])
def test_an_older_structure_that_ends_before_the_field_does_not_tell(length: int) -> None:
    assert parse_speeds(_module(length=length) + END) == ()


def test_a_firmware_that_leaves_the_speed_out_is_not_measured(tmp_path: Path) -> None:
    table = tmp_path / "DMI"
    table.write_bytes(_module(runs_at=0) + END)
    assert _read(table).why == "the firmware does not say at what speed its memory runs"


def test_a_table_that_only_the_administrator_may_read_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    reading = _read(tmp_path / "DMI")
    assert reading.why == ("cannot be read: the firmware's table is for the administrator only")


def test_a_machine_without_a_table_says_so(tmp_path: Path) -> None:
    assert _read(tmp_path / "none").why == "the firmware shows no table of the memory here"


@given(st.binary(max_size=400))
def test_whatever_the_table_holds_is_read_to_an_end(table: bytes) -> None:
    assert all(speed > 0 for speed in parse_speeds(table))


@given(st.integers(min_value=0, max_value=200))
def test_a_table_that_is_cut_short_gives_what_is_whole(cut: int) -> None:
    table = (_module() + _module(runs_at=5600) + END)[: 240 - cut]
    assert parse_speeds(table) in ((), (6000,), (6000, 5600))
