"""What the store says of earlier passes, read by plain SQL: held against the records."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from harness.errors import StoreError
from harness.rig.tasks import CommandEnd, EndedBy
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.store.history import has_records, open_history
from harness.store.seen import PassSeen
from harness.store.sqlite import open_store
from tests.store import examples as e

KEPT = (("average_fps", 144.2),)


def seen(folder: Path, *records: r.Record) -> tuple[PassSeen, ...]:
    with open_store(folder, write=True) as store:
        journal = store.create_run(
            "two-slots-1", plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=e.AT
        )
        journal.append([*e.BEGINNING, *records], at=e.AT, boot=e.BOOT)
    with open_history(folder) as history:
        return history.passes("two-slots-1")


def test_a_pass_took_its_wait_and_its_command(tmp_path: Path) -> None:
    (one,) = seen(tmp_path, e.started(1), e.ended(1), e.judged(1))

    assert one.seconds == pytest.approx(12.5 + 61.2)
    assert (one.cell, one.kept, one.figures) == (e.CELL, True, KEPT)


@pytest.mark.parametrize("by", [by for by in EndedBy if by is not EndedBy.EXIT])
def test_a_command_that_was_ended_does_not_say_how_long_it_takes(
    tmp_path: Path, by: EndedBy
) -> None:
    end = CommandEnd(argv=("lantern-quay",), by=by, wall_s=180.0)
    ended = dataclasses.replace(e.ended(1), end=end)
    (one,) = seen(tmp_path, e.started(1), ended, e.judged(1, Verdict.FAILED))

    assert (one.seconds, one.kept) == (None, False)


def test_a_command_that_failed_by_itself_does_not_say_how_long_it_takes(tmp_path: Path) -> None:
    (one,) = seen(tmp_path, e.started(1), e.ended(1), e.judged(1, Verdict.FAILED))

    assert (one.seconds, one.command_s) == (None, None)


def test_a_pass_that_nobody_saw_end_says_nothing(tmp_path: Path) -> None:
    unseen = dataclasses.replace(e.ended(1), end=None, figures=())
    (one,) = seen(tmp_path, e.started(1), unseen, e.judged(1, Verdict.INTERRUPTED))

    assert (one.seconds, one.kept, one.figures) == (None, False, ())


def test_a_warm_up_says_how_long_it_takes_and_no_figure(tmp_path: Path) -> None:
    (one,) = seen(tmp_path, e.started(1, warm_up=True), e.ended(1), e.judged(1))

    assert one.seconds is not None
    assert (one.kept, one.figures) == (False, ())


def test_what_a_rule_took_out_is_not_kept(tmp_path: Path) -> None:
    out = r.PassDiscarded(
        cell=e.CELL, attempt=1, rule="spread/1", on="average_fps", statistic=0.1, critical=0.03,
        passes=3, discarded=True, reason="far from the others",
    )  # fmt: skip
    (one,) = seen(tmp_path, e.started(1), e.ended(1), e.judged(1), out)

    assert not one.kept


def test_what_a_rule_only_marks_is_kept(tmp_path: Path) -> None:
    marked = r.PassDiscarded(
        cell=e.CELL, attempt=1, rule="grubbs/1", on="average_fps", statistic=1.2, critical=1.1,
        passes=3, discarded=False, reason="only marked",
    )  # fmt: skip
    (one,) = seen(tmp_path, e.started(1), e.ended(1), e.judged(1), marked)

    assert one.kept


def test_a_pass_with_a_mark_stays_outside_comparisons(tmp_path: Path) -> None:
    judged = dataclasses.replace(e.judged(1), marks=("gate-gave-up",))
    (one,) = seen(tmp_path, e.started(1), e.ended(1), judged)

    assert not one.kept
    assert one.seconds is not None


def test_passes_of_another_fingerprint_or_before_a_rerun_belong_elsewhere(tmp_path: Path) -> None:
    def whole(attempt: int, group: int) -> tuple[r.Record, ...]:
        return (e.started(attempt, group=group), e.ended(attempt), e.judged(attempt))

    again = r.CellReopened(cell=e.CELL, superseded=(1, 2), by="Ana", reason="a new cable")
    passes = seen(tmp_path, *whole(1, 1), *whole(2, 2), again, *whole(3, 2))

    assert len({one.group for one in passes}) == 3


def test_plans_are_those_of_this_rig_newest_first(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        for run, rig in (("one", "bench-3"), ("two", "bench-4"), ("three", "bench-3")):
            first = e.BEGINNING[0]
            assert isinstance(first, r.RunStarted)
            started = dataclasses.replace(first, run=run, plan=f'{{"plan":"{run}"}}')
            store.create_run(
                run, plan_name="p", plan_hash=f"hash of {run}", rig=rig, cells=1, at=e.AT,
                first=[started],
            )  # fmt: skip
    with open_history(tmp_path) as history:
        assert history.plans(rig="bench-3") == (
            ("three", "hash of three", '{"plan":"three"}'),
            ("one", "hash of one", '{"plan":"one"}'),
        )


def test_a_folder_without_a_store_has_no_history(tmp_path: Path) -> None:
    assert not has_records(tmp_path)
    with pytest.raises(StoreError, match="no store"), open_history(tmp_path):
        pass
