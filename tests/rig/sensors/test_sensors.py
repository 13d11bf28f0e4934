from __future__ import annotations

import csv
from pathlib import Path

import pytest

from harness.rig.quantities import QUANTITIES
from harness.rig.readings import Reading, measured, shown
from harness.rig.sensors.sensors import NO_SOURCE, Sensors
from harness.rig.sensors.source import Absent, FakeSource, Single

GOLDEN = Path(__file__).parents[2] / "golden" / "sensors"


class _Ticks:
    def __init__(self) -> None:
        self.at_s = 0.0

    def __call__(self) -> float:
        return self.at_s


def _sensors(*sources: FakeSource | Single | Absent) -> Sensors:
    return Sensors(sources, now_s=_Ticks())


def test_a_source_that_raises_costs_its_own_reading_and_no_other() -> None:
    """A sensor that fails in mid-night must not take the runner down with it."""
    broken = FakeSource(
        name="cpu.temperature",
        script=(41.0, 42.0, 43.0, 44.0, OSError(19, "No such device", "/sys/x/temp1_input"), 45.0),
    )
    sensors = _sensors(broken, FakeSource(name="memory.available", script=(8.0,)))
    samples = [sensors.sample() for _ in range(6)]
    lost = samples[4].readings
    assert lost["cpu.temperature"].why == "cannot be read: No such device"
    assert lost["cpu.temperature"].raw == "/sys/x/temp1_input"
    assert lost["memory.available"].value == 8.0
    assert samples[5].readings["cpu.temperature"].value == 45.0
    assert sensors.failures == {"cpu.temperature": 1}


def test_what_a_source_raises_need_not_be_an_error_of_the_system() -> None:
    (reading,) = _sensors(FakeSource(name="cpu.clock", script=(ZeroDivisionError("0 MHz"),))).read(
        ["cpu.clock"]
    )
    assert (reading.value, reading.why, reading.raw) == (
        None,
        "cannot be read: ZeroDivisionError",
        "0 MHz",
    )


def test_a_reading_nobody_offers_is_not_measured_and_never_zero() -> None:
    for reading in _sensors().read(tuple(QUANTITIES)):
        assert reading.value is None
        assert reading.why == NO_SOURCE


def test_a_name_that_does_not_exist_says_so() -> None:
    (reading,) = _sensors().read(["gpu.temprature"])
    assert reading == Reading(name="gpu.temprature", unit="", why="there is no such reading")


def test_the_first_source_that_offers_a_name_gives_it() -> None:
    first = FakeSource(name="cpu.clock", script=(3000.0,))
    second = FakeSource(name="cpu.clock", script=(1.0,))
    (reading,) = _sensors(first, second).read(["cpu.clock"])
    assert reading.value == 3000.0
    assert second.looks == []


def test_a_sample_leaves_out_what_is_not_read_each_second() -> None:
    slow = FakeSource(name="os.build", script=("an os",), each_tick=False)
    sensors = _sensors(slow, FakeSource(name="cpu.load", script=(1.0,)))
    assert set(sensors.sample().readings) == {"cpu.load"}
    assert slow.looks == []


def test_a_sample_holds_whatever_a_guard_asks_for_measured_or_not() -> None:
    slow = FakeSource(name="os.build", script=("an os",), each_tick=False)
    found = _sensors(slow).sample(also=("gpu.temperature", "os.build", "lab.hum")).readings
    assert found["gpu.temperature"].why == NO_SOURCE
    assert found["os.build"].value == "an os"
    assert not found["lab.hum"].measured


def test_the_table_has_a_line_for_every_quantity_with_its_source() -> None:
    lines = _sensors(Absent(where="/sys/x", names=("cpu.clock",), why="no driver")).table()
    assert [line.reading.name for line in lines] == list(QUANTITIES)
    (clock,) = [line for line in lines if line.reading.name == "cpu.clock"]
    assert (clock.where, shown(clock.reading)) == ("/sys/x", "not measured: no driver")


def test_values_that_stand_for_no_value_are_implausible_and_their_raw_number_stays() -> None:
    """255, 127.5, -128 and the like are what boards say when they have nothing to say."""
    with (GOLDEN / "s01_temperature_sentinels.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    implausible, absent = [], []
    for row in rows:
        if row["cpu_c"] in ("", "N/A"):
            absent.append(int(row["t_s"]))
            continue
        reading = measured("cpu.temperature", float(row["cpu_c"]))
        if not reading.measured:
            implausible.append(int(row["t_s"]))
            assert reading.raw == str(float(row["cpu_c"]))
            assert reading.why is not None
            assert reading.why.startswith("implausible")
    assert (implausible, absent) == ([1, 2, 3, 4, 5, 9], [6, 7])


@pytest.mark.parametrize("name", ["cpu.load", "cpu.temperature"])
def test_a_number_that_is_none_is_not_measured(name: str) -> None:
    assert not measured(name, float("nan")).measured
