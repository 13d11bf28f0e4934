"""What a real card said, and an independent logger beside it: ``tests/fixtures/cards``."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta

import pytest

from card_proof import side_by_side
from harness.rig.plausible import why_implausible
from harness.rig.readings import Reading, Sample, measured
from harness.rig.sensors.card import Card
from harness.rig.sensors.card_readings import NOW_NAMES, CardFacts, CardNow
from harness.rig.sensors.doubts import Doubts
from harness.rig.sensors.fake_nvml import (
    SEEN_COSTS_S,
    FakeNvml,
    seen_card,
)
from harness.rig.sensors.fake_work import WorkedCard
from harness.rig.sensors.nvml import Number
from harness.rig.thermal import Thermal
from tests import recorded_card

UUID = "GPU-1f0c64d2-3b5e-4a86-9d10-2c7f5e8ab901"


def held_down(name: str, at: datetime) -> bool:
    """Return whether the log has the power limit at work within two seconds."""
    near = (row for when, row in recorded_card.log(name) if abs(when - at) < timedelta(seconds=2))
    return any(int(row["clocks_event_reasons.active"], 16) & 0x4 for row in near)


@pytest.mark.parametrize(("name", "samples"), [("warm", 106), ("cool", 16), ("grid", 424)])
def test_the_harness_and_an_independent_logger_say_the_same(name: str, samples: int) -> None:
    kept, log = recorded_card.kept(name), recorded_card.log(name)
    table = {str(row["reading"]): row for row in side_by_side(kept, log)}

    for reading in (
        "gpu.temperature",  # within 2 °C
        "gpu.memory.temperature",
        "gpu.memory.clock",  # within 1 %
        "gpu.power",  # within 10 %
        "gpu.link.generation",
        "gpu.link.width",
    ):
        assert (table[reading]["pairs"], table[reading]["within"]) == (samples, samples), reading
    for reading in ("gpu.limited.heat", "gpu.limited.power"):
        assert (table[reading]["pairs"], table[reading]["agree"]) == (samples, samples), reading
    at_work = table["gpu.load"]["within"]
    assert isinstance(at_work, int)
    assert at_work >= 0.99 * samples  # over different windows of a second each


@pytest.mark.parametrize("name", recorded_card.NAMES)
def test_clocks_agree_but_at_the_power_limit_where_they_are_another_at_each_look(name: str) -> None:
    log = recorded_card.log(name)
    free = [each for each in recorded_card.kept(name) if not held_down(name, each[0])]
    (clock,) = [row for row in side_by_side(free, log) if row["reading"] == "gpu.clock"]
    assert clock["within"] == clock["pairs"] == len(free) > 5


@pytest.mark.parametrize("name", recorded_card.NAMES)
def test_no_true_reading_is_implausible_or_doubted(name: str) -> None:
    doubts = Doubts()
    for sample in recorded_card.logged(name):
        readings = dict(sample.readings)
        doubts.judge(readings, at_s=sample.at_s)
        for reading in readings.values():
            assert reading.why is None, f"{sample.at_s}: {reading}"
    for _, kept in recorded_card.kept(name):
        for reading_name, told in kept.items():
            value = told.get("value")
            if isinstance(value, float):
                unit = str(told.get("unit", ""))
                assert why_implausible(reading_name, value, unit=unit) is None


@pytest.mark.parametrize("stuck", ["gpu.temperature", "gpu.memory.temperature", "gpu.power"])
def test_the_same_night_with_a_sensor_stuck_is_doubted(stuck: str) -> None:
    """The card takes 72 W and more at rest: more than a small card takes there."""
    doubts, doubted = Doubts(), []
    for sample in recorded_card.logged("cool"):
        readings = dict(sample.readings)
        first = 33.0 if stuck != "gpu.power" else 73.12
        readings[stuck] = measured(stuck, first)
        doubts.judge(readings, at_s=sample.at_s)
        if (why := readings[stuck].why) is not None:
            doubted.append((sample.at_s, why))
    assert doubted
    at_s, why = doubted[0]
    assert why.startswith("frozen: ")
    assert at_s < 110.0  # two waits and two loads are in the log; the first of each is enough


def test_the_link_is_the_same_at_rest_and_under_load_on_this_card() -> None:
    seen = {
        (sample.readings["gpu.link.generation"].value, sample.readings["gpu.link.width"].value)
        for name in recorded_card.NAMES
        for sample in recorded_card.logged(name)
    }
    assert seen == {(5.0, 16.0)}


# ------------------------------------------------------------------------------- the scripted card


def test_the_scripted_card_answers_every_question_as_the_real_one_did() -> None:
    card = seen_card()
    assert {what.name: card.number(what) for what in Number} == {
        question: answer for question, (answer, _, _) in recorded_card.answers().items()
    }


def test_the_scripted_costs_are_the_real_ones() -> None:
    for question, (_, median_s, _) in recorded_card.answers().items():
        assert SEEN_COSTS_S[Number[question]] == pytest.approx(median_s, abs=0.31e-6)


def test_thresholds_told_as_margins_are_those_told_in_degrees() -> None:
    told, by_margin = seen_card(), seen_card()
    del by_margin.numbers[Number.SLOWDOWN], by_margin.numbers[Number.SHUTDOWN]
    found = [
        {name: reading.value for name, reading in facts.items() if "temperature" in name}
        for facts in (
            CardFacts(card=Card(FakeNvml(by_uuid={UUID: card}), UUID)).read(1.0)
            for card in (told, by_margin)
        )
    ]
    assert found[0] == found[1]
    assert found[0] == {"gpu.temperature.slowdown": 89.0, "gpu.temperature.shutdown": 95.0}


def test_the_threshold_by_margin_stays_where_it_is_while_the_card_warms_up() -> None:
    for temperature in range(33, 80):
        card = seen_card()
        del card.numbers[Number.SLOWDOWN]
        card.numbers[Number.TEMPERATURE] = temperature
        facts = CardFacts(card=Card(FakeNvml(by_uuid={UUID: card}), UUID)).read(1.0)
        assert facts["gpu.temperature.slowdown"].value == 89.0


def test_a_threshold_by_the_margin_of_a_card_at_work_is_right_to_a_degree() -> None:
    """The real one told a margin of 40 at 47 °C and, to the logger's own tool, of 39."""
    clock, found = [0.0], set()
    card = WorkedCard(now_s=lambda: clock[0], loads=((8.0, 53.2),))
    del card.numbers[Number.SLOWDOWN]
    for second in range(120):
        clock[0] = float(second)
        facts = CardFacts(card=Card(FakeNvml(by_uuid={UUID: card}), UUID)).read(clock[0])
        found.add(facts["gpu.temperature.slowdown"].value)
    assert found == {88.0, 89.0}


