"""The steps and spans are common practice, no source; each test says what a real part does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.plausible import BANDS
from harness.rig.readings import Reading, measured
from harness.rig.sensors.doubts import DOUBTS, Doubts

_At = tuple[float, Mapping[str, float]]


def _judged(looks: Iterable[_At]) -> list[dict[str, Reading]]:
    doubts = Doubts()
    judged = []
    for at_s, values in looks:
        readings = {name: measured(name, value) for name, value in values.items()}
        doubts.judge(readings, at_s=at_s)
        judged.append(readings)
    return judged


def _values(judged: list[dict[str, Reading]], name: str) -> list[object]:
    return [readings[name].value for readings in judged]


# --- jumps --------------------------------------------------------------------------------


def test_a_temperature_that_jumps_is_implausible_and_its_neighbours_are_not() -> None:
    looks = [(0.0, 41.0), (1.0, 99.0), (2.0, 42.0)]
    judged = _judged((at, {"gpu.temperature": v, "gpu.load": 5.0}) for at, v in looks)
    assert _values(judged, "gpu.temperature") == [41.0, None, 42.0]
    assert _values(judged, "gpu.load") == [5.0, 5.0, 5.0]
    doubted = judged[1]["gpu.temperature"]
    assert doubted.why == "implausible: from 41 to 99 °C in 1.0 s, more than 40 °C a second"
    assert doubted.raw == "99"


def test_a_true_change_is_believed_again_once_it_can_be_true() -> None:
    looks = [(0.0, 40.0), (1.0, 85.0), (2.0, 85.0), (3.0, 86.0)]
    judged = _judged((at, {"gpu.temperature": v}) for at, v in looks)
    assert _values(judged, "gpu.temperature") == [40.0, None, 85.0, 86.0]


def test_a_processor_may_rise_by_forty_degrees_within_a_second() -> None:
    judged = _judged([(0.0, {"cpu.temperature": 42.0}), (1.0, {"cpu.temperature": 84.0})])
    assert _values(judged, "cpu.temperature") == [42.0, 84.0]


def test_two_looks_in_quick_succession_allow_as_much_as_a_second() -> None:
    judged = _judged([(0.0, {"gpu.temperature": 42.0}), (0.05, {"gpu.temperature": 61.0})])
    assert _values(judged, "gpu.temperature") == [42.0, 61.0]


def test_after_an_hour_without_a_look_any_temperature_may_be_true() -> None:
    judged = _judged([(0.0, {"gpu.temperature": 20.0}), (3600.0, {"gpu.temperature": 90.0})])
    assert _values(judged, "gpu.temperature") == [20.0, 90.0]


@pytest.mark.parametrize("name", ["cpu.load", "gpu.power", "gpu.clock", "memory.available"])
def test_what_has_no_inertia_may_be_anything_at_once(name: str) -> None:
    low, high, _ = BANDS[name]
    judged = _judged([(0.0, {name: low + 1}), (1.0, {name: high - 1}), (2.0, {name: low + 1})])
    assert None not in _values(judged, name)


# --- frozen values ------------------------------------------------------------------------


def _idle_then_busy(
    name: str, value: float, witness: str, *, idle_s: int, busy_s: int
) -> list[dict[str, Reading]]:
    loads = [3.0] * idle_s + [97.0] * busy_s
    return _judged((float(at), {name: value, witness: load}) for at, load in enumerate(loads))


def test_a_temperature_that_does_not_follow_the_load_is_frozen() -> None:
    judged = _idle_then_busy("cpu.temperature", 45.0, "cpu.load", idle_s=10, busy_s=20)
    values = _values(judged, "cpu.temperature")
    assert values == [45.0] * 15 + [None] * 15  # 5 s under load are enough
    assert judged[-1]["cpu.temperature"].why == (
        "frozen: 45 °C for 29 s, the same at rest and under load (cpu.load)"
    )
    assert judged[-1]["cpu.temperature"].raw == "45"


def test_a_base_clock_on_a_label_is_found_out_in_the_same_way() -> None:
    judged = _idle_then_busy("cpu.clock", 3600.0, "cpu.load", idle_s=10, busy_s=10)
    assert judged[-1]["cpu.clock"].value is None


def test_a_locked_graphics_clock_is_no_frozen_sensor() -> None:
    judged = _idle_then_busy("gpu.clock", 1980.0, "gpu.load", idle_s=60, busy_s=600)
    assert None not in _values(judged, "gpu.clock")


def test_the_same_whole_degree_for_an_hour_of_steady_load_is_believed() -> None:
    judged = _idle_then_busy("gpu.temperature", 61.0, "gpu.load", idle_s=0, busy_s=3600)
    assert None not in _values(judged, "gpu.temperature")


def test_a_room_that_keeps_its_temperature_all_night_is_believed() -> None:
    judged = _idle_then_busy("room.temperature", 21.5, "cpu.load", idle_s=600, busy_s=600)
    assert None not in _values(judged, "room.temperature")


def test_one_degree_of_change_is_enough_to_be_believed() -> None:
    loads = [3.0] * 20 + [97.0] * 20
    looks = [(float(at), {"cpu.temperature": 45.0 + (at > 21), "cpu.load": load})
             for at, load in enumerate(loads)]  # fmt: skip
    assert None not in _values(_judged(looks), "cpu.temperature")


def test_a_frozen_value_is_believed_again_once_it_moves() -> None:
    looks: list[_At] = [(float(at), {"cpu.temperature": 45.0, "cpu.load": 3.0}) for at in range(9)]
    looks += [(float(at), {"cpu.temperature": 45.0, "cpu.load": 99.0}) for at in range(9, 20)]
    looks += [(20.0, {"cpu.temperature": 71.0, "cpu.load": 99.0})]
    values = _values(_judged(looks), "cpu.temperature")
    assert values[-2:] == [None, 71.0]


def test_a_load_that_flickers_is_no_witness() -> None:
    looks = [(float(at), {"cpu.temperature": 55.0, "cpu.load": 100.0 * (at % 2)})
             for at in range(200)]  # fmt: skip
    assert None not in _values(_judged(looks), "cpu.temperature")


def test_power_goes_before_load_as_witness_of_the_card() -> None:
    """A card that is at work all the time at its lowest clock draws little and warms little."""
    looks: list[_At] = [
        (float(at), {"gpu.temperature": 38.0, "gpu.load": 5.0 if at < 30 else 90.0,
                     "gpu.power": 22.0 + at % 3})
        for at in range(60)
    ]  # fmt: skip
    assert None not in _values(_judged(looks), "gpu.temperature")


def _powered(powers: list[float], temperature: float = 38.0) -> list[object]:
    looks = [(float(at), {"gpu.temperature": temperature, "gpu.load": 50.0, "gpu.power": power})
             for at, power in enumerate(powers)]  # fmt: skip
    return _values(_judged(looks), "gpu.temperature")


@pytest.mark.parametrize(
    ("rest_w", "load_w"),
    [
        (15.0, 150.0),  # a card for a desk
        (73.0, 698.0),  # a card of a data centre: 72 to 79 W at rest on an H100
    ],
)
def test_power_shows_rest_and_load_of_small_and_of_large_cards(
    rest_w: float, load_w: float
) -> None:
    for powers in ([rest_w] * 15 + [load_w] * 15, [load_w] * 15 + [rest_w] * 15):
        assert _powered(powers)[-1] is None


def test_a_card_that_draws_little_more_than_before_need_not_get_warmer() -> None:
    assert None not in _powered([75.0] * 60 + [130.0] * 60 + [90.0] * 60)


# --- what holds for all -------------------------------------------------------------------


def test_a_number_that_a_source_did_not_hold_against_its_band_is_doubted_all_the_same() -> None:
    readings = {
        "cpu.temperature": Reading(name="cpu.temperature", unit="°C", value=255.0),
        "lab.coolant": Reading(name="lab.coolant", unit="°C", value=-128),
        "lab.flow": Reading(name="lab.flow", unit="l/min", value=-128),
        "gpu.limited.heat": Reading(name="gpu.limited.heat", unit="", value=True),
    }
    Doubts().judge(readings, at_s=0.0)
    assert [each.measured for each in readings.values()] == [False, False, True, True]
    assert readings["lab.coolant"].raw == "-128"


def test_every_quantity_in_doubt_is_one_there_is() -> None:
    assert DOUBTS.keys() <= BANDS.keys()
    for doubt in DOUBTS.values():
        assert {witness.reading for witness in doubt.witnesses} <= BANDS.keys()
        assert bool(doubt.witnesses) == (doubt.follows_s > 0)


@given(
    st.lists(
        st.tuples(
            st.floats(min_value=0, max_value=30),
            st.floats(min_value=-300, max_value=7000),
            st.floats(min_value=0, max_value=100),
        ),
        max_size=60,
    )
)
def test_what_is_believed_was_said_in_band_and_never_jumped(
    looks: list[tuple[float, float, float]],
) -> None:
    at_s, taken = 0.0, []
    for after_s, value, load in looks:
        at_s += after_s
        taken.append((at_s, {"gpu.temperature": value, "gpu.load": load}))
    before: tuple[float, float] | None = None
    for (then_s, said), readings in zip(taken, _judged(taken), strict=True):
        reading = readings["gpu.temperature"]
        assert (reading.value is None) != (reading.why is None)
        if not isinstance(reading.value, float):
            continue
        assert reading.value == said["gpu.temperature"]
        assert 1 <= reading.value <= 120
        if before is not None:
            assert abs(reading.value - before[1]) <= 40 * max(1, then_s - before[0])
        before = (then_s, reading.value)
