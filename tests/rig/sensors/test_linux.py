"""Files laid out as proc(5) and the kernel's documents say; psutil is the check."""

from __future__ import annotations

from pathlib import Path

import psutil
import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.linux import (
    DiskBusy,
    Memory,
    PowerSource,
    ProcessorTimes,
    clocks,
    parse_cpu_line,
    power_source,
    temperatures,
)
from harness.rig.sensors.own_work import OwnWork
from harness.rig.sensors.source import Absent


def _one(readings: object) -> Reading:
    assert isinstance(readings, dict)
    (reading,) = readings.values()
    assert isinstance(reading, Reading)
    return reading


# --- load ---------------------------------------------------------------------------------


def _stat(path: Path, *, user: int, idle: int, iowait: int = 0, steal: int = 0) -> None:
    path.write_text(f"cpu  {user} 0 0 {idle} {iowait} 0 0 {steal} 0 0\ncpu0 1 2 3\n")


class _Own(OwnWork):
    def __init__(self) -> None:
        super().__init__()
        self.total_s = 0.0

    def spent_s(self) -> float:
        return self.total_s


def test_the_cpu_line_counts_waiting_for_a_disk_as_idle_and_stolen_time_as_busy() -> None:
    assert parse_cpu_line(b"cpu  10 1 5 70 8 2 1 3 4 0\n") == (22, 100)


def test_an_old_kernel_with_fewer_columns_is_read_too() -> None:
    assert parse_cpu_line(b"cpu  10 0 10 80\n") == (20, 100)


def test_the_first_look_at_a_rate_has_no_value(tmp_path: Path) -> None:
    _stat(tmp_path / "stat", user=100, idle=100)
    readings = ProcessorTimes(own=_Own(), path=tmp_path / "stat").read(0.0)
    assert all(reading.value is None for reading in readings.values())


def test_load_is_the_busy_share_since_the_look_before(tmp_path: Path) -> None:
    path, own = tmp_path / "stat", _Own()
    _stat(path, user=1000, idle=1000)
    source = ProcessorTimes(own=own, path=path)
    source.read(0.0)
    _stat(path, user=1050, idle=1150)
    own.total_s = 0.3  # of 2 s of two cores: 15 %, at 100 ticks a second
    readings = source.read(1.0)
    assert readings["cpu.load"].value == pytest.approx(25.0)
    assert readings["cpu.load.others"].value == pytest.approx(10.0)


def test_what_nobody_else_did_is_zero_and_not_less(tmp_path: Path) -> None:
    path, own = tmp_path / "stat", _Own()
    _stat(path, user=0, idle=0)
    source = ProcessorTimes(own=own, path=path)
    source.read(0.0)
    _stat(path, user=50, idle=150)
    own.total_s = 0.51  # a tick more than the kernel has counted yet
    assert source.read(1.0)["cpu.load.others"].value == 0.0


def test_time_that_nobody_counted_is_not_put_on_others(tmp_path: Path) -> None:
    path, own = tmp_path / "stat", _Own()
    own.total_s = 5.0
    _stat(path, user=0, idle=0)
    source = ProcessorTimes(own=own, path=path)
    source.read(0.0)
    _stat(path, user=50, idle=150)
    own.total_s = 1.0
    readings = source.read(1.0)
    assert readings["cpu.load"].measured
    assert not readings["cpu.load.others"].measured


def test_two_looks_in_quick_succession_give_the_same_rate(tmp_path: Path) -> None:
    path = tmp_path / "stat"
    _stat(path, user=0, idle=0)
    source = ProcessorTimes(own=_Own(), path=path)
    source.read(0.0)
    _stat(path, user=50, idle=150)
    first = source.read(1.0)
    _stat(path, user=60, idle=150)
    assert source.read(1.05) == first


# --- memory and disks ---------------------------------------------------------------------


def test_available_memory_agrees_with_psutil() -> None:
    ours = _one(dict(Memory().read(0.0))).value
    assert isinstance(ours, float)
    assert ours == pytest.approx(psutil.virtual_memory().available / 1024**3, rel=0.05)


def _diskstats(path: Path, busy: dict[str, int]) -> None:
    # /proc/diskstats: major minor name, then 17 fields; the 10th is the time doing I/Os in ms.
    path.write_text(
        "".join(
            f" 8 {number} {name} 1 2 3 4 5 6 7 8 0 {ms} 11 0 0 0 0 0 0\n"
            for number, (name, ms) in enumerate(busy.items())
        )
    )


