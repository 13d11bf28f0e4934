"""A thousand seeded nights with crashes and faults; and proof that the checker can fail."""

from __future__ import annotations

import dataclasses

import pytest

from harness.plan.cells import cells
from harness.rig.tasks import PassTask
from harness.rules.judgement import Verdict
from harness.rules.watches import GuardWatch
from harness.run import records as r
from harness.run.ports import Entry
from nights import Night, check, play


@pytest.mark.parametrize("first", range(0, 1000, 50))
def test_every_invariant_holds_after_every_night(first: int) -> None:
    for seed in range(first, first + 50):
        play(seed)


def test_a_night_is_played_again_exactly_from_its_seed() -> None:
    first, second = play(7), play(7)
    assert first.records == second.records


def test_nights_do_crash_hold_and_fail() -> None:
    nights = [play(seed) for seed in range(20)]
    assert sum(night.kills for night in nights) > 20
    assert sum(night.holds for night in nights) > 5
    assert {"exited", "interrupted", "guard", "no-capture"} <= {
        fault for night in nights for fault in night.faults
    }


def doctored(night: Night, change: object) -> Night:
    """Return *night* with its records changed by hand."""
    assert callable(change)
    entries = change([*night.journal.entries()])
    night.journal._entries = entries
    return night


def clean() -> Night:
    for seed in range(100):
        night = play(seed, kill=False)
        closed = [record for record in night.records if isinstance(record, r.CellClosed)]
        if any(record.state is r.CellState.ACCEPTED for record in closed):
            return night
    raise AssertionError("no night accepts a cell")


def without(kind: type) -> object:
    def change(entries: list[Entry]) -> list[Entry]:
        at = next(n for n, entry in enumerate(entries) if isinstance(entry.record, kind))
        return [*entries[:at], *entries[at + 1 :]]

    return change


def test_the_checker_sees_a_lost_verdict() -> None:
    with pytest.raises(AssertionError, match="no verdict"):
        check(doctored(clean(), without(r.PassJudged)))


def test_the_checker_sees_a_doubled_pass() -> None:
    def change(entries: list[Entry]) -> list[Entry]:
        at = next(n for n, e in enumerate(entries) if isinstance(e.record, r.PassStarted))
        return [*entries[: at + 1], entries[at], *entries[at + 1 :]]

    with pytest.raises(AssertionError, match="started twice"):
        check(doctored(clean(), change))


def test_the_checker_sees_a_cell_accepted_with_a_void_pass() -> None:
    def change(entries: list[Entry]) -> list[Entry]:
        kept = next(
            n
            for n, e in enumerate(entries)
            if isinstance(e.record, r.CellClosed) and e.record.state is r.CellState.ACCEPTED
        )
        closed = entries[kept].record
        assert isinstance(closed, r.CellClosed)
        at = next(
            n
            for n, e in enumerate(entries)
            if isinstance(e.record, r.PassJudged)
            and (e.record.cell, e.record.attempt) == (closed.cell, closed.kept[0])
        )
        judged = entries[at].record
        assert isinstance(judged, r.PassJudged)
        void = dataclasses.replace(judged, verdict=Verdict.VOID)
        entries[at] = dataclasses.replace(entries[at], record=void)
        return entries

    with pytest.raises(AssertionError):
        check(doctored(clean(), change))


def test_the_checker_sees_a_launch_without_a_record() -> None:
    night = clean()
    night.bench.launched.append("0123456789ab-099")
    with pytest.raises(AssertionError, match="without a record"):
        check(night)


def test_the_bench_sees_two_captures_overlap() -> None:
    night = clean()
    night.bench.running = "0123456789ab-001"
    with pytest.raises(AssertionError, match="starts while"):
        night.bench.carry_out(_any_task(night), lambda: False)


def _any_task(night: Night) -> PassTask:
    cell = cells(night.plan)[0]
    return PassTask(
        run="night",
        cell=cell,
        title=night.plan.titles[0],
        attempt=2,
        warm_up=False,
        fill={},
        watch=GuardWatch((), ()),
    )
