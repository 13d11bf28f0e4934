"""Speeds and generations: the kernel's pci_speed_string, in its new and its old spelling.

Counters: the kernel's document on AER counters in sysfs, whose sample this is. The short names
are those that newer kernels print.
"""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.readings import Reading
from harness.rig.sensors.link import (
    GENERATION_OF_GT,
    at_most,
    cards,
    link,
    link_errors,
    parse_errors,
    parse_generation,
    parse_width,
    port_above,
)
from harness.rig.sensors.source import Absent, Source, Unreadable
from tests.rig.sensors.sysfs import device, files

SPEEDS = {
    "2.5 GT/s PCIe": 1, "5.0 GT/s PCIe": 2, "8.0 GT/s PCIe": 3,
    "16.0 GT/s PCIe": 4, "32.0 GT/s PCIe": 5, "64.0 GT/s PCIe": 6,
}  # fmt: skip
OLD_SPEEDS = {"2.5 GT/s": 1, "5 GT/s": 2, "8 GT/s": 3, "16 GT/s": 4, "32 GT/s": 5}
AER = (
    "Receiver Error 2\nBad TLP 0\nBad DLLP 0\nRELAY_NUM Rollover 0\nReplay Timer Timeout 0\n"
    "Advisory Non-Fatal 0\nCorrected Internal Error 0\nHeader Log Overflow 0\nTOTAL_ERR_COR 2\n"
)
AER_SHORT = "RxErr 4\nBadTLP 2\n"
CARD, PORT = "0000:01:00.0", "0000:00:01.0"


def _link(speed: str, width: str, most_speed: str = "", most_width: str = "") -> dict[str, str]:
    return {
        "current_link_speed": speed,
        "current_link_width": width,
        "max_link_speed": most_speed or speed,
        "max_link_width": most_width or width,
    }


def _rig(root: Path, speed: str = "16.0 GT/s PCIe", width: str = "16", **counters: str) -> Path:
    """Make a card below a port; return the folder of devices."""
    port = device(root, PORT, _link("16.0 GT/s PCIe", "8"), kind="0x060400")
    device(root, CARD, {**_link(speed, width), **counters}, under=port)
    return root / "bus" / "pci" / "devices"


def _both(source: Source) -> tuple[object, object]:
    readings = source.read(0.0)
    return readings["gpu.link.generation"].value, readings["gpu.link.width"].value


# --- speed and width ----------------------------------------------------------------------


@pytest.mark.parametrize(("text", "generation"), [*SPEEDS.items(), *OLD_SPEEDS.items()])
def test_a_speed_is_a_generation_in_either_spelling(text: str, generation: int) -> None:
    assert parse_generation(f"{text}\n") == generation


@pytest.mark.parametrize("text", ["Unknown", "Unknown speed", "", "0", "9.0 GT/s PCIe", "x8"])
def test_a_speed_that_is_not_known_is_no_generation(text: str) -> None:
    with pytest.raises(Unreadable):
        parse_generation(text)


@given(st.text(max_size=20))
def test_whatever_a_device_says_is_a_generation_or_unreadable(text: str) -> None:
    with contextlib.suppress(Unreadable):
        assert parse_generation(text) in GENERATION_OF_GT.values()


@pytest.mark.parametrize(("text", "width"), [("1\n", 1), ("8\n", 8), ("16\n", 16)])
def test_lanes_are_a_plain_number(text: str, width: int) -> None:
    assert parse_width(text) == width


@pytest.mark.parametrize("text", ["63\n", "0\n", "255", "3", "x16", "", "²"])
def test_the_lanes_of_a_device_that_is_gone_are_not_measured(text: str) -> None:
    # A register of all ones: (0xffff & 0x3f0) >> 4 is 63.
    with pytest.raises(Unreadable):
        parse_width(text)


@pytest.mark.parametrize(
    ("register", "speed", "width"), [(0x1103, 3, 16), (0x1084, 4, 8), (0x1101, 1, 16)]
)
def test_the_register_of_the_specification_reads_as_the_kernel_shows_it(
    tmp_path: Path, register: int, speed: int, width: int
) -> None:
    # Link Status: speed in bits 0 to 3, width in bits 4 to 9.
    texts = {generation: text for text, generation in SPEEDS.items()}
    source = link(devices=_rig(tmp_path, texts[register & 0xF], str((register & 0x3F0) >> 4)))
    assert _both(source) == (speed, width)


def test_what_a_device_does_not_tell_costs_the_other_reading_nothing(tmp_path: Path) -> None:
    readings = link(devices=_rig(tmp_path, "Unknown", "16")).read(0.0)
    assert readings["gpu.link.width"].value == 16
    lost = readings["gpu.link.generation"]
    assert (lost.value, lost.why, lost.raw) == (
        None,
        "the device does not say its speed",
        "Unknown",
    )


