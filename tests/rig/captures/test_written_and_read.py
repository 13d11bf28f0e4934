"""Captures are written in every manner, read back, and broken at random."""

from __future__ import annotations

import gzip
import random
from pathlib import Path
from typing import Any

import pytest
import zstandard
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from harness.rig.captures.declared import Declared
from harness.rig.captures.read import read_capture

QUICK = settings(
    deadline=None,
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

MARKS = st.sampled_from(
    [
        (",", ".", ""),
        (";", ",", ""),
        (";", ",", "."),
        ("\t", ".", ","),
        ("|", ",", " "),
        (";", ".", "'"),
    ]
)


def written(value: float, decimal: str, thousands: str) -> str:
    """Return *value* with three digits, as a program with these marks writes it."""
    whole, _, digits = f"{value:,.3f}".partition(".")
    return whole.replace(",", thousands) + decimal + digits


@QUICK
@given(
    ticks=st.lists(st.integers(100, 9_999_999), min_size=1, max_size=60),
    marks=MARKS,
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    quoted=st.booleans(),
    suffix=st.sampled_from(["", " ms", "ms"]),
    pack=st.sampled_from([bytes, gzip.compress, zstandard.ZstdCompressor().compress]),
)
def test_what_was_written_is_read_back_to_the_digit(
    tmp_path: Path,
    ticks: list[int],
    marks: tuple[str, str, str],
    end: str,
    encoding: str,
    quoted: bool,
    suffix: str,
    pack: Any,
) -> None:
    delimiter, decimal, thousands = marks
    values = [tick / 1000.0 for tick in ticks]
    lines = [delimiter.join(("frame_no", "frame_ms", "s\N{LATIN SMALL LETTER E WITH ACUTE}ne"))]
    for number, value in enumerate(values, start=1):
        cell = written(value, decimal, thousands) + suffix
        cell = f'"{cell}"' if quoted else cell
        lines.append(delimiter.join((str(number), cell, "\N{LATIN SMALL LETTER E WITH ACUTE}t")))
    path = tmp_path / "frames.bin"
    path.write_bytes(pack((end.join(lines) + end).encode(encoding)))
    capture = read_capture(
        str(path),
        Declared(
            column="frame_ms",
            unit="ms",
            delimiter=delimiter,
            decimal=decimal,
            thousands=thousands or None,
            encoding="cp1252" if encoding == "cp1252" else None,
        ),
    )
    codes = {trouble.code for trouble in capture.troubles}
    if codes:  # values drawn at random may rise all the way, or change by a factor of thousand
        assert codes <= {"looks-like-clock", "unit-changes", "unit-implausible"}
        return
    assert capture.times is not None
    assert list(capture.times.opening) == values


def _sound(seed: int) -> bytes:
    chance = random.Random(seed)
    rows = [f"{n},{chance.uniform(14, 19):.3f},quay" for n in range(1, chance.randint(2, 40))]
    return ("frame_no,frame_ms,program\n" + "\n".join(rows) + "\n").encode()


@QUICK
@given(
    seed=st.integers(0, 1000),
    changes=st.lists(
        st.tuples(st.integers(0, 2000), st.binary(max_size=3), st.integers(0, 5)),
        min_size=1,
        max_size=4,
    ),
    way=st.booleans(),
    options=st.sampled_from(
        [{}, {"values": "clock"}, {"where": (("program", "quay"),)}, {"footer": 1}, {"header": 2}]
    ),
)
def test_a_broken_capture_is_never_a_traceback(
    tmp_path: Path,
    seed: int,
    changes: list[tuple[int, bytes, int]],
    way: bool,
    options: dict[str, Any],
) -> None:
    content = _sound(seed)
    for place, put, gone in changes:
        at = place % len(content) if content else 0
        content = content[:at] + put + content[at + gone :]
    _never_raises(tmp_path, content, way, options)


@QUICK
@given(
    content=st.binary(max_size=300)
    | st.text(alphabet='0123456789.,;"\n\r\tframe_ms-+eEnNaA ', max_size=200).map(str.encode),
    way=st.booleans(),
)
def test_any_bytes_are_never_a_traceback(tmp_path: Path, content: bytes, way: bool) -> None:
    for start in (
        b"",
        b"frame_ms\n",
        b"frame_no,frame_ms\n",
        b'{"frame_ms": 16.4}\n',
        b"\x1f\x8b\x08",
    ):
        _never_raises(tmp_path, start + content, way, {})
    _never_raises(tmp_path, b"\xff\xfe" + content, way, {"column": 1, "header": "none"})


def _never_raises(tmp_path: Path, content: bytes, way: bool, options: dict[str, Any]) -> None:
    path = tmp_path / "frames.bin"
    path.write_bytes(content)
    declared = Declared(**{"column": "frame_ms", "unit": "ms", **options})
    capture = read_capture(str(path), declared, with_pyarrow=way)
    if not capture.troubles:
        times = capture.times
        assert times is not None
        assert all(0.0 < value < float("inf") for value in times.opening)
        assert len(times.opening) == times.count


@pytest.mark.parametrize(
    ("pack", "name"), [(gzip.compress, "gzip"), (zstandard.ZstdCompressor().compress, "zstd")]
)
def test_a_compressed_file_that_ends_early_is_void(pack: Any, name: str, tmp_path: Path) -> None:
    path = tmp_path / "frames.csv.packed"
    path.write_bytes(pack(_sound(3))[:-5])
    capture = read_capture(str(path), Declared(column="frame_ms", unit="ms"))
    assert [(each.code, each.void) for each in capture.troubles] == [("truncated", True)]
    assert name in capture.troubles[0].what


def test_a_damaged_compressed_file_is_void(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(_sound(3)))
    packed[15] ^= 0xFF
    path = tmp_path / "frames.csv.gz"
    path.write_bytes(packed)
    capture = read_capture(str(path), Declared(column="frame_ms", unit="ms"))
    assert capture.troubles[0].code in ("damaged-capture", "truncated")
    assert capture.times is None


def test_members_of_a_compressed_file_are_read_on(tmp_path: Path) -> None:
    content = _sound(5)
    path = tmp_path / "frames.csv.gz"
    path.write_bytes(gzip.compress(content[:50]) + gzip.compress(content[50:]))
    capture = read_capture(str(path), Declared(column="frame_ms", unit="ms"))
    assert capture.troubles == ()
    assert capture.frames == content.count(b"\n") - 1
