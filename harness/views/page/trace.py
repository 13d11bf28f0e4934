"""One pass over time: its frame times from the kept capture, its readings from the bundle.

Touches disk. Frames go to the browser as they are drawn: 4 bytes each, in the order of the
capture, and nothing is left out to a quarter of a million of them. A capture does not say when,
after the start of its command, its first frame was: it is drawn so that its last frame ends with
the command, and that is said beside it.
"""

from __future__ import annotations

import json
import sys
from array import array
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from harness.errors import AskedError, Problem
from harness.plan.document import Frames, Title
from harness.rig.captures.declared import declared
from harness.rig.captures.read import read_capture
from harness.run.records import BundleRef
from harness.store.sqlite import Store
from harness.store.unpacked import unpacked
from harness.views.page.passes import PassRow, capture_of

SCHEMA = "harness.page.readings/1"
READINGS = "readings.jsonl"

#: A larger capture is for ``harness figures``: to be read for a picture takes too long.
MOST_CAPTURE_BYTES = 256 << 20
MOST_READINGS_BYTES = 64 << 20

#: What is drawn under the frames, in this order, by the beginning of a reading's name.
_ORDER = (
    "gpu.temperature", "gpu.memory.temperature", "cpu.temperature", "room.temperature",
    "gpu.clock", "gpu.memory.clock", "cpu.clock", "gpu.power", "gpu.link.width",
    "gpu.link.generation", "gpu.load", "cpu.load", "cpu.load.others",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameTrace:
    """The frames of one pass.

    Args:
        ticks: Frame times in milliseconds, single precision, little-endian, in order.
        count: How many these are.
        all_frames: How many the capture has; more than ``count`` where it is a very long one.
        whole_s: How long all of them last, seconds.
    """

    ticks: bytes
    count: int
    all_frames: int
    whole_s: float


class Traces:
    """Reads traces, and keeps the last few: a person goes to and fro between passes."""

    def __init__(self, *, most: int = 4) -> None:
        self._kept: OrderedDict[str, FrameTrace] = OrderedDict()
        self._most = most

    def kept(self, sha256: str) -> FrameTrace | None:
        """Return the frames of the capture with this hash if they are at hand."""
        return self._kept.get(sha256)

    def frames(self, store: Store, row: PassRow, title: Title) -> FrameTrace:
        """Return the frames of a pass, all of its capture, whatever the plan cuts out of it.

        Raises:
            AskedError: it has no capture, or it is too large, or holds no frame.
            StoreError: the bundle is missing, or is not what was kept.
        """
        capture = capture_of(row, title)
        if capture is None or row.bundle is None or title.frames is None:
            raise _no_frames("this pass left no capture with frames", "look at its story")
        name, sha256, size = capture
        if size > MOST_CAPTURE_BYTES:
            raise _no_frames(f"{name} is too large to be drawn: {size} bytes", "download it")
        found = self._kept.get(sha256)
        if found is None:
            found = _read(store, row.bundle, name, title.frames)
            self._kept[sha256] = found
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return found


def _read(store: Store, bundle: BundleRef, name: str, frames: Frames) -> FrameTrace:
    only = BundleRef(
        path=bundle.path,
        sha256=bundle.sha256,
        members=tuple(each for each in bundle.members if each[0] == name),
    )
    with unpacked(store, only) as folder:
        capture = read_capture(str(folder / name), declared(frames))
    times = capture.times
    if times is None:
        told = capture.troubles[0].what if capture.troubles else "it has no frame"
        raise _no_frames(f"no frame can be read from {name}: {told}", "download it and look")
    values = array("f", times.opening)
    if sys.byteorder == "big":
        values.byteswap()
    return FrameTrace(
        ticks=values.tobytes(),
        count=len(values),
        all_frames=times.count,
        whole_s=times.total_ms / 1000.0,
    )


def readings(store: Store, bundle: BundleRef) -> dict[str, Any]:
    """Return the readings of a pass as series over the seconds since its command started.

    Only numbers are drawn; a sample without one is null, and never 0.

    Raises:
        StoreError: the bundle is missing, or is not what was kept.
    """
    sizes = {name: size for name, _, size in bundle.members}
    if READINGS not in sizes or sizes[READINGS] > MOST_READINGS_BYTES:
        return {"schema": SCHEMA, "into_s": [], "series": []}
    with store.open_member(bundle, READINGS) as file:
        return series(map(json.loads, filter(bytes.strip, file)))


def series(samples: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Return samples, as ``readings.jsonl`` has them, as one series for each reading."""
    into_s: list[float] = []
    units: dict[str, str] = {}
    columns: dict[str, list[float | None]] = {}
    for place, sample in enumerate(samples):
        into_s.append(sample["into_s"])
        for name, reading in sample["readings"].items():
            value = reading.get("value")
            if isinstance(value, bool) or not isinstance(value, int | float):
                continue
            units.setdefault(name, reading.get("unit", ""))
            column = columns.setdefault(name, [])
            column.extend([None] * (place - len(column)))
            column.append(float(value))
    for column in columns.values():
        column.extend([None] * (len(into_s) - len(column)))
    return {
        "schema": SCHEMA,
        "into_s": into_s,
        "series": [
            {"name": name, "unit": units[name], "values": columns[name]}
            for name in sorted(columns, key=_place)
        ],
    }


def _place(name: str) -> tuple[int, str]:
    return (_ORDER.index(name) if name in _ORDER else len(_ORDER), name)


def _no_frames(what: str, do: str) -> AskedError:
    return AskedError(Problem(code="no-frames", what=what, do=do))
