"""Files laid out as the kernel's documents on cpufreq and thermal throttling say."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.processor import BEGUN_S, clocks, throttle
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import Absent, Source
from tests.rig.sensors.sysfs import files, processor


def _read(source: Source, at_s: float = 0.0) -> Reading:
    (reading,) = source.read(at_s).values()
    return reading


# --- clocks -------------------------------------------------------------------------------


def test_a_clock_is_the_mean_of_the_cores_in_mhz(tmp_path: Path) -> None:
    # 4650000 kHz is 4650 MHz: the kernel's document on cpufreq gives kHz.
    files(tmp_path / "policy0", {"scaling_cur_freq": "4650000"})
    files(tmp_path / "policy1", {"scaling_cur_freq": "4550000"})
    assert _read(clocks(tmp_path)).value == pytest.approx(4600.0)


def test_what_the_hardware_says_goes_before_what_was_asked_for(tmp_path: Path) -> None:
    files(tmp_path / "policy0", {"scaling_cur_freq": "4650000", "cpuinfo_cur_freq": "3900000"})
    assert _read(clocks(tmp_path)).value == pytest.approx(3900.0)


def test_the_source_names_the_driver_since_what_it_means_depends_on_it(tmp_path: Path) -> None:
    files(tmp_path / "policy0", {"scaling_cur_freq": "4650000", "scaling_driver": "acpi-cpufreq"})
    assert clocks(tmp_path).where == f"{tmp_path}/policy*/scaling_cur_freq (acpi-cpufreq)"


def test_the_base_clock_on_a_label_is_no_clock(tmp_path: Path) -> None:
    files(tmp_path / "policy0", {"base_frequency": "3600000", "cpuinfo_max_freq": "5000000"})
    source = clocks(tmp_path)
    assert isinstance(source, Absent)
    assert source.why == "no frequency driver is at work here"


def test_a_driver_that_forgot_its_unit_is_taken_by_size_and_the_reading_says_so(
    tmp_path: Path,
) -> None:
    files(tmp_path / "policy0", {"scaling_cur_freq": "4650"})
    reading = _read(clocks(tmp_path))
    assert reading.value == pytest.approx(4650.0)
    assert reading.raw == "4650, said to be kHz, taken as MHz by its size"


def test_a_clock_of_nothing_is_not_measured(tmp_path: Path) -> None:
    files(tmp_path / "policy0", {"scaling_cur_freq": "0"})
    reading = _read(clocks(tmp_path))
    assert (reading.value, reading.raw) == (None, "0 kHz")
    assert isinstance(clocks(tmp_path / "none"), Absent)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "cannot be read: its file is empty"),
        ("<unknown>", "cannot be read: says '<unknown>' where a number should be"),
    ],
)
def test_a_file_that_holds_no_number_is_told_from_one_that_holds_nothing(
    tmp_path: Path, text: str, why: str
) -> None:
    files(tmp_path / "policy0", {"scaling_cur_freq": text})
    (reading,) = Sensors([clocks(tmp_path)], now_s=lambda: 0.0).read(["cpu.clock"])
    assert (reading.value, reading.why) == (None, why)
    assert reading.raw == str(tmp_path / "policy0" / "scaling_cur_freq")


# --- held down by heat --------------------------------------------------------------------


def _counts(cpus: Path, cpu: int, *, package: int = 0, of_package: int = 0, core: int = 0,
            ms: int | None = 0) -> None:  # fmt: skip
    texts = {"package_throttle_count": str(of_package), "core_throttle_count": str(core)}
    if ms is not None:
        texts["package_throttle_total_time_ms"] = str(ms)
        texts["core_throttle_total_time_ms"] = str(ms)
    processor(cpus, number=cpu, core=cpu // 2, package=package, **texts)


def test_the_first_look_only_starts_the_count(tmp_path: Path) -> None:
    _counts(tmp_path, 0, of_package=812, core=4)  # since boot: an old story
    assert not _read(throttle(tmp_path)).measured


def test_a_count_that_stands_still_is_not_held_down_whatever_it_is(tmp_path: Path) -> None:
    _counts(tmp_path, 0, of_package=812, core=4)
    source = throttle(tmp_path)
    source.read(0.0)
    assert _read(source, 1.0).value is False


def test_a_count_that_moves_is_held_down_and_names_what_was(tmp_path: Path) -> None:
    for cpu in range(4):
        _counts(tmp_path, cpu)
    source = throttle(tmp_path)
    source.read(0.0)
    _counts(tmp_path, 2, core=3, ms=None)
    reading = _read(source, 1.0)
    assert (reading.value, reading.raw) == (True, "core 0.1: 3 more")


def test_holding_down_that_only_ends_in_a_second_was_in_force_in_it(tmp_path: Path) -> None:
    """The count moves when it begins, the time when it ends: both are differences."""
    _counts(tmp_path, 0, of_package=1)
    source = throttle(tmp_path)
    source.read(0.0)
    _counts(tmp_path, 0, of_package=1, ms=5200)
    assert _read(source, 1.0).value is True
    assert _read(source, 2.0).value is False


def test_between_its_beginning_and_its_end_it_is_in_force(tmp_path: Path) -> None:
    _counts(tmp_path, 0)
    source = throttle(tmp_path)
    source.read(0.0)
    _counts(tmp_path, 0, of_package=1)
    values = [_read(source, float(at)).value for at in range(1, 5)]
    _counts(tmp_path, 0, of_package=1, ms=3900)
    values += [_read(source, float(at)).value for at in range(5, 7)]
    assert values == [True, True, True, True, True, False]


def test_an_end_that_nobody_sees_does_not_last_for_ever(tmp_path: Path) -> None:
    _counts(tmp_path, 0)
    source = throttle(tmp_path)
    source.read(0.0)
    _counts(tmp_path, 0, of_package=1)
    assert _read(source, 1.0).value is True
    assert _read(source, 1.0 + BEGUN_S).value is False


def test_an_older_kernel_without_times_is_judged_by_its_counts(tmp_path: Path) -> None:
    _counts(tmp_path, 0, ms=None)
    source = throttle(tmp_path)
    source.read(0.0)
    _counts(tmp_path, 0, of_package=1, ms=None)
    assert [_read(source, float(at)).value for at in (1, 2)] == [True, False]


def test_the_count_of_a_package_is_read_once_and_not_added_up(tmp_path: Path) -> None:
    for cpu in range(4):
        _counts(tmp_path, cpu, package=cpu // 2)
    source = throttle(tmp_path)
    source.read(0.0)
    for cpu in (0, 1):
        _counts(tmp_path, cpu, package=0, of_package=2)
    assert _read(source, 1.0).raw == "package 0: 2 more"


def test_counts_that_begin_anew_are_not_measured(tmp_path: Path) -> None:
    _counts(tmp_path, 0, of_package=7)
    source = throttle(tmp_path)
    source.read(0.0)
    _counts(tmp_path, 0, of_package=0)
    assert _read(source, 1.0).why == "the counts began anew"


def test_a_processor_without_counters_says_so(tmp_path: Path) -> None:
    files(tmp_path / "cpu0", {"topology/core_id": "0"})
    source = throttle(tmp_path)
    assert isinstance(source, Absent)
    assert source.why == "the kernel counts no holding down by heat on this processor"
