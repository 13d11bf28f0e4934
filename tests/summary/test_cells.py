from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.cells import cells
from harness.plan.document import By, Command, Condition, Level, Plan, Setting, Title
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.cells import CellSummary, PassCounts, summarise
from harness.summary.cells_json import as_json

PLAN = Plan(
    name="two-workers",
    titles=(
        Title(
            title="Lantern Quay",
            scene="harbour loop",
            settings=("fhd",),
            command=Command(argv=("lantern-quay",), time_limit_s=60.0),
        ),
    ),
    settings=(Setting(name="fhd", values=(("size", "1920x1080"),)),),
    conditions=(
        Condition(name="workers", by=By.COMMAND, levels=(Level(name="one"), Level(name="two"))),
    ),
)
ONE, TWO = (cell.key for cell in cells(PLAN))
AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
START: tuple[r.Record, ...] = (
    r.RunStarted(
        run="two-workers-1",
        plan="{}",
        plan_hash="0",
        plan_file="plans/two-workers.yaml",
        rig="bench-a",
        harness="0.1.0",
    ),
    r.GroupOpened(group=1, fields=(("os.build", "1"),)),
)


def entries(records: Sequence[r.Record]) -> list[Entry]:
    return [
        Entry(seq=seq, at=AT + timedelta(seconds=seq), boot="b", record=record)
        for seq, record in enumerate(records, start=1)
    ]


def a_pass(
    attempt: int,
    rate: float | None = 100.0,
    *,
    cell: str = ONE,
    group: int = 1,
    warm_up: bool = False,
    verdict: Verdict = Verdict.KEPT,
    flags: tuple[str, ...] = (),
    marks: tuple[str, ...] = (),
    thin: bool = False,
) -> tuple[r.Record, ...]:
    figures = (
        Figure(
            name="average_fps",
            value=rate,
            unit="frames/s",
            definition="frames-over-time/1",
            why=None if rate is not None else "no frames",
        ),
        Figure(
            name="low_1pct_fps", value=50.0, unit="frames/s", definition="percentile/1", thin=thin
        ),
    )
    return (
        r.PassStarted(
            cell=cell,
            attempt=attempt,
            warm_up=warm_up,
            group=group,
            block=0,
            round=1,
            waited_s=0.0,
            readings=(),
            marks=marks,
        ),
        r.PassEnded(cell=cell, attempt=attempt, end=None, figures=figures, flags=flags),
        r.PassJudged(cell=cell, attempt=attempt, verdict=verdict, reason="…", marks=marks),
    )


def closed(*kept: int, cell: str = ONE, group: int = 1) -> r.CellClosed:
    return r.CellClosed(
        cell=cell,
        state=r.CellState.ACCEPTED,
        group=group,
        kept=kept,
        reason=f"{len(kept)} passes kept",
    )


def discarded(attempt: int, *, only_marked: bool = False) -> r.PassDiscarded:
    return r.PassDiscarded(
        cell=ONE,
        attempt=attempt,
        rule="spread/1",
        on="average_fps",
        statistic=0.2,
        critical=0.03,
        passes=3,
        discarded=not only_marked,
        reason="average_fps is 20 % below the median of the other 2 passes, more than 3 %",
    )


def summary_of(*records: r.Record, cell: str = ONE) -> CellSummary:
    found = [s for s in summarise(entries([*START, *records]), plan=PLAN) if s.cell.key == cell]
    assert len(found) == 1
    return found[0]


def mean(summary: CellSummary) -> float | None:
    estimate = summary.figure("average_fps")
    return estimate.mean if estimate is not None else None


def test_cells_come_in_plan_order_with_their_names_also_before_their_first_pass() -> None:
    one, two = summarise(entries(START), plan=PLAN)
    assert (one.cell.key, two.cell.key) == (ONE, TWO)
    assert (one.run, one.rig, one.group) == ("two-workers-1", "bench-a", 1)
    assert (one.state, one.passes, one.figures) == (r.CellState.OPEN, PassCounts(), ())