def test_the_busiest_whole_disk_is_shown(tmp_path: Path) -> None:
    blocks, path = tmp_path / "block", tmp_path / "diskstats"
    for name in ("sda", "nvme0n1", "loop0", "dm-0"):
        (blocks / name).mkdir(parents=True)
    _diskstats(path, {"sda": 0, "sda1": 0, "nvme0n1": 0, "loop0": 0, "dm-0": 0})
    source = DiskBusy(path, blocks=blocks)
    assert _one(dict(source.read(0.0))).value is None
    _diskstats(path, {"sda": 250, "sda1": 900, "nvme0n1": 400, "loop0": 950, "dm-0": 990})
    assert _one(dict(source.read(1.0))).value == pytest.approx(40.0)


def test_a_rig_without_disks_of_its_own_measures_none(tmp_path: Path) -> None:
    (tmp_path / "block").mkdir()
    _diskstats(tmp_path / "diskstats", {"loop0": 0})
    source = DiskBusy(tmp_path / "diskstats", blocks=tmp_path / "block")
    source.read(0.0)
    assert _one(dict(source.read(1.0))).why == "this rig shows no disk of its own"


# --- clocks and temperatures --------------------------------------------------------------


def _files(folder: Path, **texts: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text)


def test_a_clock_is_the_mean_of_the_cores_in_mhz(tmp_path: Path) -> None:
    # 4650000 kHz is 4650 MHz: the kernel's document on cpufreq gives kHz.
    _files(tmp_path / "policy0", scaling_cur_freq="4650000\n")
    _files(tmp_path / "policy1", scaling_cur_freq="4550000\n")
    assert _one(dict(clocks(tmp_path).read(0.0))).value == pytest.approx(4600.0)


def test_what_the_hardware_says_goes_before_what_was_asked_for(tmp_path: Path) -> None:
    _files(tmp_path / "policy0", scaling_cur_freq="4650000\n", cpuinfo_cur_freq="3900000\n")
    assert _one(dict(clocks(tmp_path).read(0.0))).value == pytest.approx(3900.0)


def test_a_clock_of_nothing_is_not_measured(tmp_path: Path) -> None:
    _files(tmp_path / "policy0", scaling_cur_freq="0\n")
    assert not _one(dict(clocks(tmp_path).read(0.0))).measured
    assert isinstance(clocks(tmp_path / "none"), Absent)


def _chip(root: Path, number: int, name: str, **texts: str) -> None:
    _files(root / f"hwmon{number}", name=f"{name}\n", **texts)


@pytest.mark.parametrize("first", ["nvme", "k10temp"])
def test_chips_are_known_by_name_whatever_their_number(tmp_path: Path, first: str) -> None:
    # The kernel's document on hwmon: temp*_input is in thousandths of a degree.
    second = "k10temp" if first == "nvme" else "nvme"
    texts = {"nvme": "81000\n", "k10temp": "45500\n"}
    _chip(tmp_path, 0, first, temp1_input=texts[first])
    _chip(tmp_path, 1, second, temp1_input=texts[second])
    source = temperatures(tmp_path)
    assert _one(dict(source.read(0.0))).value == pytest.approx(45.5)
    assert "k10temp" in source.where


def test_the_hottest_input_counts_and_a_faulty_one_does_not(tmp_path: Path) -> None:
    _chip(
        tmp_path,
        0,
        "coretemp",
        temp1_input="61000\n",
        temp2_input="64000\n",
        temp3_input="99000\n",
        temp3_fault="1\n",
    )
    assert _one(dict(temperatures(tmp_path).read(0.0))).value == pytest.approx(64.0)


def test_a_stuck_input_does_not_hide_the_others(tmp_path: Path) -> None:
    _chip(tmp_path, 0, "coretemp", temp1_input="61000\n", temp2_input="255000\n")
    assert _one(dict(temperatures(tmp_path).read(0.0))).value == pytest.approx(61.0)


def test_only_impossible_temperatures_are_not_measured(tmp_path: Path) -> None:
    _chip(tmp_path, 0, "coretemp", temp1_input="-128000\n")
    reading = _one(dict(temperatures(tmp_path).read(0.0)))
    assert (reading.value, reading.raw) == (None, "-128.0")


def test_a_machine_without_sensors_says_so(tmp_path: Path) -> None:
    (reading,) = temperatures(tmp_path).read(0.0).values()
    assert reading.why == "no processor sensor is shown here"


# --- power --------------------------------------------------------------------------------


def test_a_rig_runs_on_mains_until_every_supply_is_off(tmp_path: Path) -> None:
    _files(tmp_path / "AC", type="Mains\n", online="1\n")
    _files(tmp_path / "BAT0", type="Battery\n", capacity="97\n")
    source = power_source(tmp_path)
    assert isinstance(source, PowerSource)
    assert _one(dict(source.read(0.0))).value == "mains"
    (tmp_path / "AC" / "online").write_text("0\n")
    assert _one(dict(source.read(1.0))).value == "battery"


def test_a_rig_that_shows_no_supply_measures_none(tmp_path: Path) -> None:
    assert isinstance(power_source(tmp_path), Absent)
