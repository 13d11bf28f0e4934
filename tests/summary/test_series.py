from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from harness.plan.canonical import thaw
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.series import Per, Series, Wanted, averaged, nights, series
from tests.summary.over_nights import (
    FHD,
    FINGERPRINT,
    FIRST_NIGHT,
    counted,
    entries,
    marked,
    nights_of,
    plan,
    references,
)


def of(
    *runs: list[Entry],
    reference: bool = True,
    with_marked: bool = False,
    since: datetime | None = None,
) -> tuple[Series, ...]:
    wanted = Wanted(
        reference=reference,
        figure=lambda plan, cell: "average_fps",
        with_marked=with_marked,
        since=since,
    )
    found = []
    for run in runs:
        started = run[0].record
        assert isinstance(started, r.RunStarted)
        found.append((thaw(started.plan), run))
    return series(found, wanted=wanted)


def values(each: Series) -> list[float]:
    return [value.value for value in each.values]


def test_the_nights_of_a_rig_stand_in_the_order_they_were_measured() -> None:
    first, second = nights_of([[100.0, 101.0], [102.0, 103.0]])

    [found] = of(second, first)

    assert values(found) == [100.0, 101.0, 102.0, 103.0]
    assert (found.rig, found.cell.key, found.unit) == ("north-2", FHD, "fps")


def test_reference_passes_and_counted_passes_of_one_cell_never_meet() -> None:
    run = entries([*references([100.0]), *counted([90.0, 91.0], cell=FHD), *references([101.0])])

    [as_reference], [as_counted] = of(run), of(run, reference=False)

    assert values(as_reference) == [100.0, 101.0]
    assert values(as_counted) == [90.0, 91.0]


def test_rigs_and_procedures_have_series_of_their_own() -> None:
    here = entries(references([100.0]))
    there = entries(references([100.0]), run="long-watch-2", rig="south-1")
    other = entries(references([100.0]), run="long-watch-3", of=plan(argument="--faster"))

    assert len(of(here, there, other)) == 3


def test_a_marked_pass_is_counted_as_left_out_unless_it_is_asked_for() -> None:
    run = entries(references([100.0, 101.0]))
    run = [
        marked(each) if isinstance(each.record, r.PassJudged) and each.record.attempt == 2 else each
        for each in run
    ]

    [without], [whole] = of(run), of(run, with_marked=True)

    assert (values(without), without.left_out) == ([100.0], 1)
    assert (values(whole), whole.left_out) == ([100.0, 101.0], 0)


def test_discarded_and_superseded_passes_are_no_values() -> None:
    run = entries(counted([100.0, 101.0, 150.0]))
    cell = next(each.record.cell for each in run if isinstance(each.record, r.PassStarted))
    discarded = r.PassDiscarded(
        cell=cell, attempt=3, rule="grubbs", on="average_fps", statistic=9.0, critical=1.0,
        passes=3, discarded=True, reason="",
    )  # fmt: skip
    reopened = r.CellReopened(cell=cell, superseded=(1,), by="Ana", reason="")
    records: tuple[r.Record, ...] = (discarded, reopened)
    more = [
        Entry(seq=len(run) + n, at=run[-1].at, boot="b", record=record)
        for n, record in enumerate(records, start=1)
    ]

    [found] = of([*run, *more], reference=False)

    assert values(found) == [101.0]


def test_nothing_that_began_earlier_is_taken_where_a_date_is_given() -> None:
    runs = nights_of([[100.0], [101.0], [102.0]])

    [found] = of(*runs, since=FIRST_NIGHT + timedelta(days=1))

    assert values(found) == [101.0, 102.0]


def test_a_pause_of_more_than_six_hours_begins_another_night() -> None:
    early = entries(references([1.0]), run="a")
    late = entries(references([2.0]), run="b", at=FIRST_NIGHT + timedelta(hours=6))
    next_night = entries(
        references([3.0]), run="c", at=FIRST_NIGHT + timedelta(hours=12, minutes=1)
    )

    [found] = of(early, late, next_night)

    assert [[each.value for each in night] for night in nights(found.values)] == [[1.0, 2.0], [3.0]]


def test_a_night_is_the_mean_of_its_passes() -> None:
    [found] = of(*nights_of([[100.0, 102.0], [104.0, 105.0, 106.0]]))

    by_night = averaged(found, per=Per.NIGHT)

    assert values(by_night) == [101.0, 105.0]
    assert [each.passes for each in by_night.values] == [2, 3]


def test_a_week_is_that_of_the_calendar() -> None:
    # 2026-11-02 is a Monday: the eighth night begins another week.
    [found] = of(*nights_of([[100.0 + night] for night in range(8)]))

    assert values(averaged(found, per=Per.WEEK)) == [103.0, 107.0]


def test_passes_under_two_fingerprints_are_never_averaged() -> None:
    run = entries(references([100.0, 100.0, 90.0]), changes={2: {"gpu.driver": "575.01"}})
    [found] = of(run)

    assert values(averaged(found, per=Per.NIGHT)) == [100.0, 90.0]


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("gpu.driver", True),
        ("title.build Lantern Quay", True),
        ("title.build Copper Fen", False),
        ("title.files Copper Fen, causeway", False),
    ],
)
def test_what_belongs_to_other_titles_says_nothing_of_the_rig(name: str, kept: bool) -> None:
    [found] = of(entries(references([1.0]), fields={**FINGERPRINT, name: "7"}))

    assert (name in found.values[0].fields) is kept


def test_other_cells_between_two_passes_hold_their_night_together() -> None:
    run = entries([*references([1.0]), *counted([90.0, 91.0, 92.0]), *references([2.0])])
    slowly = [
        replace(entry, at=FIRST_NIGHT + n * timedelta(hours=1)) for n, entry in enumerate(run)
    ]

    [found] = of(slowly)

    assert found.values[1].at - found.values[0].at > timedelta(hours=6)
    assert [[each.value for each in night] for night in nights(found.values)] == [[1.0, 2.0]]
