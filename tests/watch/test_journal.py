"""The watch's own file: append-only, whole after a crash, shared by several writers."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import Exit, RigError
from harness.watch import events as e
from harness.watch.journal import WatchJournal
from harness.watch.standing import Standing, apply, fold

EVENTS = st.one_of(
    st.builds(e.Queued, by=st.text()),
    st.builds(e.Started, late_s=st.floats(allow_nan=False)),
    *(st.builds(kind) for kind in (e.Moved, e.Removed, e.Left, e.Missed, e.Noticed, e.Told)),
)


def queued(number: int, plan: str = "/plans/quay.yaml") -> e.Queued:
    return e.Queued(at="2026-11-25T20:00:00Z", entry=number, plan=plan, store="/s", folder="/p")


@given(event=EVENTS)
def test_an_event_reads_back_as_it_was_written(event: e.Event) -> None:
    line = e.to_line(event)

    assert "\n" not in line
    assert e.from_line(line) == event


@pytest.mark.parametrize("line", ["", "{", '{"kind": "left", "how": "away"}', '{"kind": "x"}', "7"])
def test_a_line_that_is_no_event_of_ours_is_none(line: str) -> None:
    assert e.from_line(line) is None


def test_a_plan_that_was_queued_before_it_was_kept_by_whom_reads_as_by_nobody() -> None:
    line = (
        '{"kind": "queued", "at": "2026-11-25T20:00:00Z", "entry": 1, "plan": "/plans/quay.yaml",'
        ' "store": "/s", "folder": "/p", "start": "", "end": ""}'
    )

    assert e.from_line(line) == queued(1)
    assert queued(1).by == ""


@given(order=st.permutations(range(1, 6)), seed=st.integers())
def test_the_order_of_the_queue_is_that_of_a_list(order: list[int], seed: int) -> None:
    standing, model = Standing(), list[int]()
    chance = random.Random(seed)
    for number in order:
        apply(standing, queued(number))
        model.append(number)
        move, before = chance.choice(model), chance.choice([0, *model])
        apply(standing, e.Moved(at="", entry=move, before=before))
        if move != before:
            model.remove(move)
            model.insert(model.index(before) if before else len(model), move)
        assert standing.order == model


def test_what_was_kept_is_there_for_the_next_to_open_it(tmp_path: Path) -> None:
    with WatchJournal(tmp_path) as journal:
        journal.keep(queued(1), queued(2))
        journal.keep(e.Removed(at="", entry=1))

    with WatchJournal(tmp_path) as again:
        assert again.standing.order == [2]
        assert again.standing.next_entry == 3  # a number is never used again


def test_a_line_that_a_power_cut_tore_hurts_neither_what_is_before_nor_what_comes(
    tmp_path: Path,
) -> None:
    with WatchJournal(tmp_path) as journal:
        journal.keep(queued(1))
    with journal.path.open("ab") as file:
        file.write(b'{"kind": "queued", "at": "2026-11')

    with WatchJournal(tmp_path) as again:
        again.keep(queued(2))
        assert again.standing.order == [1, 2]
        assert again.unread == 1


def test_one_writer_sees_at_once_what_the_other_has_kept(tmp_path: Path) -> None:
    with WatchJournal(tmp_path) as one, WatchJournal(tmp_path) as two:
        one.keep(queued(1))
        with two.writing() as standing:
            assert standing.next_entry == 2


def test_a_refresh_without_news_says_so(tmp_path: Path) -> None:
    with WatchJournal(tmp_path) as one, WatchJournal(tmp_path) as two:
        assert two.refresh() is False
        one.keep(queued(1))
        assert two.refresh() is True
        assert two.refresh() is False


def test_a_folder_that_cannot_be_used_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "rig").write_text("a file")

    with pytest.raises(RigError, match="the rig's queue cannot be kept") as refused:
        WatchJournal(tmp_path / "rig")
    assert refused.value.status is Exit.RIG_NOT_READY


def test_a_start_without_an_end_is_the_open_one() -> None:
    started = e.Started(at="", entry=1, night="n", planned="", late_s=0.0, boot="b")
    left = e.Left(at="", entry=1, night="n", how=e.Leaving.GONE)

    assert fold([queued(1), started]).open_start is not None
    assert fold([queued(1), started, left]).open_start is None
