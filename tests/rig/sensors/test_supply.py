"""Files laid out as the kernel's document on the power supply class says."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import Absent
from harness.rig.sensors.supply import power_source
from tests.rig.sensors.sysfs import supply


def _read(supplies: Path) -> Reading:
    (reading,) = Sensors([power_source(supplies)], now_s=lambda: 0.0).read(["power.source"])
    return reading


def test_a_rig_runs_on_mains_until_its_plug_is_out(tmp_path: Path) -> None:
    plug = supply(tmp_path, "AC", type="Mains", online="1")
    supply(tmp_path, "BAT0", type="Battery", status="Full", capacity="97")
    source = power_source(tmp_path)
    assert source.read(0.0)["power.source"].value == "mains"
    (plug / "online").write_text("0\n")
    assert source.read(1.0)["power.source"].value == "battery"


def test_one_plug_of_two_is_enough(tmp_path: Path) -> None:
    supply(tmp_path, "AC", type="Mains", online="0")
    supply(tmp_path, "port0", type="USB", online="2")  # online, at a voltage it asked for
    supply(tmp_path, "BAT0", type="Battery", status="Charging")
    assert _read(tmp_path).value == "mains"


def test_the_battery_of_a_mouse_is_not_the_rigs(tmp_path: Path) -> None:
    """The kernel marks a supply of one device with the scope Device."""
    supply(tmp_path, "hidpp_battery_0", type="Battery", scope="Device", status="Discharging")
    source = power_source(tmp_path)
    assert isinstance(source, Absent)
    assert (
        source.why == "the kernel shows no power supply here but of other things (hidpp_battery_0)"
    )


def test_the_battery_of_a_mouse_does_not_put_a_plugged_rig_on_battery(tmp_path: Path) -> None:
    supply(tmp_path, "AC", type="Mains", online="1")
    supply(tmp_path, "hidpp_battery_0", type="Battery", scope="Device", status="Discharging")
    assert _read(tmp_path).value == "mains"


def test_a_desktop_with_empty_usb_ports_has_no_battery_to_run_on(tmp_path: Path) -> None:
    supply(tmp_path, "ucsi-source-psy-1", type="USB", online="0")
    reading = _read(tmp_path)
    assert reading.value is None
    assert reading.why == "no supply is connected, and no battery of the rig is shown"


@pytest.mark.parametrize(
    ("kind", "status", "source"),
    [
        ("Battery", "Discharging", "battery"),
        ("Battery", "Charging", "mains"),
        ("Battery", "Full", "mains"),
        ("Battery", "Not charging", "mains"),
        ("UPS", "Discharging", "battery"),
        ("UPS", "Full", "mains"),
    ],
)
def test_without_a_plug_to_ask_the_battery_tells(
    tmp_path: Path, kind: str, status: str, source: str
) -> None:
    supply(tmp_path, "BAT0", type=kind, scope="System", status=status)
    assert _read(tmp_path).value == source


def test_a_battery_that_does_not_say_what_it_does_is_not_measured(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", type="Battery", status="Unknown")
    reading = _read(tmp_path)
    assert (reading.value, reading.raw) == (None, "Unknown")


def test_of_two_batteries_the_one_that_empties_tells(tmp_path: Path) -> None:
    supply(tmp_path, "BAT0", type="Battery", status="Full")
    supply(tmp_path, "BAT1", type="Battery", status="Discharging")
    assert _read(tmp_path).value == "battery"


def test_a_plug_that_does_not_answer_is_not_a_battery(tmp_path: Path) -> None:
    supply(tmp_path, "AC", type="Mains", online="")
    supply(tmp_path, "BAT0", type="Battery", status="Full")
    assert _read(tmp_path).why == "cannot be read: its file is empty"


def test_a_rig_that_shows_no_supply_measures_none(tmp_path: Path) -> None:
    assert _read(tmp_path).why == "the kernel shows no power supply here"