def test_an_accepted_cell_has_mean_spread_and_interval_of_its_kept_passes() -> None:
    summary = summary_of(*a_pass(1, 100.0), *a_pass(2, 102.0), *a_pass(3, 98.0), closed(1, 2, 3))
    figure = summary.figure("average_fps")
    assert figure is not None
    # t(0.975, 2) = 4.303 (NIST/SEMATECH e-Handbook, table 1.3.6.7.2); 4.303 * 2 / sqrt 3.
    assert (figure.mean, figure.sd, figure.n) == (100.0, 2.0, 3)
    assert figure.half_width == pytest.approx(4.303 * 2.0 / 3**0.5, abs=1e-3)
    assert (summary.state, summary.reason) == (r.CellState.ACCEPTED, "3 passes kept")


def test_passes_are_counted_by_verdict_and_warm_ups_by_themselves() -> None:
    summary = summary_of(
        *a_pass(1, warm_up=True),
        *a_pass(2, warm_up=True, verdict=Verdict.FAILED),
        *a_pass(3),
        *a_pass(4, verdict=Verdict.VOID),
        *a_pass(5, verdict=Verdict.FAILED),
        *a_pass(6, verdict=Verdict.INTERRUPTED),
        *a_pass(7, 80.0),
        discarded(7),
    )
    assert summary.passes == PassCounts(
        kept=1, discarded=1, void=1, failed=1, interrupted=1, warm_up=2
    )


def test_only_kept_counted_passes_make_the_figures() -> None:
    summary = summary_of(
        *a_pass(1, 1.0, warm_up=True),
        *a_pass(2, 100.0),
        *a_pass(3, 2.0, verdict=Verdict.VOID),
        *a_pass(4, 3.0, verdict=Verdict.FAILED),
        *a_pass(5, 4.0, verdict=Verdict.INTERRUPTED),
        *a_pass(6, 102.0),
    )
    assert mean(summary) == 101.0


def test_figures_are_shown_with_and_without_discards() -> None:
    summary = summary_of(
        *a_pass(1, 100.0), *a_pass(2, 100.0), *a_pass(3, 80.0), discarded(3), *a_pass(4, 100.0)
    )
    assert mean(summary) == 100.0
    (with_discarded, _) = summary.with_discarded
    assert (with_discarded.mean, with_discarded.n) == (95.0, 4)


def test_without_a_discard_there_is_nothing_to_put_back() -> None:
    assert summary_of(*a_pass(1), *a_pass(2)).with_discarded == ()


def test_a_rule_that_only_marks_leaves_the_pass_in_and_flags_the_cell() -> None:
    summary = summary_of(*a_pass(1), *a_pass(2), *a_pass(3, 80.0), discarded(3, only_marked=True))
    assert summary.passes.kept == 3
    assert summary.flags == ("marked",)
    assert summary.marks == (
        (3, "spread/1: average_fps is 20 % below the median of the other 2 passes, more than 3 %"),
    )


def test_a_mark_is_shown_once_and_only_of_kept_passes() -> None:
    gate = ("gate-gave-up: gpu.temperature did not become at most 60 °C within 900 s",)
    summary = summary_of(*a_pass(1, marks=gate), *a_pass(2, marks=gate, verdict=Verdict.VOID))
    assert summary.marks == ((1, gate[0]),)


def test_flags_are_those_of_the_kept_passes_sorted_and_once() -> None:
    summary = summary_of(
        *a_pass(1, flags=("gap", "capped")),
        *a_pass(2, flags=("capped",), thin=True),
        *a_pass(3, flags=("plateau",), verdict=Verdict.VOID),
    )
    assert summary.flags == ("capped", "gap", "thin")


def test_a_skipped_pass_counts_as_failed() -> None:
    skipped = r.PassSkipped(
        cell=ONE, attempt=1, warm_up=False, group=1, fault="gate-gave-up", reason="…"
    )
    assert summary_of(skipped).passes == PassCounts(failed=1)


def test_a_pass_in_progress_is_in_no_count() -> None:
    assert summary_of(a_pass(1)[0]).passes == PassCounts()


