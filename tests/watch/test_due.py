"""What is due, by the queue and the clock alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import Night
from harness.watch import events as e
from harness.watch.due import Due, Held, Hours, begun, due, next_starts
from harness.watch.standing import fold
from tests.watch.fakes import LISBON, NIGHT

QUEUED = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
HOURS = Hours(night=NIGHT, zone=LISBON)


def entry(number: int = 1, *, start: str = "", end: str = "", at: datetime = QUEUED) -> e.Queued:
    return e.Queued(
        at=at.isoformat(),
        entry=number,
        plan=f"/plans/{number}.yaml",
        store="/store",
        folder="/plans",
        start=start,
        end=end,
    )


def started(number: int, night: str) -> e.Started:
    return e.Started(at="", entry=number, night=night, planned="", late_s=0.0, boot="boot-1")


def left(number: int, night: str, how: e.Leaving, run: str = "") -> e.Left:
    return e.Left(at="", entry=number, night=night, how=how, run=run)


def at(instant: str, *events: e.Event, hours: Hours = HOURS, **more: object) -> Due:
    standing = fold(events)
    every = dict.fromkeys(standing.queued, hours)
    return due(standing, every, datetime.fromisoformat(instant), **more)  # type: ignore[arg-type]


def test_before_its_night_a_plan_is_not_due_and_the_alarm_is_set_to_its_start() -> None:
    found = at("2026-11-25T22:29:59Z", entry(at=datetime(2026, 11, 25, 12, tzinfo=UTC)))

    assert found.start is None
    assert found.wake == datetime(2026, 11, 25, 22, 30, tzinfo=UTC)


def test_from_the_first_instant_of_its_night_it_is_due() -> None:
    found = at("2026-11-25T22:30:00Z", entry())

    assert found.start is not None
    assert found.start.key == (1, "2026-11-25")
    assert found.start.end == datetime(2026, 11, 26, 7, 0, tzinfo=UTC)


def test_a_start_that_comes_hours_late_is_made_while_its_night_is_open() -> None:
    found = at("2026-11-26T06:59:59Z", entry())

    assert found.start is not None
    assert found.start.night == "2026-11-25"


def test_at_its_end_the_night_is_over_and_is_written_down_as_missed() -> None:
    found = at("2026-11-26T07:00:00Z", entry(at=datetime(2026, 11, 25, 12, tzinfo=UTC)))

    assert found.start is None
    assert [(x.night, x.planned, x.nights) for x in found.missed] == [
        ("2026-11-25", "2026-11-25T22:30:00+00:00", 1)
    ]


def test_a_daemon_that_was_away_for_weeks_finds_one_missed_night_and_no_backlog() -> None:
    found = at("2026-12-20T12:00:00Z", entry())

    assert found.start is None
    (missed,) = found.missed
    assert (missed.night, missed.nights) == ("2026-12-19", 26)


def test_a_missed_night_is_written_down_once() -> None:
    first = at("2026-11-26T12:00:00Z", entry())
    again = at("2026-11-26T13:00:00Z", entry(), *first.missed)

    assert first.missed
    assert again.missed == ()


# Europe/Lisbon (tz database): on 2026-10-25 at 01:00 UTC 02:00 becomes 01:00, so that 01:30
# comes twice; on 2027-03-28 at 01:00 UTC 01:00 becomes 02:00, so that 01:30 does not come. The
# instants are those that RFC 5545, section 3.3.5, gives.
EARLY = Hours(night=Night(start_minute=90, end_minute=420, days=("sun",)), zone=LISBON)


@pytest.mark.parametrize(
    ("day", "start"),
    [("2026-10-25", "2026-10-25T00:30:00+00:00"), ("2027-03-28", "2027-03-28T01:30:00+00:00")],
)
def test_in_a_night_in_which_the_clocks_change_a_plan_starts_exactly_once(
    day: str, start: str
) -> None:
    queued = datetime.fromisoformat(f"{day}T00:00Z") - timedelta(hours=12)
    events: list[e.Event] = [entry(at=queued)]
    made = []
    for minute in range(24 * 60):
        now = queued + timedelta(hours=6, minutes=minute)
        found = at(now.isoformat(), *events, hours=EARLY)
        if found.start is not None:
            made.append(now.isoformat())
            events.append(started(1, found.start.night))
            events.append(left(1, found.start.night, e.Leaving.PAUSED))

    assert made == [start]


def test_the_night_of_the_clock_change_is_an_hour_longer_and_ends_by_the_wall_clock() -> None:
    autumn = datetime(2026, 10, 24, 12, tzinfo=UTC)
    found = next_starts([entry(at=autumn)], {1: HOURS}, autumn)

    assert found[0].start == datetime(2026, 10, 24, 21, 30, tzinfo=UTC)  # 22:30 in summer time
    assert found[0].end == datetime(2026, 10, 25, 7, 0, tzinfo=UTC)  # 07:00, an hour later
    assert found[1].start == datetime(2026, 10, 25, 22, 30, tzinfo=UTC)


def test_the_next_three_starts_are_of_all_plans_in_order_of_time() -> None:
    now = datetime(2026, 11, 25, 23, 0, tzinfo=UTC)
    told = entry(2, start="2026-11-26T12:00:00+00:00")

    found = next_starts([entry(1), told], {1: HOURS, 2: Hours(night=None, zone=None)}, now)

    assert [(x.entry.entry, f"{x.start:%m-%d %H:%M}") for x in found] == [
        (2, "11-26 12:00"),
        (1, "11-26 22:30"),
        (1, "11-27 22:30"),
    ]


def begun_at(instant: str, *events: e.Event, **more: object) -> list[tuple[int, str]]:
    standing = fold(events)
    every = dict.fromkeys(standing.queued, HOURS)
    found = begun(standing, every, datetime.fromisoformat(instant), **more)  # type: ignore[arg-type]
    return [(each.opening.entry.entry, each.waits) for each in found]


def test_a_plan_whose_night_is_open_has_begun() -> None:
    assert begun_at("2026-11-25T23:00Z", entry()) == [(1, "")]


def test_a_plan_that_was_told_to_run_now_has_begun() -> None:
    assert begun_at("2026-11-25T12:00Z", entry(start="2026-11-25T12:00:00+00:00")) == [(1, "")]


def test_before_its_night_a_plan_has_not_begun() -> None:
    assert begun_at("2026-11-25T22:29:59Z", entry()) == []


def test_a_night_that_is_over_for_a_plan_has_not_begun_again() -> None:
    paused = (started(1, "2026-11-25"), left(1, "2026-11-25", e.Leaving.PAUSED))

    assert begun_at("2026-11-25T23:00Z", entry(), *paused) == []


def test_what_has_begun_says_what_it_waits_for() -> None:
    held = [Held(reason="the pump stood still")]

    assert begun_at("2026-11-25T23:00Z", entry(1), entry(2)) == [
        (1, ""),
        (2, "/plans/1.yaml comes first"),
    ]
    assert begun_at("2026-11-25T23:00Z", entry(1), holds=held) == [
        (1, "the rig is held: the pump stood still")
    ]


def test_what_is_at_work_is_not_started_again_when_that_is_over() -> None:
    night = "2026-11-25"
    busy = "the runner of /plans/1.yaml is at work"

    found = begun_at(
        "2026-11-25T23:00Z", entry(1), entry(2), started(1, night), busy=busy, at_work=(1, night)
    )

    assert found == [(2, busy)]


def test_what_an_earlier_night_has_at_work_is_begun_again_in_the_night_that_is_open() -> None:
    busy = "the runner of /plans/1.yaml is at work"
    earlier = "2026-11-24"

    found = begun_at(
        "2026-11-25T23:00Z", entry(1), started(1, earlier), busy=busy, at_work=(1, earlier)
    )

    assert found == [(1, busy)]


def test_of_two_that_are_open_the_first_of_the_queue_is_due_and_the_other_waits() -> None:
    found = at("2026-11-25T23:00Z", entry(1), entry(2), e.Moved(at="", entry=2, before=1))

    assert found.start is not None
    assert found.start.entry.entry == 2
    assert found.waits == {1: "/plans/2.yaml comes first"}


def test_a_plan_that_was_taken_off_is_not_due() -> None:
    assert at("2026-11-25T23:00Z", entry(), e.Removed(at="", entry=1)).start is None


def test_nothing_is_started_beside_a_runner_at_work() -> None:
    found = at("2026-11-25T23:00Z", entry(), busy="a runner is at work: process 7, plan x")

    assert found.start is None
    assert found.waits == {1: "a runner is at work: process 7, plan x"}


def test_nothing_is_started_on_a_held_rig() -> None:
    found = at("2026-11-25T23:00Z", entry(), holds=[Held(reason="a limit was passed")])

    assert found.start is None
    assert found.waits == {1: "the rig is held: a limit was passed"}


def test_what_a_run_has_yet_to_put_back_keeps_others_from_starting_and_not_itself() -> None:
    night = "2026-11-25"
    lost: list[e.Event] = [started(1, night), left(1, night, e.Leaving.GONE, run="run-1")]
    debt = [Held(reason="power was not put back", debt_of="run-1")]

    own = at("2026-11-25T23:00Z", entry(1), *lost, holds=debt)
    other = at("2026-11-25T23:00Z", entry(2), *lost, holds=debt)

    assert own.start is not None
    assert other.start is None


def test_a_run_that_was_started_by_hand_may_put_back_what_it_owes_when_the_queue_starts_it() -> (
    None
):
    debt = [Held(reason="power was not put back", debt_of="run-1")]
    own = {1: ["run-0", "run-1"]}  # of the same plan; the queue has started none of them

    found = at("2026-11-25T23:00Z", entry(1), entry(2), holds=debt, runs=own)

    assert found.start is not None
    assert found.start.entry.entry == 1
    assert found.waits == {2: "the rig is held: power was not put back"}


def test_while_a_step_is_open_only_the_run_that_it_belongs_to_is_started() -> None:
    events = (entry(1), entry(2))

    found = at("2026-11-25T23:00Z", *events, steps={2: "run-2: step 1: card to slot 2"})

    assert found.start is not None
    assert found.start.entry.entry == 2
    assert found.waits == {1: "a person's step is open: run-2: step 1: card to slot 2"}


@pytest.mark.parametrize(
    ("how", "again"),
    [
        (e.Leaving.FINISHED, False),
        (e.Leaving.PAUSED, False),
        (e.Leaving.STEP, False),
        (e.Leaving.REFUSED, False),
        (e.Leaving.HELD, True),  # the hold has been released: the rig is not held here
        (e.Leaving.STOPPED, True),
        (e.Leaving.GONE, True),
        (e.Leaving.STUCK, True),
    ],
)
def test_whether_it_goes_on_in_the_same_night(how: e.Leaving, again: bool) -> None:
    night = "2026-11-25"

    found = at("2026-11-25T23:00Z", entry(), started(1, night), left(1, night, how))

    assert (found.start is not None) is again


def test_what_did_not_fit_into_one_night_goes_on_in_the_next() -> None:
    events = (entry(), started(1, "2026-11-25"), left(1, "2026-11-25", e.Leaving.PAUSED))

    found = at("2026-11-26T22:30Z", *events)

    assert found.start is not None
    assert found.start.night == "2026-11-26"


def test_a_runner_that_is_lost_again_and_again_is_not_started_for_ever() -> None:
    night = "2026-11-25"
    events: list[e.Event] = [entry()]
    starts = 0
    while at("2026-11-25T23:00Z", *events).start is not None:
        starts += 1
        events += [started(1, night), left(1, night, e.Leaving.GONE)]

    assert starts == 4


def test_a_time_of_its_own_runs_to_the_end_of_the_night_it_lies_in() -> None:
    told = entry(start="2026-11-26T01:00:00+00:00", at=datetime(2026, 11, 25, 20, tzinfo=UTC))

    before = at("2026-11-26T00:59Z", told)
    after = at("2026-11-26T01:00Z", told)

    assert before.start is None
    assert after.start is not None
    assert after.start.end == datetime(2026, 11, 26, 7, 0, tzinfo=UTC)


def test_a_plan_without_a_night_runs_from_its_time_until_it_is_done() -> None:
    told = entry(start="2026-11-26T12:00:00+00:00")

    found = at("2026-11-29T12:00Z", told, hours=Hours(night=None, zone=None))

    assert found.start is not None
    assert found.start.end is None
    assert found.missed == ()


def test_a_time_of_its_own_that_went_by_long_ago_is_missed_too() -> None:
    told = entry(start="2026-11-24T22:30:00+00:00", end="2026-11-25T07:00:00+00:00")

    found = at("2027-11-26T12:00Z", told, hours=Hours(night=None, zone=None))

    assert [x.night for x in found.missed] == ["at 2026-11-24T22:30:00+00:00"]


def test_after_a_time_of_its_own_it_goes_on_in_its_nights() -> None:
    told = entry(start="2026-11-26T12:00:00+00:00", end="2026-11-26T13:00:00+00:00")
    key = "at 2026-11-26T12:00:00+00:00"

    found = at("2026-11-26T22:30Z", told, started(1, key), left(1, key, e.Leaving.PAUSED))

    assert found.start is not None
    assert found.start.night == "2026-11-26"


@given(
    minutes=st.lists(st.integers(0, 14 * 24 * 60), min_size=1, max_size=60),
    start=st.integers(0, 1439),
    length=st.integers(1, 1439),
)
def test_however_often_and_in_whatever_step_it_is_asked_a_night_is_started_once(
    minutes: list[int], start: int, length: int
) -> None:
    night = Night(start_minute=start, end_minute=(start + length) % 1440, days=())
    hours = Hours(night=night, zone=LISBON)
    begins = datetime(2026, 10, 20, tzinfo=UTC)  # the clocks change on the 25th
    events: list[e.Event] = [entry(at=begins)]
    nights = []
    for minute in sorted(minutes):
        found = at((begins + timedelta(minutes=minute)).isoformat(), *events, hours=hours)
        events += found.missed
        if found.start is not None:
            nights.append(found.start.night)
            events += [started(1, nights[-1]), left(1, nights[-1], e.Leaving.PAUSED)]

    assert len(nights) == len(set(nights))
    assert not set(nights) & {x.night for x in events if isinstance(x, e.Missed)}
