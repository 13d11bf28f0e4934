"""Rehearsed nights: clock times, what is left over, and where lengths and heat come from."""

from __future__ import annotations

import dataclasses
import math
import random
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from harness.plan import document as d
from harness.plan.cells import cells
from harness.store.seen import HeatSeen, PassSeen
from harness.summary.assumed import LOADED_C, REST_C, TAU_S, assumed
from harness.summary.diary import Rehearsal
from harness.summary.earlier import Earlier, earlier
from harness.summary.rehearsal import night_end, rehearse
from tests import recorded_card
from tests.run.rehearsal import plan

START = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
HEAT = "gpu.temperature"


def rehearsed(
    a_plan: d.Plan, *, start: datetime = START, seed: int | None = None, **taken: object
) -> Rehearsal:
    heat = taken.get("heat", ())
    known = taken.get("earlier")
    assert isinstance(heat, tuple)
    assert known is None or isinstance(known, Earlier)
    return rehearse(
        a_plan,
        assumed=assumed(a_plan, earlier=known, heat=heat),
        start=start,
        zone=UTC,
        person_s=600.0,
        chance=random.Random(seed or 0),
        bad=seed is not None,
    )


def night(end_minute: int) -> d.Night:
    return d.Night(start_minute=22 * 60 + 30, end_minute=end_minute, days=(), zone="")


def gate(*, at_least: float | None = None, at_most: float | None = None) -> d.Gate:
    bound = d.Bound(reading=HEAT, unit="°C", at_least=at_least, at_most=at_most)
    return d.Gate(bound=bound, for_s=10.0, give_up_s=900.0, then=d.Then.MARK)


def operator(*, reboot: bool = False, opens_case: bool = False) -> d.Condition:
    return d.Condition(
        name="slot", by=d.By.OPERATOR, reboot=reboot, opens_case=opens_case,
        levels=tuple(d.Level(name=n, say=f"Card in slot {n}.") for n in ("one", "two")),
    )  # fmt: skip


def test_a_night_without_gates_lasts_as_long_as_its_passes() -> None:
    told = rehearsed(plan(titles=2, keep=3, warm_up=1))
    assert told.count("pass") == 6
    assert told.count("warm-up") == 2
    assert told.seconds == pytest.approx(8 * 10.0)
    assert told.finish == START + timedelta(seconds=80)
    assert told.left_over == ()


def test_every_second_is_told_what_it_was_spent_on() -> None:
    told = rehearsed(
        plan(titles=2, gates=(gate(at_most=50.0),), conditions=(operator(),),
             rig=d.Rig(settle_s=60.0))
    )  # fmt: skip
    assert sum(told.spent.values()) == pytest.approx(told.seconds)
    assert told.spent["settling"] == 120.0
    assert told.spent["person"] == 1200.0
    assert told.spent["gates"] > 0


def test_a_wait_is_as_long_as_newtons_law_says() -> None:
    """From 75 °C to 50 °C in a room of 24 °C with 90 s: 90 ln(51 / 26) = 60.6 s, and 10 s more."""
    hot = plan(keep=2, gates=(gate(at_most=50.0),))
    title = dataclasses.replace(
        hot.titles[0], cut=d.Cut(length_s=3000.0), command=d.Command(argv=("t",), time_limit_s=4e3)
    )
    told = rehearsed(dataclasses.replace(hot, titles=(title,)))
    expected = TAU_S * math.log((LOADED_C - REST_C) / (50.0 - REST_C))
    assert told.passes[1].waited_s == pytest.approx(math.ceil(expected) + 10.0, abs=1.0)


def test_cells_that_are_not_closed_when_the_night_ends_are_left_over() -> None:
    long = plan(titles=4, keep=3, night=night(22 * 60 + 31))  # one minute
    told = rehearsed(long)
    assert told.night_end == START + timedelta(minutes=1)
    assert told.finish == START + timedelta(seconds=120)
    assert set(told.left_over) <= {cell.key for cell in cells(long)}
    assert len(told.left_over) == 4  # rounds interleave: all four end in the last round


def test_a_step_is_asked_only_within_a_persons_hours() -> None:
    told = rehearsed(
        plan(conditions=(operator(),), person=d.Person(from_minute=8 * 60, to_minute=22 * 60))
    )
    assert [step.done_s - step.asked_s for step in told.steps] == [600.0, 600.0]
    asked = START + timedelta(seconds=told.steps[0].asked_s)
    assert (asked.hour, asked.minute) == (8, 0)
    assert told.spent["hours"] == pytest.approx(9.5 * 3600)


