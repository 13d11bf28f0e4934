"""Hundreds of seeded nights with crashes and faults; and proof that the checker can fail."""

from __future__ import annotations

import dataclasses
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from harness.plan.cells import cells
from harness.rig.tasks import PassTask
from harness.rules.guards import GuardWatch
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.ports import Entry
from nights.homes import MemoryHome
from nights.invariants import check
from nights.night import Night
from nights.play import play

#: Nights that CI plays: about a minute in all. ``python scripts/nights`` plays ten thousand.
IN_MEMORY, IN_SQLITE, AT_ONCE = 700, 40, 50


@pytest.fixture
def quick_folder() -> Iterator[Path]:
    """A folder in memory, where the system has one: a night in SQLite syncs hundreds of times."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        yield Path(folder)


@pytest.mark.parametrize("first", range(0, IN_MEMORY, AT_ONCE))
def test_every_invariant_holds_after_every_night(first: int) -> None:
    checked = [play(seed).checked for seed in range(first, first + AT_ONCE)]
    assert sum(checked) > 500 * AT_ONCE


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, IN_SQLITE, 10))
def test_every_invariant_holds_after_every_night_with_torn_writes(
    quick_folder: Path, first: int
) -> None:
    for seed in range(first, first + 10):
        folder = quick_folder / str(seed)
        folder.mkdir()
        assert play(seed, folder=folder).checked > 50


def test_a_night_is_played_again_exactly_from_its_seed() -> None:
    first, second = play(7), play(7)
    assert first.records == second.records
    assert (first.counts, first.faults) == (second.counts, second.faults)


def test_a_night_in_sqlite_is_played_again_exactly_from_its_seed(quick_folder: Path) -> None:
    counts = []
    for name in ("one", "other"):
        (quick_folder / name).mkdir()
        night = play(3, folder=quick_folder / name)
        counts.append((night.counts, night.faults, night.checked))
    assert counts[0] == counts[1]
    assert counts[0][0]["torn writes"] > 0


def test_nights_meet_every_kind_of_trouble() -> None:
    counts, faults = Counter[str](), Counter[str]()
    for seed in range(120):
        night = play(seed)
        counts += night.counts
        faults += night.faults
    for trouble in (
        "kills", "holds", "updates", "reruns", "preloads", "gave up early", "steady", "unsteady",
        "proofs", "lie", "clock-set", "clock jumps on record", "device-lost", "not-given-back",
        "refused by the store", "cells reused", "held: disk-low", "held: store-refused",
        "held: sensor-lost", "held: fingerprint-changed", "held: gate-gave-up",
    ):  # fmt: skip
        assert counts[trouble] > 0, trouble
    assert set(faults) >= {
        "exited", "signal", "timed-out", "not-found", "no-capture", "guard", "slept", "limit",
        "sensor-lost", "device-lost", "clock-jumped", "rig-not-quiet", "interrupted", "stopped",
    }  # fmt: skip


Change = Callable[[list[Entry]], list[Entry]]


def doctored(night: Night, change: Change) -> Night:
    """Return *night* with its records changed by hand."""
    assert isinstance(night.home, MemoryHome)
    night.home.kept._entries = change([*night.home.entries(0)])
    return night


def clean() -> Night:
    for seed in range(100):
        night = play(seed, kill=False)
        closed = [record for record in night.records if isinstance(record, r.CellClosed)]
        if any(record.state is r.CellState.ACCEPTED for record in closed):
            return night
    raise AssertionError("no night accepts a cell")


def without(kind: type) -> Change:
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


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (r.RunnerStarted, "a group out of order"),
        (r.GroupOpened, "in no group"),
        (r.BlockOpened, "outside its block"),
        (r.PassStarted, "not started"),
        (r.PassEnded, "verdict out of order"),
        (r.RunFinished, "finished"),
        (r.RunStarted, "begin with its plan"),
    ],
)
def test_the_checker_sees_a_record_without_its_predecessor(kind: type, words: str) -> None:
    with pytest.raises(AssertionError, match=words):
        check(doctored(clean(), without(kind)))


@pytest.mark.parametrize("field", ["clock_jumped_s", "slept_s"])
def test_the_checker_sees_a_pass_that_was_kept_over_a_jump_or_a_sleep(field: str) -> None:
    def change(entries: list[Entry]) -> list[Entry]:
        for at, entry in enumerate(entries):
            if isinstance(entry.record, r.PassEnded):
                ended = dataclasses.replace(entry.record, **{field: 600.0})  # type: ignore[arg-type]
                entries[at] = dataclasses.replace(entry, record=ended)
        return entries

    with pytest.raises(AssertionError, match="over a sleep or a jump"):
        check(doctored(clean(), change))


def test_the_checker_sees_a_wait_of_hours() -> None:
    def change(entries: list[Entry]) -> list[Entry]:
        at = next(n for n, e in enumerate(entries) if isinstance(e.record, r.PassStarted))
        started = entries[at].record
        assert isinstance(started, r.PassStarted)
        started = dataclasses.replace(started, waited_s=-7200.0)
        entries[at] = dataclasses.replace(entries[at], record=started)
        return entries

    with pytest.raises(AssertionError, match="a wait that cannot be"):
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
