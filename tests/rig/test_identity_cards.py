from __future__ import annotations

from harness.rig.identity import Identity, look
from harness.rig.identity_cards import card_fields
from harness.rig.sensors.fake_nvml import USUAL_NUMBERS, USUAL_TEXTS, FakeCard, FakeNvml
from harness.rig.sensors.nvml import VERSION_MISMATCH, Number, Nvml, NvmlError, Text

A, B = "GPU-aaaa1111", "GPU-bbbb2222"


def taken(nvml: FakeNvml) -> Identity:
    return look(card_fields(lambda: nvml), full=True)


def test_one_card_by_uuid_and_bus_address() -> None:
    fields = taken(FakeNvml(by_uuid={A: FakeCard()}, version="560.70")).fields
    assert dict(fields) == {
        "gpu.driver": "560.70",  # text stays text: not 560.7
        "gpu.power.limit": "300 W",
        "gpu.cards": f"Heron 700 {A} at 0000:0a:00.0",
        "gpu.firmware": "95.02.3C.40.01",
        "gpu.link.width": "at most 16 lanes",
        "gpu.link.generation": "at most generation 4",
    }


def test_cards_that_the_driver_counts_the_other_way_round_are_the_same_cards() -> None:
    first, second = FakeCard(), FakeCard(texts={**USUAL_TEXTS, Text.ADDRESS: "00000000:0B:00.0"})
    one = taken(FakeNvml(by_uuid={A: first, B: second})).fields
    other = taken(FakeNvml(by_uuid={B: second, A: first})).fields
    assert one == other
    assert one["gpu.power.limit"] == f"{A}: 300 W; {B}: 300 W"


def test_a_slot_with_half_the_lanes_is_another_fingerprint() -> None:
    half = FakeCard(numbers={**USUAL_NUMBERS, Number.LINK_WIDTH_SYSTEM: 8})
    assert taken(FakeNvml(by_uuid={A: half})).fields["gpu.link.width"] == "at most 8 lanes"


def test_a_link_that_idles_is_not_part_of_it() -> None:
    idle = FakeCard(numbers={**USUAL_NUMBERS, Number.LINK_GENERATION: 1, Number.LINK_WIDTH: 4})
    assert taken(FakeNvml(by_uuid={A: idle})) == taken(FakeNvml(by_uuid={A: FakeCard()}))


def test_a_driver_swapped_under_a_running_kernel_says_what_to_do() -> None:
    swapped = FakeNvml(version=NvmlError(VERSION_MISMATCH, "Driver/library version mismatch"))
    assert "restart the machine" in taken(swapped).unread["gpu.driver"]


def test_without_a_driver_every_field_says_why() -> None:
    def opened() -> Nvml:
        raise ImportError("No module named 'pynvml'")

    found = look(card_fields(opened), full=True)
    assert not found.fields
    assert set(found.unread.values()) == {"nvidia-ml-py is not installed"}


def test_the_driver_and_the_power_limit_are_read_before_every_pass() -> None:
    nvml = FakeNvml(by_uuid={A: FakeCard()})
    cheap = look(card_fields(lambda: nvml), full=False)
    assert cheap.fields.keys() == {"gpu.driver", "gpu.power.limit"}
