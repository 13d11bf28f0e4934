"""The card under test: every answer of the driver, and every way it has of not answering."""

from __future__ import annotations

import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.card import Card, NoCard, chosen
from harness.rig.sensors.card_readings import (
    FACT_NAMES,
    NOW_NAMES,
    CardFacts,
    CardNow,
    card_sources,
)
from harness.rig.sensors.fake_nvml import FakeCard, FakeNvml
from harness.rig.sensors.nvml import (
    GPU_IS_LOST,
    LIBRARY_NOT_FOUND,
    NOT_SUPPORTED,
    UNKNOWN,
    VERSION_MISMATCH,
    Number,
    Nvml,
    NvmlError,
    Text,
)
from harness.rig.sensors.source import Absent

UUID = "GPU-1f0c64d2-3b5e-4a86-9d10-2c7f5e8ab901"
OTHER = "GPU-1f0d77aa-0000-4a86-9d10-2c7f5e8ab902"


def rig(card: FakeCard) -> FakeNvml:
    return FakeNvml(by_uuid={UUID: card})


def now(card: FakeCard, at_s: float = 1.0) -> dict[str, Reading]:
    return dict(CardNow(card=Card(rig(card), UUID)).read(at_s))


def facts(card: FakeCard) -> dict[str, Reading]:
    return dict(CardFacts(card=Card(rig(card), UUID)).read(1.0))


def shown(readings: dict[str, Reading]) -> dict[str, object]:
    return {name: reading.value for name, reading in readings.items()}


def test_what_changes_is_read_in_the_units_of_the_readings() -> None:
    assert shown(now(FakeCard())) == {
        "gpu.temperature": 61.0,
        "gpu.memory.temperature": None,
        "gpu.clock": 2520.0,
        "gpu.memory.clock": 10_501.0,
        "gpu.power": 224.31,  # NVML gives milliwatts
        "gpu.load": 97.0,
        "gpu.link.generation": 4.0,
        "gpu.link.width": 16.0,
        "gpu.limited.heat": False,
        "gpu.limited.power": False,
        "gpu.limited.other": False,
    }


def test_the_facts_of_a_card_are_read() -> None:
    assert shown(facts(FakeCard())) == {
        "gpu.power.limit": 300.0,
        "gpu.power.limit.default": 320.0,
        "gpu.power.limit.least": 100.0,
        "gpu.power.limit.most": 350.0,
        "gpu.link.generation.card": 5.0,
        "gpu.link.generation.system": 4.0,
        "gpu.link.width.system": 16.0,
        "gpu.link.replays": 0.0,
        "gpu.temperature.slowdown": 95.0,
        "gpu.temperature.shutdown": 98.0,
        "gpu.model": "Heron 700",
        "gpu.firmware": "95.02.3C.40.01",
        "gpu.driver": "590.44.01",
        "gpu.uuid": UUID,
        "gpu.bus": "0000:0a:00.0",
    }


@pytest.mark.parametrize("what", list(Number))
def test_one_answer_that_fails_costs_its_own_readings_and_no_other(what: Number) -> None:
    whole, card = FakeCard(), FakeCard()
    whole.numbers[Number.MEMORY_TEMPERATURE] = card.numbers[Number.MEMORY_TEMPERATURE] = 70
    card.numbers[what] = NvmlError(UNKNOWN, "Unknown Error")

    before = {**now(whole), **facts(whole)}
    after = {**now(card), **facts(card)}

    lost = {name for name in after if after[name] != before[name]}
    assert {name for name in after if after[name].value is None} == lost
    assert len(lost) == (0 if what.name.endswith("MARGIN") else 3 if what is Number.REASONS else 1)
    for name in lost:
        assert after[name].why == "the driver reports an unknown error"
        assert after[name].raw == "NVML 999: Unknown Error"


def test_what_a_card_does_not_tell_is_not_measured_and_never_zero() -> None:
    card = FakeCard(numbers={}, texts={})
    for reading in (*now(card).values(), *facts(card).values()):
        if reading.name not in ("gpu.driver", "gpu.uuid"):
            assert reading.value is None
            assert reading.why is not None


def test_the_raw_reasons_stay_with_the_readings_unknown_bits_too() -> None:
    card = FakeCard()
    card.numbers[Number.REASONS] = 0x844
    readings = now(card)
    assert readings["gpu.limited.heat"].value is True
    assert readings["gpu.limited.power"].value is True
    assert readings["gpu.limited.other"].value is True
    assert readings["gpu.limited.heat"].raw == "0x844 SwPowerCap HwThermalSlowdown unknown:0x800"


def test_a_threshold_told_as_a_margin_is_turned_into_degrees() -> None:
    """A card that is 51 °C away from its highest temperature of work, at 33 °C, works up to
    84 °C; it slows down 2 °C and switches off 8 °C beyond that.
    """
    card = FakeCard()
    del card.numbers[Number.SLOWDOWN], card.numbers[Number.SHUTDOWN]
    card.numbers |= {
        Number.TEMPERATURE: 33,
        Number.MARGIN: 51,
        Number.SLOWDOWN_MARGIN: -2,
        Number.SHUTDOWN_MARGIN: -8,
    }
    found = facts(card)
    assert found["gpu.temperature.slowdown"].value == 86.0
    assert found["gpu.temperature.shutdown"].value == 92.0
    assert found["gpu.temperature.slowdown"].raw is not None
    assert "the margin is 51 °C" in found["gpu.temperature.slowdown"].raw


def test_an_implausible_number_is_not_measured_and_kept_raw() -> None:
    card = FakeCard()
    card.numbers[Number.TEMPERATURE] = 255
    reading = now(card)["gpu.temperature"]
    assert reading.value is None
    assert reading.raw == "255.0"


# ------------------------------------------------------------------------------ a lost card


