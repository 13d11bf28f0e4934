"""When the first frame of a capture began, on the capture's own clock."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from harness.rig.captures.assembly import Part
from harness.rig.captures.declared import Declared
from harness.rig.captures.read import read_capture
from harness.rig.captures.times import FrameTimes

BEGAN_NS = 86_400_000_000_123
#: Frames of 10, 11, 12, 10 … ms.
AT_NS = [BEGAN_NS]
for number in range(300):
    AT_NS.append(AT_NS[-1] + (10 + number % 3) * 1_000_000)


def times(
    folder: Path, rows: list[str], declared: Declared, part: Part | None, *, wide: bool
) -> FrameTimes:
    path = folder / "frames.csv"
    path.write_text("at\n" + "".join(f"{row}\n" for row in rows), encoding="ascii")
    capture = read_capture(os.fspath(path), declared, part=part, with_pyarrow=wide)
    assert capture.times is not None, capture.troubles
    return capture.times


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize(("unit", "in_ms"), [("ns", 1e6), ("us", 1e3), ("ms", 1.0), ("s", 1e-3)])
def test_a_clock_tells_when_the_first_frame_began(
    tmp_path: Path, unit: str, in_ms: float, *, wide: bool
) -> None:
    rows = [f"{at_ns / 1e6 * in_ms:.9f}" for at_ns in AT_NS]
    declared = Declared(column="at", unit=unit, values="clock")
    began_ms = times(tmp_path, rows, declared, None, wide=wide).began_ms
    assert began_ms == pytest.approx(BEGAN_NS / 1e6, abs=0.001)


@pytest.mark.parametrize("wide", [False, True])
def test_a_part_begins_with_its_own_first_frame(tmp_path: Path, *, wide: bool) -> None:
    declared = Declared(column="at", unit="ns", values="clock")
    part = Part(from_ms=1000.0, length_ms=1500.0, tolerance=0.05)
    found = times(tmp_path, list(map(str, AT_NS)), declared, part, wide=wide)
    first_ns = next(at for at in AT_NS if at - BEGAN_NS >= 1e9)
    assert found.began_ms == pytest.approx(first_ns / 1e6, abs=0.001)
    assert found.opening[0] == pytest.approx((AT_NS[AT_NS.index(first_ns) + 1] - first_ns) / 1e6)


def test_durations_do_not_tell(tmp_path: Path) -> None:
    rows = [str(10 + number % 3) for number in range(300)]
    declared = Declared(column="at", unit="ms", values="durations")
    assert times(tmp_path, rows, declared, None, wide=False).began_ms is None
