"""Parquet and Arrow files: the named column, its type, and what is missing."""

from __future__ import annotations

import gzip
import sys
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from pyarrow import ipc, parquet

from harness.rig.captures.declared import Declared
from harness.rig.captures.read import read_capture

VALUES = [16.418, 16.141, 16.941, 16.016, 16.757, 16.485, 15.993, 16.712, 15.96, 16.594]


def table(**columns: Any) -> pa.Table:
    return pa.table({"frame_no": list(range(1, 11)), "frame_ms": VALUES, **columns})


def write(path: Path, content: pa.Table, form: str) -> Path:
    if form == "parquet":
        parquet.write_table(content, path, row_group_size=4)
    else:
        with ipc.new_file(path, content.schema) as writer:
            writer.write_table(content, max_chunksize=4)
    return path


FORMS = pytest.mark.parametrize("form", ["parquet", "arrow"])


@FORMS
@pytest.mark.parametrize(
    ("content", "options", "expected"),
    [
        (table(), {}, 10),
        (table(), {"column": None, "unit": None}, 10),
        (table(frame_ms=[1, 2, 4, 3, 5, 6, 9, 7, 8, 2]), {}, 10),
        (table(frame_ms=[*VALUES[:9], None]), {}, "bad-cells"),
        (table(frame_ms=[*VALUES[:9], float("nan")]), {}, "bad-cells"),
        (table(frame_ms=[*VALUES[:9], -1.0]), {}, "negative-times"),
        (table(frame_ms=[str(value) for value in VALUES]), {}, "not-a-number"),
        (table(frame_no=[*range(1, 10), 12]), {}, "frames-lost"),
        (table(frame_no=[1, 1, 2, 2, 3, 3, 4, 4, 5, 5]), {}, "rows-repeated"),
        (table(frame_no=[float(each) for each in (*range(1, 10), 12)]), {}, "frames-lost"),
        (table(frame_no=[10**17 + each for each in (*range(1, 10), 11)]), {}, "frames-lost"),
        (table(no=list(range(10)), frame_no=[*range(1, 10), 12]), {}, "frames-lost"),
        (table(n=[3] * 10), {}, 10),
        (table(ProcessName=["quay", "menu"] * 5), {}, "programs-mixed"),
        (table(program=["quay", "menu"] * 5), {}, "programs-mixed"),
        (table(program=["quay", "menu"] * 5), {"where": (("program", "quay"),)}, 5),
        (table(kind=["real", "made"] * 5), {"kinds_column": "kind", "kinds": ("real",)}, 5),
        (table(), {"column": "wait_ms"}, "column-missing"),
        (table().slice(0, 0), {}, "no-frames"),
    ],
)
def test_each_kind_of_columns_gets_its_verdict(
    form: str, content: pa.Table, options: dict[str, Any], expected: int | str, tmp_path: Path
) -> None:
    path = write(tmp_path / "frames.bin", content, form)
    capture = read_capture(str(path), Declared(**{"column": "frame_ms", "unit": "ms", **options}))
    found = capture.troubles[0].code if capture.troubles else capture.frames
    assert found == expected, capture.troubles


@FORMS
def test_the_numbers_are_what_was_written(form: str, tmp_path: Path) -> None:
    path = write(tmp_path / "frames.bin", table(), form)
    path.write_bytes(gzip.compress(path.read_bytes()))
    capture = read_capture(str(path), Declared(column="frame_ms", unit="ms"))
    assert capture.times is not None
    assert list(capture.times.opening) == VALUES


@FORMS
def test_a_damaged_file_is_void(form: str, tmp_path: Path) -> None:
    path = write(tmp_path / "frames.bin", table(), form)
    path.write_bytes(path.read_bytes()[:-20])
    capture = read_capture(str(path), Declared(column="frame_ms", unit="ms"))
    assert [each.code for each in capture.troubles] == ["damaged-capture"]


def test_without_pyarrow_the_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "frames.bin", table(), "parquet")
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    capture = read_capture(str(path), Declared(column="frame_ms", unit="ms"))
    assert capture.troubles[0].code == "library-missing"
    assert "analysis" in capture.troubles[0].do
