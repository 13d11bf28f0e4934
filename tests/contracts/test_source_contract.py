"""What every source of readings must do, on whatever machine the tests run."""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from harness.rig.quantities import QUANTITIES
from harness.rig.sensors.registry import sources
from harness.rig.sensors.source import Absent, FakeSource, Single, Source
from tests.rig.sensors.sysfs import whole_rig

_HERE = Path(__file__).parent
_MADE = TemporaryDirectory(prefix="rig-")  # kept until the tests are over: sources hold its files
SOURCES: tuple[Source, ...] = (
    *(sources(store=_HERE, system="linux") if sys.platform == "linux" else ()),
    *(whole_rig(Path(_MADE.name)) if sys.platform == "linux" else ()),
    *sources(store=_HERE, system="another"),
    FakeSource(name="cpu.load", script=(12.0,)),
    Single(where="a function", name="cpu.load", value=lambda: 12.0),
    Absent(where="nowhere", names=("gpu.load", "gpu.clock"), why="there is no card"),
)


@pytest.fixture(params=SOURCES, ids=lambda source: f"{type(source).__name__}-{source.names[0]}")
def source(request: pytest.FixtureRequest) -> Source:
    found: Source = request.param
    return found


def test_it_offers_only_readings_there_are(source: Source) -> None:
    assert source.names
    assert set(source.names) <= set(QUANTITIES)


def test_a_look_gives_exactly_what_it_offers_in_the_right_unit(source: Source) -> None:
    try:
        readings = source.read(1.0)
    except OSError:
        pytest.skip("this machine does not have it")  # a source may raise: its table catches it
    assert set(readings) == set(source.names)
    for name, reading in readings.items():
        assert reading.name == name
        assert reading.unit == QUANTITIES[name].unit
        assert (reading.value is None) != (reading.why is None)


def test_a_second_look_a_second_later_works_like_the_first(source: Source) -> None:
    try:
        first, second = source.read(1.0), source.read(2.0)
    except OSError:
        pytest.skip("this machine does not have it")
    assert set(first) == set(second)


@pytest.mark.skipif(sys.platform != "linux", reason="the files are the Linux kernel's")
def test_a_rig_that_shows_everything_has_no_reading_left_out(tmp_path: Path) -> None:
    """The second look: at the first, what counts has nothing yet to count from."""
    for source in whole_rig(tmp_path):
        source.read(1.0)
        readings = source.read(2.0)
        assert {name: each.why for name, each in readings.items() if not each.measured} == {}
        assert source.where
