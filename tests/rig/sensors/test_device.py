"""What the table of readings knows of a device: which one it is, and that it is lost."""

from __future__ import annotations

from harness.rig.sensors.card import Card
from harness.rig.sensors.card_readings import CardFacts, CardNow
from harness.rig.sensors.fake_nvml import FakeCard, FakeNvml
from harness.rig.sensors.nvml import GPU_IS_LOST, NvmlError
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import Device, FakeSource

UUID = "GPU-1f0c64d2-3b5e-4a86-9d10-2c7f5e8ab901"


def rig(card: FakeCard) -> Sensors:
    bound = Card(FakeNvml(by_uuid={UUID: card}), UUID)
    load = FakeSource(name="cpu.load", script=(12.0,))
    return Sensors([CardNow(card=bound), CardFacts(card=bound), load], now_s=lambda: 1.0)


def test_a_card_is_a_device_and_a_count_is_none() -> None:
    bound = Card(FakeNvml(by_uuid={UUID: FakeCard()}), UUID)
    assert isinstance(CardNow(card=bound), Device)
    assert not isinstance(FakeSource(name="cpu.load", script=(12.0,)), Device)


def test_every_line_of_a_card_says_which_card() -> None:
    lines = {line.reading.name: line for line in rig(FakeCard()).table()}
    assert lines["gpu.clock"].identity == f"Heron 700, {UUID}, 0000:0a:00.0"
    assert lines["gpu.driver"].identity == lines["gpu.clock"].identity
    assert lines["cpu.load"].identity == ""


def test_no_device_is_lost_while_all_answer() -> None:
    sensors = rig(FakeCard())
    sensors.sample()
    assert sensors.device_lost is None


def test_a_lost_device_is_named_once_and_costs_no_other_reading() -> None:
    card = FakeCard()
    sensors = rig(card)
    sensors.sample()
    card.lost = NvmlError(GPU_IS_LOST, "GPU is lost")
    sample = sensors.sample(["gpu.driver"])
    assert sample.readings["cpu.load"].value == 12.0
    assert sample.readings["gpu.driver"].value is None
    assert sensors.device_lost is not None
    assert sensors.device_lost.count(UUID) == 1
