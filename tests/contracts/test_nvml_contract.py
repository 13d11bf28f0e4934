"""What the driver's library must do: the fake always, the real one where there is a card."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import pytest

from harness.rig.sensors.card import Card
from harness.rig.sensors.card_readings import CardFacts, CardNow
from harness.rig.sensors.fake_nvml import FakeCard, FakeNvml, seen_card
from harness.rig.sensors.fake_work import WorkedCard
from harness.rig.sensors.nvml import INVALID_ARGUMENT, NOT_FOUND, Number, Nvml, NvmlError, Text
from harness.rig.sensors.nvml_binding import NvmlBinding
from harness.rig.sensors.pci import pci_address

_Answer = TypeVar("_Answer", int, str)


def asked(question: Callable[[], _Answer]) -> _Answer | NvmlError:
    try:
        return question()
    except NvmlError as error:
        return error


@pytest.fixture(params=["fake", "seen", "worked", "real"])
def nvml(request: pytest.FixtureRequest) -> Nvml:
    scripted: dict[str, Callable[[], FakeCard]] = {
        "fake": FakeCard,
        "seen": seen_card,
        "worked": lambda: WorkedCard(now_s=lambda: 9.0, loads=((8.0, 20.0),)),
    }
    if request.param in scripted:
        card = scripted[request.param]()
        return FakeNvml(by_uuid={"GPU-1f0c64d2-3b5e-4a86-9d10-2c7f5e8ab901": card})
    try:
        opened = NvmlBinding()
    except (NvmlError, ImportError) as error:
        pytest.skip(f"no driver here: {error}")
    if not opened.cards():
        pytest.skip("no card here")
    return opened


def test_the_driver_says_its_version(nvml: Nvml) -> None:
    assert nvml.driver()[0].isdigit()


def test_cards_are_known_by_their_uuids(nvml: Nvml) -> None:
    assert len(set(nvml.cards())) == len(nvml.cards()) >= 1
    assert all(uuid.startswith("GPU-") for uuid in nvml.cards())


@pytest.mark.parametrize("what", list(Number))
def test_a_number_is_a_number_or_an_error_of_the_library(nvml: Nvml, what: Number) -> None:
    answer = asked(lambda: nvml.number(nvml.cards()[0], what))
    assert isinstance(answer, int) or (answer.code > 0 and answer.text)


@pytest.mark.parametrize("what", list(Text))
def test_a_text_is_a_text_or_an_error_of_the_library(nvml: Nvml, what: Text) -> None:
    answer = asked(lambda: nvml.text(nvml.cards()[0], what))
    assert isinstance(answer, str) or (answer.code > 0 and answer.text)


def test_the_address_is_one(nvml: Nvml) -> None:
    assert pci_address(nvml.text(nvml.cards()[0], Text.ADDRESS))


def test_a_card_that_is_not_there_is_an_error(nvml: Nvml) -> None:
    with pytest.raises(NvmlError) as error:
        nvml.number("GPU-00000000-0000-0000-0000-000000000000", Number.TEMPERATURE)
    assert error.value.code in (NOT_FOUND, INVALID_ARGUMENT)


def test_every_reading_of_its_first_card_has_a_value_or_a_reason(nvml: Nvml) -> None:
    card = Card(nvml, nvml.cards()[0])
    for source in (CardNow(card=card), CardFacts(card=card)):
        readings = source.read(1.0)
        assert set(readings) == set(source.names)
        for reading in readings.values():
            assert (reading.value is None) != (reading.why is None)


def test_the_binding_knows_how_to_ask_every_question() -> None:
    """By name, against the binding itself: the driver is not needed for that."""
    pynvml = pytest.importorskip("pynvml")
    from harness.rig.sensors import nvml_binding

    assert set(nvml_binding._numbers(pynvml)) == set(Number)
    assert set(nvml_binding._texts(pynvml)) == set(Text)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (2, "NVML_ERROR_INVALID_ARGUMENT"),
        (3, "NVML_ERROR_NOT_SUPPORTED"),
        (6, "NVML_ERROR_NOT_FOUND"),
        (12, "NVML_ERROR_LIBRARY_NOT_FOUND"),
        (13, "NVML_ERROR_FUNCTION_NOT_FOUND"),
        (15, "NVML_ERROR_GPU_IS_LOST"),
        (16, "NVML_ERROR_RESET_REQUIRED"),
        (18, "NVML_ERROR_LIB_RM_VERSION_MISMATCH"),
        (999, "NVML_ERROR_UNKNOWN"),
    ],
)
def test_the_codes_are_those_of_the_header(ours: int, theirs: str) -> None:
    assert getattr(pytest.importorskip("pynvml"), theirs) == ours


def test_field_and_threshold_numbers_are_those_of_the_header() -> None:
    """NVML's public header, API version 13 (``nvml.h``)."""
    pynvml = pytest.importorskip("pynvml")
    assert pynvml.NVML_FI_DEV_MEMORY_TEMP == 82
    assert pynvml.NVML_TEMPERATURE_THRESHOLD_SHUTDOWN == 0
    assert pynvml.NVML_TEMPERATURE_THRESHOLD_SLOWDOWN == 1
    assert pynvml.NVML_CLOCK_GRAPHICS == 0
    assert pynvml.NVML_CLOCK_MEM == 2