def test_a_step_with_a_restart_is_done_after_a_newer_boot() -> None:
    told = rehearsed(plan(conditions=(operator(reboot=True),), warm_up=1))
    assert len(told.steps) == 2
    assert told.hold is None
    assert set(told.states.values()) == {next(iter(told.states.values()))}


def test_a_hold_ends_the_night_with_everything_open_left_over() -> None:
    gone = dataclasses.replace(gate(at_least=90.0), then=d.Then.HOLD)
    told = rehearsed(plan(titles=2, gates=(gone,)))
    assert told.hold is not None
    assert told.hold.fault == "gate-gave-up"
    assert told.finish is None
    assert len(told.left_over) == 2


def test_a_bad_night_is_the_same_for_the_same_seed() -> None:
    wide = plan(titles=6, keep=4, at_most=8)
    assert rehearsed(wide, seed=7) == rehearsed(wide, seed=7)
    nights = [rehearsed(wide, seed=seed) for seed in range(6)]
    assert {each.verdict.value for told in nights for each in told.passes} >= {"failed", "kept"}


def test_a_good_night_keeps_every_pass() -> None:
    told = rehearsed(plan(titles=6, keep=4, at_most=8))
    assert {each.verdict.value for each in told.passes} == {"kept"}


def test_lengths_come_from_earlier_passes_of_the_same_cells() -> None:
    a_plan = plan(titles=2)
    key = next(cell.key for cell in cells(a_plan) if cell.title == "Title 0")
    seen = [
        PassSeen(cell=key, group=(1, 0), seconds=s + 30.0, kept=False, figures=(), command_s=s)
        for s in (40.0, 44.0)
    ]
    from harness.plan.canonical import freeze, plan_hash

    found = earlier(a_plan, [(plan_hash(a_plan), freeze(a_plan), lambda: seen)])
    taken = assumed(a_plan, earlier=found, heat=())
    first, second = taken.lengths
    assert (first.seconds, first.passes) == (42.0, 2)
    assert (second.seconds, second.passes, second.bounded) == (10.0, 0, False)
    assert taken.seconds[key] == 42.0


def test_a_title_without_a_length_counts_with_its_time_limit() -> None:
    a_plan = plan()
    title = dataclasses.replace(a_plan.titles[0], cut=d.Cut())
    (length,) = assumed(dataclasses.replace(a_plan, titles=(title,)), earlier=None, heat=()).lengths
    assert (length.seconds, length.bounded) == (60.0, True)


def test_how_a_part_cools_is_found_from_earlier_waits() -> None:
    """A part made to cool with 120 s over a room of 25 °C; Newton's law of cooling."""
    rest, tau = 25.0, 120.0
    heat = [HeatSeen(reading=HEAT, waited_s=0.0, before_c=rest, most_c=81.0, least_c=40.0)]
    for waited in (30.0, 60.0, 90.0):
        before = rest + (81.0 - rest) * math.exp(-waited / tau)
        heat.append(
            HeatSeen(reading=HEAT, waited_s=waited, before_c=before, most_c=81.0, least_c=before)
        )
    taken = assumed(plan(gates=(gate(at_most=50.0),)), earlier=None, heat=tuple(heat))
    (part,) = taken.parts
    assert part.thermal.tau_s == pytest.approx(tau)
    assert (part.thermal.room_c, part.thermal.hot_c) == (rest, 81.0)
    assert (part.passes, part.waits) == (4, 3)


def waits(pairs: list[tuple[float, float]], *, rest: float, most: float) -> list[HeatSeen]:
    """Return waits of a length and what was read after each, all from the same heat."""
    heat = []
    for waited, before in pairs:
        heat += [
            HeatSeen(reading=HEAT, waited_s=0.0, before_c=rest, most_c=most, least_c=rest),
            HeatSeen(reading=HEAT, waited_s=waited, before_c=before, most_c=most, least_c=before),
        ]
    return heat


