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
from tests.store.test_verify import tamper
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


@pytest.fixture
def unlike(tmp_path: Path) -> str:
    """A store of two runs of other procedures on two rigs."""
    keep(tmp_path / "store", plan(), "night-1")
    keep(tmp_path / "store", plan(title(argument="--other")), "night-2", rig="south-1")
    return str(tmp_path / "store")


ACROSS = ("--base", "run=night-1", "--against", "run=night-2")
WHY = ("--despite", "the same scene under another name", "--by", "Ines")


def test_a_comparison_made_despite_differences_is_kept_and_told_for_ever(unlike: str) -> None:
    asked = ("compare", "--store", unlike)
    harness(*asked, *ACROSS, *WHY)
    harness(*asked, *ACROSS, *WHY)  # asked again: kept once

    other_way = ("--base", "run=night-2", "--against", "run=night-1", "--where", "setting=uhd")
    status, _, err = harness(*asked, *other_way)
    assert status == 2
    assert "despite differences before, by Ines: the same scene under another name" in err

    status, out, _ = harness(*asked, *other_way, "--despite", "so what", "--by", "Tomas", "--json")
    kept = json.loads(out)["kept"]
    assert status == 0
    assert [(each["number"], each["by"]) for each in kept] == [(1, "Ines"), (2, "Tomas")]
    assert kept[0]["differences"][0]["name"] == "command"
    assert kept[0]["asked"]["selections"]["base"] == {"run": ["night-1"]}
    assert kept[0]["rows"][0]["word"] == "alike"
    assert kept[0]["harness"]


def test_trace_and_verify_know_of_a_kept_comparison(unlike: str) -> None:
    harness("compare", "--store", unlike, *ACROSS, *WHY)
    key = cells(plan())[0].key

    _, out, _ = harness("trace", key, "--run", "night-1", "--store", unlike)
    assert "compared despite differences: " in out
    assert "Ines, harness" in out
    assert "the same scene under another name (differing: procedure command)" in out
    _, out, _ = harness("trace", key, "--run", "night-1", "--store", unlike, "--json")
    assert [each["reason"] for each in json.loads(out)["comparisons"]] == [WHY[1]]
    _, out, _ = harness("verify", unlike)
    assert "comparisons made despite differences: 1" in out


def test_with_as_kept_nothing_is_written_and_only_a_kept_reason_is_taken(unlike: str) -> None:
    asked = ("compare", "--store", unlike, *ACROSS)
    status, _, err = harness(*asked, *WHY, "--as-kept")
    assert (status, "error[reason-not-kept]" in err) == (2, True)

    harness(*asked, *WHY)
    status, out, _ = harness(*asked, *WHY, "--as-kept", "--json")
    assert (status, len(json.loads(out)["kept"])) == (0, 1)


def test_where_nothing_differs_nothing_is_kept(store: str) -> None:
    _, out, _ = harness(
        "compare", "--store", store, "--base", "way=stock", "--against", "way=quiet",
        "--despite", "for good measure", "--json",
    )  # fmt: skip
    assert json.loads(out)["kept"] == []


def test_several_runs_of_a_side_are_one_value_each(tmp_path: Path) -> None:
    for number in (1, 2, 3):
        keep(tmp_path / "store", plan(), f"night-{number}")

    status, out, _ = harness(
        "compare", "--store", str(tmp_path / "store"), "--base", "way=stock",
        "--against", "way=quiet", "--where", "run=night-1", "run=night-2", "run=night-3", "--json",
    )  # fmt: skip
    row = json.loads(out)["rows"][0]

    assert status == 0
    assert (row["by"], row["paired"], row["values"]) == ("run", True, {"base": 3, "against": 3})
    assert (row["base"]["n"], row["base"]["runs"]) == (9, ["night-3", "night-2", "night-1"])


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


def test_trace_within_refuses_what_has_no_frames(store: str) -> None:
    key = cells(plan())[0].key
    for of in (key, f"{key}-001"):
        status, _, err = harness("trace", of, "--store", store, "--within")
        assert status == 2
        assert "error[no-frames]" in err


def test_ceilings_that_find_nothing_say_what_is_wrong_with_the_cells(store: str) -> None:
    status, _, err = harness("ceilings", "--store", store, "--figure", "low_1pct_fps")

    assert status == 2
    assert "4 of 4 cells: the cell has no figure low_1pct_fps" in err


def test_a_run_of_another_harness_is_left_out_and_told_unless_it_is_named(store: str) -> None:
    tamper(
        Path(store),
        "INSERT INTO runs VALUES ('older', 2, 'p', 'h', 'r', 4, '2026-11-02T22:30:00.000000Z')",
        "INSERT INTO entries SELECT 'older', seq, at, boot, kind, 999, cell, attempt, body, "
        "previous, hash FROM entries WHERE seq = 1",
        "INSERT INTO run_standing SELECT 'older', 1, at, phase, since, \"group\", cell, attempt, "
        "warm_up, waits, accepted, short, failed, passes FROM run_standing",
    )
    asked = ("compare", "--store", store, "--base", "way=stock", "--against", "way=quiet")

    status, out, _ = harness(*asked, "--json")
    assert status == 0
    assert {"cell": "run older", "why": "kept by another version of the harness"} in json.loads(
        out
    )["left_out"]
    assert harness(*asked, "--where", "run=older")[0] == 4


def test_low_is_the_low_figure_that_the_plan_shows(store: str) -> None:
    status, out, _ = harness(
        "compare", "--store", store, "--base", "way=stock", "--against", "way=quiet",
        "--figure", "low",
    )  # fmt: skip

    assert "the base has no figure low_1pct_fps" in " ".join(out.split())
    assert status == 1  # not one row: a script must notice


def test_sides_that_share_no_cell_are_refused_with_what_each_has(tmp_path: Path) -> None:
    keep(tmp_path / "store", plan(), "night-1")
    keep(tmp_path / "store", plan(title("Copper Fen")), "night-2")

    status, out, err = harness("compare", "--store", str(tmp_path / "store"), *ACROSS)

    assert (status, out) == (2, "")
    assert "error[no-pair]: no cell stands on both sides" in err
    assert "only --base has Lantern Quay, harbour loop, fhd, way stock (run night-1" in err
    assert "only --against has Copper Fen, harbour loop, uhd, way quiet (run night-2" in err


@pytest.mark.parametrize("figure", ["longest_frame_ms", "gpu_temperature_c"])
def test_ceilings_are_of_rates_and_of_nothing_else(store: str, figure: str) -> None:
    status, _, err = harness("ceilings", "--store", store, "--figure", figure)
    assert status == 2
    assert f"error[no-rate]: {figure} is no rate: " in err