def test_groups_are_never_mixed() -> None:
    records = (
        *START,
        *a_pass(1, 100.0),
        r.GroupOpened(group=2, fields=(("os.build", "2"),)),
        *a_pass(2, 200.0, group=2),
        *a_pass(3, 202.0, group=2),
        closed(2, 3, group=2),
    )
    left, standing, _ = summarise(entries(records), plan=PLAN)
    assert (left.group, mean(left), left.state) == (1, 100.0, r.CellState.OPEN)
    assert (standing.group, mean(standing), standing.state) == (2, 201.0, r.CellState.ACCEPTED)
    assert (left.flags, standing.flags) == (("group-left",), ())


def test_a_cell_closed_before_the_rig_changed_stays_in_its_group() -> None:
    summary = summary_of(
        *a_pass(1), *a_pass(2), closed(1, 2), r.GroupOpened(group=2, fields=(("os.build", "2"),))
    )
    assert (summary.group, summary.state, summary.flags) == (1, r.CellState.ACCEPTED, ())


def test_an_open_cell_left_in_an_earlier_group_stands_in_the_open_one() -> None:
    records = (*START, *a_pass(1), r.GroupOpened(group=2, fields=(("os.build", "2"),)))
    left, standing, _ = summarise(entries(records), plan=PLAN)
    assert (left.group, standing.group, standing.passes) == (1, 2, PassCounts())
    assert ("group-left" in left.flags, "group-left" in standing.flags) == (True, False)


def test_superseded_passes_are_out_after_a_rerun() -> None:
    summary = summary_of(
        *a_pass(1, 50.0),
        *a_pass(2, 50.0),
        closed(1, 2),
        r.CellReopened(cell=ONE, superseded=(1, 2), by="Ada", reason="fan was loose"),
        *a_pass(3, 100.0),
    )
    assert (summary.state, summary.passes.kept, mean(summary)) == (r.CellState.OPEN, 1, 100.0)


def test_entries_that_begin_no_run_are_refused() -> None:
    with pytest.raises(ValueError, match="not of one whole run"):
        summarise(entries(a_pass(1)), plan=PLAN)


def test_the_json_row_has_the_agreed_shape() -> None:
    summary = summary_of(*a_pass(1, 100.0), *a_pass(2, 102.0), closed(1, 2))
    row = json.loads(json.dumps(as_json(summary), allow_nan=False))
    assert {key: row[key] for key in ("run", "rig", "title", "scene", "setting", "state")} == {
        "run": "two-workers-1",
        "rig": "bench-a",
        "title": "Lantern Quay",
        "scene": "harbour loop",
        "setting": "fhd",
        "state": "accepted",
    }
    assert row["conditions"] == {"workers": "one"}
    assert row["group"] == 1
    assert row["passes"] == {
        "kept": 2,
        "discarded": 0,
        "void": 0,
        "failed": 0,
        "interrupted": 0,
        "warm_up": 0,
    }
    assert set(row["figures"]["average_fps"]) == {
        "mean",
        "sd",
        "n",
        "half_width",
        "interval",
        "confidence",
        "definition",
        "unit",
    }
    assert row["figures"]["low_1pct_fps"]["definition"] == "percentile/1"
    assert row["flags"] == []


def test_what_is_not_measured_is_null_in_json_and_says_why() -> None:
    row = as_json(summary_of(*a_pass(1, None), *a_pass(2, None)))
    figures = row["figures"]
    assert isinstance(figures, dict)
    assert (figures["average_fps"]["mean"], figures["average_fps"]["why"]) == (None, "no frames")


verdicts = st.lists(
    st.tuples(
        st.sampled_from(list(Verdict)),
        st.integers(900, 1100).map(lambda n: n / 10),
        st.booleans(),
        st.integers(1, 3),
    ),
    max_size=25,
)