def test_a_chip_that_falls_at_once_and_then_slowly_is_found_from_waits_of_a_real_card() -> None:
    """From 62 °C after a load, read after so many seconds: ``tests/fixtures/cards``.

    By one law the short waits make it a card of 4 s, the long ones one of 15 s.
    """
    fall = [
        sample.readings["gpu.temperature"].value
        for sample in recorded_card.logged("cool", "04:56:07", "04:57:01")
    ]
    read = [(float(s), value) for s in (3, 5, 13, 30, 40) if isinstance(value := fall[s], float)]
    heat = waits(read, rest=33.0, most=62.0)
    (part,) = assumed(plan(gates=(gate(at_most=50.0),)), earlier=None, heat=heat).parts
    assert part.thermal.step_c == pytest.approx(15.0, abs=2.0)
    assert part.thermal.tau_s == pytest.approx(18.0, abs=3.0)
    assert part.waits == 5
    chip_c = part.thermal.step_c
    for waited_s in (20.0, 45.0):
        told = part.thermal.after(62.0, waited_s, loaded=False, chip_c=chip_c)
        assert told == pytest.approx(fall[int(waited_s)], abs=1.0)


@pytest.mark.parametrize("waited", [[3.0, 3.0, 3.0], [30.0]])
def test_waits_of_one_length_do_not_tell_a_step_from_a_short_time_constant(
    waited: list[float],
) -> None:
    heat = waits([(each, 46.0) for each in waited], rest=33.0, most=62.0)
    (part,) = assumed(plan(gates=(gate(at_most=50.0),)), earlier=None, heat=heat).parts
    assert part.thermal.step_c == 0.0


def test_what_nobody_has_measured_is_assumed_and_says_so() -> None:
    (part,) = assumed(plan(gates=(gate(at_most=50.0),)), earlier=None, heat=()).parts
    assert (part.passes, part.waits) == (0, 0)
    assert part.thermal.room_c == REST_C


def test_a_night_ends_by_the_wall_clock_also_where_the_clocks_are_put_back() -> None:
    """Europe/Lisbon, 2026-10-25 02:00 WEST becomes 01:00 WET (EU directive 2000/84/EC)."""
    lisbon = ZoneInfo("Europe/Lisbon")
    start = datetime(2026, 10, 24, 22, 30, tzinfo=lisbon).astimezone(UTC)
    end = night_end(night(7 * 60), start, lisbon)
    assert end - start == timedelta(hours=9, minutes=30)
    assert end.astimezone(lisbon).hour == 7


def powered(*levels: d.Level, **parts: object) -> d.Plan:
    """Return a plan whose levels are set by command."""
    condition = d.Condition(name="power", by=d.By.COMMAND, levels=levels)
    return dataclasses.replace(plan(keep=2), conditions=(condition,), limits_none=False, **parts)  # type: ignore[arg-type]


def level(name: str, *expect: d.Bound) -> d.Level:
    command = d.Command(argv=("set", name), time_limit_s=5.0)
    return d.Level(name=name, command=command, expect=expect)


FREE = d.Bound(reading="memory.available", unit="GiB", at_least=0.5)


@pytest.mark.parametrize(
    "watched",
    [
        {"limits": (d.Limit(bound=FREE),)},
        {"guards": (d.Guard(bound=FREE),)},
        {"gates": (d.Gate(bound=FREE, for_s=1.0, give_up_s=5.0, then=d.Then.SKIP),)},
    ],
    ids=lambda parts: next(iter(parts)),
)
def test_what_one_level_expects_is_read_under_the_others_too(watched: dict[str, object]) -> None:
    told = rehearsed(powered(level("stock", FREE), level("quiet"), **watched))
    assert told.hold is None
    assert [each.verdict.value for each in told.passes] == ["kept"] * 4


def test_a_reading_follows_the_level_that_sets_it() -> None:
    def at(watts: float) -> d.Bound:
        return d.Bound(reading="gpu.power.limit", unit="W", equals=watts)

    most = d.Bound(reading="gpu.power.limit", unit="W", at_most=250.0)
    two = powered(level("stock", at(300.0)), level("quiet", at(200.0)))
    told = rehearsed(dataclasses.replace(two, guards=(d.Guard(bound=most),)))
    by_level: dict[str, set[str]] = {}
    names = {cell.key: dict(cell.levels)["power"] for cell in cells(two)}
    for each in told.passes:
        by_level.setdefault(names[each.cell], set()).add(each.verdict.value)
    assert by_level == {"stock": {"void"}, "quiet": {"kept"}}


def test_a_level_reads_within_what_the_plan_watches_too() -> None:
    least = d.Bound(reading="gpu.power.limit", unit="W", at_least=250.0)
    most = d.Bound(reading="gpu.power.limit", unit="W", at_most=320.0)
    taken = assumed(
        powered(level("stock", least), limits=(d.Limit(bound=most),)), earlier=None, heat=()
    )
    assert taken.by_level == {("power", "stock"): {"gpu.power.limit": 285.0}}
