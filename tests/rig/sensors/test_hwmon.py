"""Files laid out as the kernel's documents on the hwmon and thermal classes say."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.hwmon import Temperatures, inputs, temperatures
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import Absent, Source
from tests.rig.sensors.sysfs import chip, zone


def _source(root: Path) -> Source:
    return temperatures(root / "class" / "hwmon", thermal=root / "class" / "thermal")


def _read(root: Path) -> Reading:
    (reading,) = Sensors([_source(root)], now_s=lambda: 0.0).read(["cpu.temperature"])
    return reading


@pytest.mark.parametrize("numbers", [(0, 1), (1, 0)])
def test_a_chip_is_known_by_what_lasts_whatever_its_number(
    tmp_path: Path, numbers: tuple[int, int]
) -> None:
    """Chips are numbered anew at every boot: a rule must not watch the disk after one."""
    # The kernel's document on hwmon: temp*_input is in thousandths of a degree.
    chip(tmp_path, number=numbers[0], name="nvme", device="nvme0",
         temp1_input="81000", temp1_label="Composite")  # fmt: skip
    chip(tmp_path, number=numbers[1], name="k10temp", device="0000:00:18.3",
         temp1_input="45500", temp1_label="Tctl")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(45.5)
    assert _source(tmp_path).where == "k10temp Tctl on 0000:00:18.3"


def test_the_whole_package_is_read_and_no_core_is_woken(tmp_path: Path) -> None:
    chip(tmp_path, number=2, name="coretemp", device="coretemp.0",
         temp1_input="61000", temp1_label="Package id 0",
         temp2_input="64000", temp2_label="Core 0")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(61.0)
    assert _source(tmp_path).where == "coretemp Package id 0 on coretemp.0"


def test_the_hotter_of_two_packages_counts(tmp_path: Path) -> None:
    for socket, text in enumerate(("61000", "72000")):
        chip(tmp_path, number=socket, name="coretemp", device=f"coretemp.{socket}",
             temp1_input=text, temp1_label=f"Package id {socket}")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(72.0)


def test_the_die_goes_before_the_number_for_the_fan_that_may_be_offset(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="k10temp", device="0000:00:18.3",
         temp1_input="70000", temp1_label="Tctl",
         temp2_input="50000", temp2_label="Tdie")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(50.0)


def test_an_input_that_its_chip_calls_faulty_is_not_trusted(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0",
         temp1_input="99000", temp1_fault="1", temp2_input="64000")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(64.0)


def test_with_nothing_but_faults_it_is_not_measured_and_names_them(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0",
         temp1_input="99000", temp1_fault="1")  # fmt: skip
    reading = _read(tmp_path)
    assert (reading.value, reading.why) == (None, "the chip reports a fault")
    assert reading.raw == "coretemp temp1 on coretemp.0"


def test_one_input_that_fails_costs_one_input(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0",
         temp1_input="", temp2_input="64000")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(64.0)


def test_one_input_that_cannot_even_be_opened_costs_one_input(tmp_path: Path) -> None:
    real = chip(tmp_path, number=0, name="coretemp", device="coretemp.0", temp2_input="64000")
    (real / "temp1_input").symlink_to(tmp_path / "nothing there")
    assert _read(tmp_path).value == pytest.approx(64.0)


def test_where_every_input_fails_the_reading_says_why(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0", temp1_input="N/A")
    assert _read(tmp_path).why == "cannot be read: says 'N/A' where a number should be"


def test_an_alarm_is_told_with_the_value(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0", temp1_input="98000",
         temp1_label="Package id 0", temp1_crit_alarm="1", temp1_max_alarm="0")  # fmt: skip
    reading = _read(tmp_path)
    assert (reading.value, reading.raw) == (98.0, "alarm: temp1_crit_alarm")


def test_a_stuck_input_does_not_hide_the_others(tmp_path: Path) -> None:
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0",
         temp1_input="61000", temp2_input="255000")  # fmt: skip
    assert _read(tmp_path).value == pytest.approx(61.0)


@pytest.mark.parametrize(
    ("text", "raw"), [("-128000", "-128.0"), ("0", "0.0"), ("255000", "255.0")]
)
def test_only_impossible_temperatures_are_not_measured(tmp_path: Path, text: str, raw: str) -> None:
    chip(tmp_path, number=0, name="k10temp", device="0000:00:18.3", temp1_input=text)
    reading = _read(tmp_path)
    assert (reading.value, reading.raw) == (None, raw)


def test_the_input_is_held_by_its_device_and_not_by_its_number(tmp_path: Path) -> None:
    chip(tmp_path, number=3, name="k10temp", device="0000:00:18.3", temp1_input="45500")
    ((_, _, found),) = inputs(tmp_path / "class" / "hwmon", "temp")
    assert "0000:00:18.3" in found.path.parts


# --- thermal zones ------------------------------------------------------------------------


@pytest.mark.parametrize("numbers", [(0, 1), (1, 0)])
def test_without_a_chip_a_zone_is_taken_by_its_type(
    tmp_path: Path, numbers: tuple[int, int]
) -> None:
    zone(tmp_path, number=numbers[0], kind="acpitz", temp="27800")
    zone(tmp_path, number=numbers[1], kind="x86_pkg_temp", temp="58000")
    assert _read(tmp_path).value == pytest.approx(58.0)
    assert _source(tmp_path).where == "thermal zone x86_pkg_temp"


def test_a_zone_of_the_firmwares_own_is_no_processor(tmp_path: Path) -> None:
    zone(tmp_path, number=0, kind="acpitz", temp="27800")
    assert isinstance(_source(tmp_path), Absent)


def test_a_chip_goes_before_a_zone(tmp_path: Path) -> None:
    zone(tmp_path, number=0, kind="x86_pkg_temp", temp="58000")
    chip(tmp_path, number=0, name="coretemp", device="coretemp.0", temp1_input="59000")
    assert _read(tmp_path).value == pytest.approx(59.0)


def test_a_machine_without_sensors_says_so(tmp_path: Path) -> None:
    assert _source(tmp_path).names == Temperatures.names
    assert _read(tmp_path).why == "no processor sensor is shown here"