def test_a_card_that_is_lost_measures_nothing_and_says_so() -> None:
    card = FakeCard(lost=None)
    source = CardNow(card=Card(rig(card), UUID))
    assert source.read(1.0)["gpu.temperature"].value == 61.0
    assert source.lost is None

    card.lost = NvmlError(GPU_IS_LOST, "GPU is lost")
    readings = source.read(2.0)

    assert all(reading.value is None for reading in readings.values())
    assert readings["gpu.clock"].why == "the card is lost: it no longer answers on its bus"
    assert source.lost == (
        f"Heron 700, {UUID}, 0000:0a:00.0: the card is lost: it no longer answers on its bus "
        "(NVML 15: GPU is lost); 1 s before it was at 61 °C"
    )


def test_a_lost_card_is_asked_one_question_a_look() -> None:
    card = FakeCard()
    driver = rig(card)
    source = CardNow(card=Card(driver, UUID))
    source.read(1.0)
    card.lost = NvmlError(GPU_IS_LOST, "GPU is lost")
    before = driver.asked
    for second in range(2, 12):
        source.read(float(second))
    assert driver.asked - before == 10


def test_a_lost_card_that_then_says_something_else_stays_lost() -> None:
    card = FakeCard(lost=NvmlError(GPU_IS_LOST, "GPU is lost"))
    source = CardNow(card=Card(rig(card), UUID))
    source.read(1.0)
    card.lost = NvmlError(UNKNOWN, "Unknown Error")
    readings = source.read(2.0)
    assert source.lost is not None
    assert readings["gpu.load"].raw == "NVML 15: GPU is lost"


def test_an_unknown_error_alone_does_not_make_a_card_lost() -> None:
    card = FakeCard(lost=NvmlError(UNKNOWN, "Unknown Error"))
    source = CardNow(card=Card(rig(card), UUID))
    assert all(reading.value is None for reading in source.read(1.0).values())
    assert source.lost is None


def test_a_card_that_is_back_is_read_again() -> None:
    card = FakeCard(lost=NvmlError(GPU_IS_LOST, "GPU is lost"))
    source = CardNow(card=Card(rig(card), UUID))
    source.read(1.0)
    card.lost = None
    assert source.read(2.0)["gpu.temperature"].value == 61.0
    assert source.lost is None


# ------------------------------------------------------------------------- which card it is


def test_the_only_card_needs_no_name() -> None:
    assert chosen([UUID], named=None) == UUID


def test_of_several_none_is_guessed() -> None:
    with pytest.raises(NoCard, match=r"several cards, name one in rig\.gpu: GPU-1f0c.*, GPU-1f0d"):
        chosen([OTHER, UUID], named=None)


@pytest.mark.parametrize("named", [UUID, UUID.upper(), "GPU-1f0c", "gpu-1F0C6"])
def test_a_beginning_that_only_one_card_has_will_do(named: str) -> None:
    assert chosen([OTHER, UUID], named=named) == UUID


def test_the_order_in_which_the_driver_counts_does_not_matter() -> None:
    assert chosen([UUID, OTHER], named="GPU-1f0d") == chosen([OTHER, UUID], named="GPU-1f0d")


def test_a_beginning_of_several_names_them() -> None:
    with pytest.raises(NoCard, match=r"the beginning of several: GPU-1f0c.*, GPU-1f0d"):
        chosen([UUID, OTHER], named="GPU-1f0")


def test_a_card_that_is_not_here_is_refused_with_those_that_are() -> None:
    with pytest.raises(NoCard, match=r"GPU-77 is not here; the driver shows GPU-1f0c"):
        chosen([UUID], named="GPU-77")


def test_an_index_is_no_name() -> None:
    with pytest.raises(NoCard, match="is not here"):
        chosen([UUID, OTHER], named="0")


# ------------------------------------------------------------------------- opening the driver


def test_a_card_is_two_sources_of_which_one_is_read_in_a_pass() -> None:
    changing, still = card_sources(lambda: rig(FakeCard()), gpu="GPU-1f0c")
    assert (changing.names, changing.each_tick) == (NOW_NAMES, True)
    assert (still.names, still.each_tick) == (FACT_NAMES, False)


@pytest.mark.parametrize(
    ("error", "why"),
    [
        (NvmlError(LIBRARY_NOT_FOUND, "…"), "no NVIDIA driver is installed here"),
        (
            NvmlError(VERSION_MISMATCH, "…"),
            "the driver in the kernel and its library differ in version: restart the machine",
        ),
        (NvmlError(9, "…"), "the NVIDIA driver is not loaded"),
        (NvmlError(77, "…"), "the NVIDIA driver reports an error"),
        (ImportError("pynvml"), "nvidia-ml-py is not installed in this Python"),
    ],
)
def test_without_a_driver_the_readings_are_absent_and_say_why(error: Exception, why: str) -> None:
    def fails() -> Nvml:
        raise error

    for source in card_sources(fails, gpu=None):
        assert isinstance(source, Absent)
        assert source.why == why


def test_several_cards_and_none_named_are_not_measured() -> None:
    nvml = FakeNvml(by_uuid={UUID: FakeCard(), OTHER: FakeCard()})
    changing, _ = card_sources(lambda: nvml, gpu=None)
    reading = changing.read(1.0)["gpu.temperature"]
    assert reading.why == f"several cards, name one in rig.gpu: {UUID}, {OTHER}"


def test_a_card_without_an_address_is_still_a_card() -> None:
    card = FakeCard()
    card.texts[Text.ADDRESS] = NvmlError(NOT_SUPPORTED, "Not Supported")
    assert facts(card)["gpu.bus"].why == "the driver does not tell it"
    assert Card(rig(card), UUID).identity == f"Heron 700, {UUID}"
