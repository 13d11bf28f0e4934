"""Files laid out as proc(5) and the kernel's documents say; psutil is the check."""

from __future__ import annotations

import gc
from pathlib import Path

import psutil
import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.kept import KeptFile
from harness.rig.sensors.linux import (
    DiskBusy,
    Memory,
    Pressure,
    ProcessorTimes,
    parse_cpu_line,
    parse_pressure,
)
from harness.rig.sensors.own_work import OwnWork


def _one(readings: object) -> Reading:
    assert isinstance(readings, dict)
    (reading,) = readings.values()
    assert isinstance(reading, Reading)
    return reading


def test_a_file_that_cannot_be_opened_leaves_nothing_to_close(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        KeptFile(tmp_path / "none")
    gc.collect()  # what its end raises is a warning, and warnings are errors here


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


# --- pressure -----------------------------------------------------------------------------

# The two forms of the kernel's document on PSI.
PSI_CPU = "some avg10=0.00 avg60=0.00 avg300=0.00 total=0\n"
PSI_MEMORY = (
    "some avg10=1.50 avg60=0.20 avg300=0.05 total=123456\n"
    "full avg10=0.75 avg60=0.10 avg300=0.02 total=65432\n"
)


def _pressure(folder: Path, **texts: str) -> Path:
    for name, text in {"cpu": PSI_CPU, "memory": PSI_MEMORY, "io": PSI_CPU, **texts}.items():
        (folder / name).write_text(text)
    return folder


def test_the_first_look_at_pressure_gives_the_kernels_own_mean(tmp_path: Path) -> None:
    readings = Pressure(_pressure(tmp_path)).read(0.0)
    assert readings["memory.pressure"].value == 1.5
    assert readings["memory.pressure"].raw == "the kernel's mean of the last 10 s"
    assert readings["cpu.pressure"].value == 0.0


def test_pressure_is_the_share_of_time_waited_since_the_look_before(tmp_path: Path) -> None:
    source = Pressure(_pressure(tmp_path))
    source.read(0.0)
    _pressure(tmp_path, io="some avg10=9.00 avg60=0.00 avg300=0.00 total=500000\n")
    readings = source.read(2.0)
    assert readings["disk.pressure"].value == pytest.approx(25.0)
    assert readings["disk.pressure"].raw is None


def test_a_pressure_that_cannot_be_read_costs_the_others_nothing(tmp_path: Path) -> None:
    source = Pressure(_pressure(tmp_path, cpu=""))
    readings = source.read(0.0)
    assert readings["cpu.pressure"].why == "cannot be read: it has no line of that form"
    assert readings["memory.pressure"].measured


@pytest.mark.parametrize(
    "text", [b"", b"full avg10=0.00 total=3\n", b"some avg10=0.00\n", b"some x"]
)
def test_a_pressure_of_another_form_is_refused(text: bytes) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - whatever it says, its source names the file
        parse_pressure(text)
