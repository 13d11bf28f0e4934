"""Files and labels of the kernel's document on the amdgpu driver's thermal and power files."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.rig.sensors.graphics import graphics
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import Absent
from tests.rig.sensors.sysfs import device, files

CARD = "0000:03:00.0"
CHIP = {
    "name": "amdgpu",
    "temp1_input": "61000", "temp1_label": "edge",
    "temp2_input": "78000", "temp2_label": "junction",
    "temp3_input": "70000", "temp3_label": "mem",
    "freq1_input": "2520000000", "freq1_label": "sclk",
    "freq2_input": "1250000000", "freq2_label": "mclk",
    "power1_average": "250000000", "power1_cap": "300000000",
}  # fmt: skip


def _devices(root: Path, *, number: int = 4, **changed: str) -> Path:
    link = {"current_link_width": "16"}
    real = device(root, CARD, {**link, "gpu_busy_percent": "97"})
    files(real / "hwmon" / f"hwmon{number}", {**CHIP, **changed})
    return root / "bus" / "pci" / "devices"


@pytest.mark.parametrize("number", [0, 7])
def test_a_card_is_read_in_the_units_of_its_readings_whatever_its_chips_number(
    tmp_path: Path, number: int
) -> None:
    readings = graphics(devices=_devices(tmp_path, number=number)).read(0.0)
    assert {name: each.value for name, each in readings.items()} == pytest.approx(
        {
            "gpu.temperature": 61.0,
            "gpu.memory.temperature": 70.0,
            "gpu.clock": 2520.0,
            "gpu.memory.clock": 1250.0,
            "gpu.power": 250.0,
            "gpu.power.limit": 300.0,
            "gpu.load": 97.0,
        }
    )


def test_what_a_card_does_not_have_is_offered_by_nobody(tmp_path: Path) -> None:
    real = device(tmp_path, CARD, {"current_link_width": "16"})
    files(real / "hwmon" / "hwmon0", {"name": "xe", "power1_input": "90000000"})
    source = graphics(devices=tmp_path / "bus" / "pci" / "devices")
    assert source.names == ("gpu.power",)


def test_one_file_that_fails_costs_one_reading(tmp_path: Path) -> None:
    readings = graphics(devices=_devices(tmp_path, temp3_input="")).read(0.0)
    assert readings["gpu.memory.temperature"].why == "cannot be read: its file is empty"
    assert [name for name, each in readings.items() if not each.measured] == [
        "gpu.memory.temperature"
    ]


def test_a_card_whose_registers_are_gone_measures_nothing_and_not_zero(tmp_path: Path) -> None:
    devices = _devices(tmp_path, temp1_input="0", freq1_input="0", power1_average="4294967295")
    source = graphics(devices=devices)
    sample = Sensors([source], now_s=lambda: 0.0).sample()
    for name in ("gpu.temperature", "gpu.clock", "gpu.power"):
        assert not sample.readings[name].measured


def test_a_card_without_files_of_its_driver_says_so(tmp_path: Path) -> None:
    device(tmp_path, CARD, {"current_link_width": "16"})
    source = graphics(devices=tmp_path / "bus" / "pci" / "devices")
    assert isinstance(source, Absent)
    assert source.why == "the kernel shows no sensors of it (no driver)"
