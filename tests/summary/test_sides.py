from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from harness.plan.cells import cells
from harness.plan.document import By
from harness.rules.judgement import Figure, ReadingSummary, Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.sides import SideCell, side_cells
from tests.summary.comparing import plan

PLAN = plan(by=By.OPERATOR)
STOCK = next(c.key for c in cells(PLAN) if c.setting == "fhd" and c.level("way") == "stock")
AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
BEGIN: tuple[r.Record, ...] = (
    r.RunStarted(
        run="two-ways-1", plan="{}", plan_hash="0", plan_file="p.yaml", rig="north-2", harness="0",
    ),
    r.GroupOpened(group=1, fields=(("os.build", "1"),)),
    r.BlockOpened(block=0),
)  # fmt: skip


def a_pass(
    attempt: int,
    *,
    group: int = 1,
    round_no: int = 1,
    warm_up: bool = False,
    verdict: Verdict = Verdict.KEPT,
    new_fields: tuple[tuple[str, str], ...] = (),
) -> tuple[r.Record, ...]:
    figure = Figure(name="average_fps", value=100.0, unit="fps", definition="frames-over-time/1")
    load = ReadingSummary(
        name="gpu.load", unit="%", samples=9, measured=9, mean=97.0, least=90.0, most=99.0
    )
    return (
        r.PassStarted(
            cell=STOCK, attempt=attempt, warm_up=warm_up, group=group, block=0, round=round_no,
            waited_s=0.0, readings=(), new_fields=new_fields,
        ),
        r.PassEnded(cell=STOCK, attempt=attempt, end=None, figures=(figure,), readings=(load,)),
        r.PassJudged(cell=STOCK, attempt=attempt, verdict=verdict, reason="…"),
    )  # fmt: skip


def step(number: int) -> tuple[r.Record, ...]:
    return (
        r.StepAsked(
            step=number, levels=(("way", "stock"),), say=("…",), opens_case=False, reboot=False
        ),
        r.StepConfirmed(step=number, by="Ana", note=""),
    )


def stock(*records: r.Record) -> list[SideCell]:
    entries = [
        Entry(seq=seq, at=AT, boot="b", record=record)
        for seq, record in enumerate((*BEGIN, *records), start=1)
    ]
    return [each for each in side_cells(entries, plan=PLAN) if each.cell.key == STOCK]


def test_only_kept_counted_passes_stand_on_a_side_with_their_round_and_readings() -> None:
    [cell] = stock(
        *a_pass(1, warm_up=True),
        *a_pass(2, round_no=1),
        *a_pass(3, round_no=2, verdict=Verdict.VOID),
        *a_pass(4, round_no=3),
    )

    assert [(each.attempt, each.stay, each.round) for each in cell.kept] == [(2, 1, 1), (4, 1, 3)]
    assert cell.kept[0].readings["gpu.load"].mean == 97.0


def test_a_pass_that_a_rule_took_out_is_out() -> None:
    taken = r.PassDiscarded(
        cell=STOCK, attempt=1, rule="spread/1", on="average_fps", statistic=0.2, critical=0.03,
        passes=3, discarded=True, reason="…",
    )  # fmt: skip
    [cell] = stock(*a_pass(1), *a_pass(2), taken)

    assert [each.attempt for each in cell.kept] == [2]


def test_passes_that_fixed_how_many_there_are_say_of_which_figure() -> None:
    sized = r.CellSized(
        cell=STOCK, passes=3, figure="average_fps", half_width=0.01, reason="…", pilot=(1, 2)
    )
    (cell,) = stock(*a_pass(1), *a_pass(2), sized, *a_pass(3))
    assert [each.fixed for each in cell.kept] == ["average_fps", "average_fps", ""]


def test_groups_are_sides_of_their_own_each_with_its_fingerprint() -> None:
    left, now = stock(
        *a_pass(1, new_fields=(("title.build Lantern Quay", "7"),)),
        r.GroupOpened(group=2, fields=(("os.build", "2"),), changed=("os.build",)),
        *a_pass(2, group=2),
    )

    assert (left.current, now.current) == (False, True)
    assert left.fingerprint == {"os.build": "1", "title.build Lantern Quay": "7"}
    assert now.fingerprint == {"os.build": "2"}
    assert [len(each.kept) for each in (left, now)] == [1, 1]


def test_a_visit_begins_with_each_confirmed_step() -> None:
    [cell] = stock(
        *step(1),
        *a_pass(1),
        r.BlockClosed(block=0),
        r.BlockOpened(block=1),
        r.BlockClosed(block=1),
        r.BlockOpened(block=2),
        *step(2),
        *a_pass(2),
    )

    first, second = (cell.visits[each.stay]["way"] for each in cell.kept)
    assert (first, second) == (1, 2)


def test_hardware_touched_again_within_a_block_is_another_stay() -> None:
    [cell] = stock(*step(1), *a_pass(1), *step(2), *a_pass(2, round_no=2))

    assert [each.stay for each in cell.kept] == [1, 2]
    assert cell.visits[1]["way"] != cell.visits[2]["way"]


def test_what_is_only_said_to_be_still_so_is_no_other_stay_and_no_other_visit() -> None:
    asked, said = step(2)
    assert isinstance(asked, r.StepAsked)
    still = replace(asked, opens_case=False, still=True, reopens=True)
    [cell] = stock(*step(1), *a_pass(1), still, said, *a_pass(2, round_no=2))
    assert [each.stay for each in cell.kept] == [1, 1]
    assert cell.visits[1]["way"] == 1


def test_a_case_that_was_opened_to_put_it_right_is_another_stay() -> None:
    asked, said = step(2)
    assert isinstance(asked, r.StepAsked)
    assert isinstance(said, r.StepConfirmed)
    still = replace(asked, opens_case=False, still=True, reopens=True)
    opened = replace(said, attending=True)
    [cell] = stock(*step(1), *a_pass(1), still, opened, *a_pass(2, round_no=2))
    assert [each.stay for each in cell.kept] == [1, 2]
