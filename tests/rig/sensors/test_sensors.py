from __future__ import annotations

import errno

import pytest

from harness.plan.document import Bound
from harness.rig.bounds import Met, met
from harness.rig.quantities import QUANTITIES
from harness.rig.readings import Reading, measured, shown
from harness.rig.sensors.sensors import NO_SOURCE, Sensors
from harness.rig.sensors.source import Absent, FakeSource, Single, Unreadable


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


@pytest.mark.parametrize("name", ["cpu.load", "cpu.temperature"])
def test_a_number_that_is_none_is_not_measured(name: str) -> None:
    assert not measured(name, float("nan")).measured


# --- what is wrong, in words --------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "why"),
    [
        (errno.ENODATA, "switched off"),  # the kernel's hwmon, for an input that is not enabled
        (errno.EOPNOTSUPP, "not supported"),
        (errno.EIO, "cannot be read"),
        (errno.ENODEV, "cannot be read"),
    ],
)
def test_why_a_source_failed_is_told_from_what_the_system_says(number: int, why: str) -> None:
    broken = FakeSource(name="cpu.temperature", script=(OSError(number, "in its words"),))
    (reading,) = _sensors(broken).read(["cpu.temperature"])
    assert reading.why == f"{why}: in its words"


def test_a_source_that_knows_why_says_it_in_its_own_words() -> None:
    broken = FakeSource(name="cpu.clock", script=(Unreadable("its file is empty", raw="/sys/x"),))
    (reading,) = _sensors(broken).read(["cpu.clock"])
    assert (reading.why, reading.raw) == ("its file is empty", "/sys/x")


def test_a_failure_says_how_often_in_a_row_and_a_good_look_ends_the_row() -> None:
    gone = OSError(errno.ENODEV, "No such device")
    script = (gone, gone, gone, 45.0, gone)
    sensors = _sensors(FakeSource(name="cpu.temperature", script=script))
    whys = [sensors.sample().readings["cpu.temperature"].why for _ in script]
    assert whys == [
        "cannot be read: No such device",
        "cannot be read: No such device, 2 times in a row",
        "cannot be read: No such device, 3 times in a row",
        None,
        "cannot be read: No such device",
    ]
    assert sensors.failures == {"cpu.temperature": 4}


# --- what cannot be believed --------------------------------------------------------------


def test_what_is_absent_gives_way_to_whatever_is_there() -> None:
    absent = Absent(where="a driver", names=("gpu.clock", "gpu.load"), why="it is not installed")
    sensors = _sensors(absent, FakeSource(name="gpu.clock", script=(2520.0,)))
    clock, load = sensors.read(["gpu.clock", "gpu.load"])
    assert clock.value == 2520.0
    assert load.why == "it is not installed"


def test_a_bound_on_a_frozen_reading_is_neither_met_nor_not_met() -> None:
    """Whatever source it is from: here, one that stays at 45 °C from rest through load."""
    clock = _Ticks()
    sources = (
        FakeSource(name="cpu.temperature", script=(45.0,)),
        FakeSource(name="cpu.load", script=(2.0,) * 10 + (98.0,)),
    )
    sensors = Sensors(sources, now_s=clock)
    bound = Bound(reading="cpu.temperature", unit="°C", at_most=60)
    states = []
    for _ in range(20):
        states.append(met(bound, sensors.sample().readings["cpu.temperature"]))
        clock.at_s += 1.0
    assert states == [Met.MET] * 15 + [Met.NOT_MEASURED] * 5
    (asked,) = sensors.read(["cpu.temperature"])
    assert asked.why is not None
    assert asked.why.startswith("frozen: 45 °C")


def test_one_jump_costs_one_sample_of_one_reading() -> None:
    clock = _Ticks()
    sources = (
        FakeSource(name="gpu.temperature", script=(51.0, 99.0, 52.0)),
        FakeSource(name="gpu.load", script=(97.0,)),
    )
    sensors = Sensors(sources, now_s=clock)
    samples = []
    for _ in range(3):
        samples.append(sensors.sample())
        clock.at_s += 1.0
    assert [each.readings["gpu.temperature"].value for each in samples] == [51.0, None, 52.0]
    assert [each.readings["gpu.load"].value for each in samples] == [97.0] * 3