def test_the_link_can_be_no_more_than_its_weaker_end(tmp_path: Path) -> None:
    """A card's own maximum says nothing about the slot that it is in."""
    card = files(tmp_path / "card", _link("2.5 GT/s PCIe", "8", "32.0 GT/s PCIe", "16"))
    port = files(tmp_path / "port", _link("2.5 GT/s PCIe", "8", "32.0 GT/s PCIe", "8"))
    assert at_most(card) == (5, 16)
    assert at_most(card, port) == (5, 8)
    assert at_most(card, tmp_path / "nothing there") == (5, 16)


def test_the_source_names_the_address_and_what_the_link_could_have(tmp_path: Path) -> None:
    source = link(devices=_rig(tmp_path))
    assert source.where == f"PCI device {CARD}, at most generation 4 with 8 lanes"


# --- which card ---------------------------------------------------------------------------


def test_of_several_cards_one_must_be_named(tmp_path: Path) -> None:
    devices = _rig(tmp_path)
    device(tmp_path, "0000:02:00.0", _link("8.0 GT/s PCIe", "4"), kind="0x030200")
    source = link(devices=devices)
    assert isinstance(source, Absent)
    assert source.why == f"several cards ({CARD}, 0000:02:00.0): name one in rig.gpu"
    assert _both(link("00000000:02:00.0", devices=devices)) == (3, 4)  # as its driver spells it


def test_what_is_no_graphics_card_is_not_taken_for_one(tmp_path: Path) -> None:
    device(tmp_path, "0000:03:00.0", _link("8.0 GT/s PCIe", "4"), kind="0x010802")
    devices = tmp_path / "bus" / "pci" / "devices"
    assert cards(devices) == ()
    source = link(devices=devices)
    assert isinstance(source, Absent)
    assert source.why == "no graphics card with a link is shown here"


def test_a_named_card_that_is_not_there_is_told(tmp_path: Path) -> None:
    source = link("0000:09:00.0", devices=_rig(tmp_path))
    assert isinstance(source, Absent)
    assert source.why == "no PCI device has the address 0000:09:00.0"


def test_a_card_without_a_link_says_so(tmp_path: Path) -> None:
    device(tmp_path, "0000:00:02.0", {})
    source = link("0000:00:02.0", devices=tmp_path / "bus" / "pci" / "devices")
    assert isinstance(source, Absent)
    assert source.why == "the device has no PCI Express link"


# --- errors -------------------------------------------------------------------------------


def _errors(source: Source, at_s: float) -> Reading:
    return source.read(at_s)["gpu.link.errors"]


@pytest.mark.parametrize(("text", "count"), [(AER, 2), (AER_SHORT, 6), ("TOTAL_ERR_FATAL 0\n", 0)])
def test_counters_are_read_in_the_long_and_the_short_form(text: str, count: int) -> None:
    assert parse_errors(text.encode()) == count


@pytest.mark.parametrize("text", [b"", b"\n", b"Bad TLP\n"])
def test_counters_of_another_form_are_refused(text: bytes) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - its source says where
        parse_errors(text)


def test_errors_are_those_since_the_look_before(tmp_path: Path) -> None:
    devices = _rig(tmp_path, aer_dev_correctable=AER.rstrip())
    source = link_errors(devices=devices)
    assert _errors(source, 0.0).why == "the first look only starts the count"
    assert _errors(source, 1.0).value == 0
    files(devices / CARD, {"aer_dev_correctable": AER.replace(" 2", " 5").rstrip()})
    assert _errors(source, 2.0).value == 3
    assert _errors(source, 3.0).value == 0


def test_errors_counted_at_the_other_end_of_the_link_count_too(tmp_path: Path) -> None:
    devices = _rig(tmp_path, aer_dev_correctable=AER.rstrip())
    files(devices / PORT, {"aer_dev_nonfatal": "TOTAL_ERR_NONFATAL 0"})
    source = link_errors(devices=devices)
    source.read(0.0)
    files(devices / PORT, {"aer_dev_nonfatal": "TOTAL_ERR_NONFATAL 1"})
    reading = _errors(source, 1.0)
    assert (reading.value, reading.raw) == (1, f"{PORT} aer_dev_nonfatal: 1")


def test_counts_that_begin_anew_are_not_measured(tmp_path: Path) -> None:
    devices = _rig(tmp_path, aer_dev_correctable=AER_SHORT.rstrip())
    source = link_errors(devices=devices)
    source.read(0.0)
    files(devices / CARD, {"aer_dev_correctable": "RxErr 0\nBadTLP 0"})
    assert _errors(source, 1.0).why == "the counts began anew"


def test_a_link_whose_errors_nobody_counts_says_so(tmp_path: Path) -> None:
    source = link_errors(devices=_rig(tmp_path))
    assert isinstance(source, Absent)
    assert source.why == "the kernel counts no errors of this link"


def test_the_port_above_is_a_device_and_not_the_root(tmp_path: Path) -> None:
    devices = _rig(tmp_path)
    above = port_above(devices / CARD)
    assert above is not None
    assert above.name == PORT
    assert port_above(devices / PORT) is None