@given(drawn=verdicts)
def test_every_judged_pass_is_in_exactly_one_count_of_exactly_one_group(
    drawn: list[tuple[Verdict, float, bool, int]],
) -> None:
    records: list[r.Record] = list(START)
    group = 1
    for attempt, (verdict, rate, warm_up, wanted) in enumerate(drawn, start=1):
        if wanted > group:
            group += 1
            records.append(r.GroupOpened(group=group, fields=(("os.build", str(group)),)))
        records += a_pass(attempt, rate, group=group, warm_up=warm_up, verdict=verdict)
    found = [s for s in summarise(entries(records), plan=PLAN) if s.cell.key == ONE]
    total = 0
    for summary in found:
        counts = summary.passes
        total += (
            counts.kept
            + counts.discarded
            + counts.void
            + counts.failed
            + counts.interrupted
            + counts.warm_up
        )
        figure = summary.figure("average_fps")
        assert (figure.n if figure is not None else 0) == counts.kept
    assert total == len(drawn)
    assert [s.group for s in found] == sorted({s.group for s in found})
    assert sum("group-left" not in s.flags for s in found) == 1


def test_a_summary_does_not_depend_on_what_became_of_other_cells() -> None:
    alone = summary_of(*a_pass(1), *a_pass(2), closed(1, 2))
    beside = summary_of(
        *a_pass(1), *a_pass(1, 7.0, cell=TWO), *a_pass(2), closed(1, 2), closed(1, cell=TWO)
    )
    assert alone == beside


def test_a_cell_that_ended_wider_than_wanted_says_so() -> None:
    sized = r.CellSized(
        cell=ONE, passes=2, figure="average_fps", half_width=0.001, reason="", pilot=()
    )
    summary = summary_of(sized, *a_pass(1, 100.0), *a_pass(2, 102.0), closed(1, 2))

    assert "wide" in summary.flags


def test_a_number_that_a_pilot_fixed_has_the_two_stage_interval() -> None:
    # Stein: t(0.975, 2) = 4.302653 (any table), the pilot's relative spread, over all four.
    sized = r.CellSized(
        cell=ONE, passes=4, figure="average_fps", half_width=0.05, reason="", pilot=(1, 2, 3)
    )
    rates = (99.0, 100.0, 101.0, 104.0)
    passes = [each for n, fps in enumerate(rates, 1) for each in a_pass(n, fps)]
    figure = summary_of(sized, *passes, closed(1, 2, 3, 4)).figure("average_fps")

    assert figure is not None
    assert figure.interval == "two-stage/1"
    assert figure.half_width == pytest.approx(4.302653 * 0.01 * 101.0 / 2.0, rel=1e-5)


def test_a_pilot_that_lost_a_pass_to_a_rule_has_the_spread_of_those_that_are_left() -> None:
    # t(0.975, 1) = 12.706 (any table): 99 and 101 are left of the pilot, the mean is 100.
    sized = r.CellSized(
        cell=ONE, passes=4, figure="average_fps", half_width=0.05, reason="", pilot=(1, 2, 3)
    )
    rates = (99.0, 101.0, 90.0, 99.5, 100.5)
    passes = [each for n, fps in enumerate(rates, 1) for each in a_pass(n, fps)]
    gone = r.PassDiscarded(
        cell=ONE, attempt=3, rule="spread/1", on="average_fps", statistic=0.1, critical=0.03,
        passes=5, discarded=True, reason="…",
    )  # fmt: skip
    figure = summary_of(sized, *passes, gone, closed(1, 2, 4, 5)).figure("average_fps")

    assert figure is not None
    spread = math.sqrt(2.0) / 100.0
    assert figure.interval == "two-stage/1"
    assert figure.half_width == pytest.approx(12.706 * spread * 100.0 / 2.0, rel=1e-4)


def test_a_reused_cell_shows_the_passes_of_the_run_it_was_taken_from() -> None:
    earlier = entries((*START, *a_pass(1, 100.0), *a_pass(2, 102.0), closed(1, 2)))
    taken = r.CellReused(
        cell=ONE,
        group=1,
        run="two-workers-0",
        run_group=1,
        kept=(1, 2),
        measured_at="2026-11-20T22:00:00+00:00",
    )
    (summary,) = (
        each
        for each in summarise(
            entries((*START, taken)), plan=PLAN, earlier=lambda run: (earlier, PLAN)
        )
        if each.cell.key == ONE
    )

    assert (summary.passes.kept, summary.state.value) == (2, "accepted")
    assert summary.figure("average_fps").mean == pytest.approx(101.0)  # type: ignore[union-attr]
    assert "reused" in summary.flags
