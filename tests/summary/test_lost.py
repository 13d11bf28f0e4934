"""Passes that came to nothing, by why."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from harness.rules.faults import FAULTS
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.lost import Lost, lost
from harness.views.lost import lost_lines

AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)


def told(*records: r.Record, among: set[str] | None = None) -> tuple[Lost, ...]:
    entries = [
        Entry(seq=seq, at=AT, boot="b", record=record) for seq, record in enumerate(records, 1)
    ]
    return lost(entries, among=among)


def judged(
    cell: str, attempt: int, verdict: Verdict = Verdict.VOID, *, fault: str | None = "no-capture"
) -> r.PassJudged:
    reason = f"attempt {attempt} left nothing"
    return r.PassJudged(cell=cell, attempt=attempt, verdict=verdict, reason=reason, fault=fault)


def discarded(cell: str, attempt: int, *, out: bool = True) -> r.PassDiscarded:
    return r.PassDiscarded(
        cell=cell, attempt=attempt, rule="spread", on="average_fps", statistic=0.05,
        critical=0.03, passes=5, discarded=out, reason="5 % from the others",
    )  # fmt: skip


def reopened(cell: str, *attempts: int) -> r.CellReopened:
    return r.CellReopened(cell=cell, superseded=attempts, by="Ana", reason="odd")


def test_two_hundred_passes_lost_to_one_thing_are_one_kind() -> None:
    (kind,) = told(*(judged(f"c{n % 50}", n // 50) for n in range(200)))

    assert (kind.passes, len(kind.cells), kind.why) == (200, 50, "no-capture")
    assert kind.reason == "attempt 3 left nothing"
    assert kind.do == FAULTS["no-capture"].do


def test_the_kind_that_cost_most_comes_first() -> None:
    found = told(judged("a", 1, Verdict.FAILED, fault="timed-out"), judged("a", 2), judged("b", 1))

    assert [(kind.why, kind.passes) for kind in found] == [("no-capture", 2), ("timed-out", 1)]


def test_a_kept_pass_is_lost_only_when_a_rule_takes_it_out() -> None:
    kept = judged("a", 1, Verdict.KEPT, fault=None), judged("a", 2, Verdict.KEPT, fault=None)
    (kind,) = told(*kept, discarded("a", 1, out=False), discarded("a", 2))

    assert (kind.verdict, kind.why, kind.passes) == (Verdict.DISCARDED, "rule spread", 1)
    assert kind.reason == "5 % from the others"


def test_what_a_rerun_took_the_place_of_is_left_out() -> None:
    assert told(judged("a", 1), judged("a", 2), reopened("a", 1, 2)) == ()


def test_only_the_cells_asked_about_are_told_of() -> None:
    (kind,) = told(judged("a", 1), judged("b", 1), among={"b"})

    assert (kind.passes, kind.cells) == (1, ("b",))


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from([*FAULTS][:4])), max_size=30))
def test_no_pass_is_told_twice_and_none_is_missing(passes: list[tuple[str, str]]) -> None:
    records = [judged(cell, n, fault=fault) for n, (cell, fault) in enumerate(passes)]

    assert sum(kind.passes for kind in told(*records)) == len(passes)


def test_the_lines_name_few_cells_and_count_many() -> None:
    few = told(judged("a", 1), judged("b", 1))
    many = told(*(judged(f"c{n}", 1) for n in range(12)))
    labels = {"a": "Lantern Quay, fhd", "b": "Basalt Run, fhd"}

    assert "  2 void (no-capture), of Lantern Quay, fhd; Basalt Run, fhd" in lost_lines(few, labels)
    assert "  12 void (no-capture), of 12 cells" in lost_lines(many, labels)
    assert lost_lines((), labels) == []


def test_a_pass_whose_runner_was_gone_is_told_once() -> None:
    gone = told(judged("a", 1, Verdict.INTERRUPTED, fault="interrupted"))

    assert "  1 interrupted, of Lantern Quay, fhd" in lost_lines(gone, {"a": "Lantern Quay, fhd"})