def test_a_look_in_a_pass_costs_the_driver_less_than_a_tenth_of_a_millisecond() -> None:
    spent: list[float] = []
    nvml = FakeNvml(by_uuid={UUID: seen_card()}, costs_s=SEEN_COSTS_S, spend=spent.append)
    card = Card(nvml, UUID)
    CardNow(card=card).read(1.0)
    assert len(spent) == len(NOW_NAMES) - 2  # three readings are one question
    assert sum(spent) < 100e-6
    spent.clear()
    CardFacts(card=card).read(1.0)
    assert 150e-6 < sum(spent) < 1e-3  # thresholds told in degrees
    spent.clear()
    del nvml.by_uuid[UUID].numbers[Number.SLOWDOWN], nvml.by_uuid[UUID].numbers[Number.SHUTDOWN]
    CardFacts(card=card).read(1.0)
    assert sum(spent) > 1.5e-3  # by margins: not for a look in a pass


def worked(until_s: int) -> list[Sample]:
    """Return the looks at a scripted card that is loaded as the real one was in ``cool``."""
    clock = [0.0]
    card = WorkedCard(now_s=lambda: clock[0], loads=((8.0, 53.2),))
    source = CardNow(card=Card(FakeNvml(by_uuid={UUID: card}), UUID))
    looks = []
    for second in range(until_s):
        clock[0] = float(second)
        looks.append(Sample(at_s=clock[0], end_s=clock[0], readings=source.read(clock[0])))
    return looks


