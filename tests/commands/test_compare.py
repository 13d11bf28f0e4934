"""The door of ``harness compare`` and ``harness ceilings``, over a store of made records."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.__main__ import main
from harness.plan.canonical import freeze, plan_hash
from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.store.sqlite import open_store
from tests.summary.comparing import plan, title

AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
RATES = {"stock": 100.0, "quiet": 110.0}


def keep(folder: Path, asked: Plan, run: str, *, rig: str = "north-2") -> None:
    """Keep one run of *asked*: three rounds, every cell once in each."""
    records: list[r.Record] = [
        r.RunStarted(
            run=run, plan=freeze(asked), plan_hash=plan_hash(asked), plan_file="p.yaml", rig=rig,
            harness="0.1.0",
        ),
        r.GroupOpened(group=1, fields=(("os.build", "1"),)),
        r.BlockOpened(block=0),
    ]  # fmt: skip
    for number in (1, 2, 3):
        for cell in cells(asked):
            rate = RATES[cell.level("way")] * (0.8 if cell.setting == "uhd" else 1.0)
            figure = Figure(
                name="average_fps", value=rate * (1.0 + 0.001 * number * len(cell.level("way"))),
                unit="fps", definition="frames-over-time/1",
            )  # fmt: skip
            records += [
                r.PassStarted(
                    cell=cell.key, attempt=number, warm_up=False, group=1, block=0, round=number,
                    waited_s=0.0, readings=(),
                ),
                r.PassEnded(cell=cell.key, attempt=number, end=None, figures=(figure,)),
                r.PassJudged(
                    cell=cell.key, attempt=number, verdict=Verdict.KEPT, reason="…"
                ),
            ]  # fmt: skip
    for cell in cells(asked):
        records.append(
            r.CellClosed(
                cell=cell.key, state=r.CellState.ACCEPTED, group=1, kept=(1, 2, 3), reason="…"
            )
        )
    with open_store(folder, write=True) as store:
        store.create_run(
            run, plan_name="two-ways", plan_hash=plan_hash(asked), rig=rig, cells=4, at=AT,
            first=records, boot="b",
        )  # fmt: skip


def harness(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    status = main(arguments, out=out, err=err)
    return status, out.getvalue(), err.getvalue()


@pytest.fixture
def store(tmp_path: Path) -> str:
    keep(tmp_path / "store", plan(), "night-1")
    return str(tmp_path / "store")


def test_two_levels_are_compared_cell_by_cell(store: str) -> None:
    status, out, _ = harness(
        "compare", "--store", store, "--base", "way=stock", "--against", "way=quiet", "--json"
    )
    shown = json.loads(out)

    assert status == 0
    assert [(row["setting"], row["by"], row["word"]) for row in shown["rows"]] == [
        ("fhd", "round", "faster"),
        ("uhd", "round", "faster"),
    ]
    assert shown["overall"]["margin"] == pytest.approx(0.1, abs=1e-3)


def test_a_difference_of_procedure_is_refused_and_despite_is_printed(tmp_path: Path) -> None:
    folder = tmp_path / "store"
    keep(folder, plan(), "night-1")
    keep(folder, plan(title(argument="--other")), "night-2", rig="south-1")
    asked = ("compare", "--store", str(folder), "--base", "run=night-1", "--against", "run=night-2")

    status, out, err = harness(*asked)
    assert (status, out) == (2, "")
    assert "error[procedure-differs]: procedure command differs" in err
    assert "--despite REASON" in err

    status, out, _ = harness(*asked, "--despite", "the same scene under another name")
    assert status == 0
    assert "compared despite that: the same scene under another name" in out
    assert "procedure command" in out


def test_a_figure_that_no_pass_has_is_refused_with_those_there_are(store: str) -> None:
    status, _, err = harness(
        "compare", "--store", store, "--base", "way=stock", "--against", "way=quiet",
        "--figure", "low_1pct_fps",
    )  # fmt: skip

    assert status == 2
    assert "write one of average_fps" in err


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ((), "bad-selection"),
        (("--base", "way=stock", "--against", "way=stock"), "bad-selection"),
        (("--base", "way=stock", "--where", "way=stock"), "bad-selection"),
        (("--base", "way=stock", "--against", "way=quiet", "--band", "3"), "unit-needed"),
        (("--base", "run=nowhere", "--against", "run=night-1"), "no-such-run"),
        (("--base", "way=stock", "--against", "way=quiet", "--despite", " "), "no-reason"),
    ],
)
def test_what_cannot_be_meant_is_refused(store: str, more: tuple[str, ...], code: str) -> None:
    status, out, err = harness("compare", "--store", store, *more)

    assert (status, out) == (2, "")
    assert f"error[{code}]" in err


def test_ceilings_of_a_run_without_one_say_so(store: str) -> None:
    status, out, _ = harness("ceilings", "--store", store)

    assert status == 0
    assert "way stock: no ceiling seen" in out
    assert "way quiet: the fastest over all" in out


def test_ceilings_refuse_a_condition_that_the_plan_does_not_have(store: str) -> None:
    status, _, err = harness("ceilings", "--store", store, "--condition", "slot")

    assert status == 2
    assert "no condition slot" in err
