from __future__ import annotations

from pathlib import Path

from harness.store.sqlite import open_store
from tests.store.examples import (
    AT,
    BEGINNING,
    BOOT,
    CELL,
    OTHER,
    ended,
    frame_log,
    judged,
    keep_pass,
    started,
)

RUN = "two-slots-1"


def test_a_story_is_what_is_about_a_cell_in_order(tmp_path: Path) -> None:
    with open_store(tmp_path / "store", write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append(BEGINNING, at=AT, boot=BOOT)
        refs = [
            keep_pass(journal, attempt, (frame_log(tmp_path),), cell=cell)
            for attempt, cell in ((1, CELL), (1, OTHER), (2, CELL))
        ]
        story = store.story(RUN, CELL)
        assert [entry.record for entry in story] == [
            started(1),
            ended(1, bundle=refs[0]),
            judged(1),
            started(2),
            ended(2, bundle=refs[2]),
            judged(2),
        ]
        assert store.story(RUN, CELL, attempt=2) == story[3:]
        assert store.story(RUN, "0" * 12) == ()


def test_entries_after_a_number_leave_out_those_before(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append(BEGINNING, at=AT, boot=BOOT)
        assert store.entries(RUN) == journal.entries()
        assert store.entries(RUN, after=3) == journal.entries()[3:]