def numbers(samples: list[Sample], name: str) -> list[float]:
    found = [sample.readings[name].value for sample in samples]
    return [value for value in found if isinstance(value, float)]


def test_the_scripted_card_warms_up_and_cools_as_the_real_one_did() -> None:
    real = recorded_card.logged("cool", "04:55:14", "04:56:58")
    made = worked(len(real))
    for name, most_c in (("gpu.temperature", 4.0), ("gpu.memory.temperature", 4.0)):
        pairs = list(zip(numbers(real, name), numbers(made, name), strict=True))
        apart = [abs(one - other) for one, other in pairs]
        assert max(apart) <= most_c, name
        assert sum(apart) / len(apart) < 1.2, name


def test_the_scripted_card_is_never_doubted_either() -> None:
    doubts = Doubts()
    for sample in worked(120):
        readings = dict(sample.readings)
        doubts.judge(readings, at_s=sample.at_s)
        assert [each for each in readings.values() if each.why is not None] == []


def test_both_cards_change_their_clock_from_look_to_look_at_the_power_limit() -> None:
    for samples in (recorded_card.logged("cool"), worked(50)):
        clocks = [
            number(sample.readings["gpu.clock"])
            for sample in samples
            if sample.readings["gpu.limited.power"].value is True
        ]
        changed = sum(one != other for one, other in itertools.pairwise(clocks))
        assert changed > 0.6 * len(clocks)
        assert max(clocks) < 1980.0


def test_at_the_power_limit_the_clock_is_between_1110_and_1620_mhz_while_the_load_goes_on() -> None:
    clocks = []
    for name in ("warm", "cool"):
        for look, after in itertools.pairwise(recorded_card.logged(name)):
            if look.readings["gpu.limited.power"].value is True:
                goes_on = after.readings["gpu.limited.power"].value is True
                clocks.append((number(look.readings["gpu.clock"]), goes_on))
        for _, kept in recorded_card.kept(name):
            clock = kept["gpu.clock"].get("value")
            if kept["gpu.limited.power"].get("value") is True and isinstance(clock, float):
                clocks.append((clock, True))
    steady = [clock for clock, goes_on in clocks if goes_on]
    assert (min(steady), max(steady)) == (1110.0, 1620.0)
    assert max(clock for clock, _ in clocks) == 1965.0


def test_after_a_load_both_cards_keep_their_clock_up_for_a_while_without_a_reason() -> None:
    for samples in (recorded_card.logged("cool", "04:56:08", "04:56:20"), worked(70)[54:]):
        lingering = [
            sample
            for sample in samples
            if sample.readings["gpu.clock"].value == 1980.0
            and sample.readings["gpu.load"].value == 0.0
            and sample.readings["gpu.limited.power"].raw == "0x0"
        ]
        assert 1 <= len(lingering) <= 3
        assert samples[-1].readings["gpu.limited.power"].raw == "0x1 GpuIdle"


def number(reading: Reading) -> float:
    assert isinstance(reading.value, float)
    return reading.value


def test_one_law_alone_cannot_follow_the_real_fall() -> None:
    """The chip's step is what a single time constant misses: by some 7 °C at its best."""
    fall = numbers(recorded_card.logged("cool", "04:56:07", "04:56:58"), "gpu.temperature")
    worst = min(
        max(
            abs(part.after(fall[0], float(second), loaded=False) - value)
            for second, value in enumerate(fall)
        )
        for tau_s in range(2, 60)
        for part in [Thermal(room_c=33.0, hot_c=63.0, tau_s=float(tau_s))]
    )
    assert worst > 5.0
