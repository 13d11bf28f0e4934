"""``harness results`` over a store with earlier nights."""

from __future__ import annotations

import io
import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import main
from harness.store.sqlite import open_store
from tests.store.examples import AT
from tests.summary.over_nights import FIRST_NIGHT, UHD, counted, entries, keep, nights_of

USUAL = [[60.0, 60.1, 59.9], [60.2, 60.0, 60.1], [59.9, 60.0, 60.0], [60.1, 60.0, 59.8]]


def shown(folder: Path, *values: float) -> dict[str, Any]:
    """Return ``results --json`` of a night with *values*, after nights as they usually are."""
    last = entries(counted(values), run="last", at=FIRST_NIGHT + timedelta(days=9))
    out = io.StringIO()
    store = keep(folder, [*nights_of(USUAL, reference=False), last])
    assert main(["results", "--store", str(store), "--json"], out=out, err=io.StringIO()) == 0
    answer: dict[str, Any] = json.loads(out.getvalue())
    return answer


def test_a_cell_at_half_its_usual_rate_is_flagged_and_told(tmp_path: Path) -> None:
    answer = shown(tmp_path, 30.0, 30.1, 29.9)

    (unlike,) = answer["unlike_history"]
    (cell,) = [each for each in answer["cells"] if each["figures"]]
    assert "unlike-history" in cell["flags"]
    assert (unlike["cell"], unlike["unit"], unlike["earlier"]) == (UHD, "fps", 4)
    assert round(unlike["share"], 2) == -0.5


def test_a_cell_as_usual_has_no_flag(tmp_path: Path) -> None:
    answer = shown(tmp_path, 60.2, 60.3, 60.0)

    assert answer["unlike_history"] == []
    assert all("unlike-history" not in cell["flags"] for cell in answer["cells"])


def test_a_night_is_not_measured_by_those_after_it(tmp_path: Path) -> None:
    shown(tmp_path, 30.0, 30.1, 29.9)
    out = io.StringIO()

    main(
        ["results", "--store", str(tmp_path), "--run", "north-2-1", "--json"],
        out=out,
        err=io.StringIO(),
    )

    assert json.loads(out.getvalue())["unlike_history"] == []


def test_what_a_person_must_know_stands_apart_and_names_the_cell(tmp_path: Path) -> None:
    shown(tmp_path, 30.0, 30.1, 29.9)
    out = io.StringIO()

    assert main(["results", "--store", str(tmp_path)], out=out, err=io.StringIO()) == 0

    lines = out.getvalue().splitlines()
    (at,) = [n for n, line in enumerate(lines) if line.startswith("unlike-history: ")]
    assert UHD not in lines[at]
    assert ", uhd" in lines[at]
    assert lines[at - 1] == ""


def asked(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    status = main(["results", *arguments], out=out, err=err)
    return status, out.getvalue(), err.getvalue()


def test_a_value_that_no_figure_can_have_is_left_out_and_counted(tmp_path: Path) -> None:
    run = entries(counted([60.0, 1e300, 60.2]), run="odd")
    status, out, _ = asked("--store", str(keep(tmp_path, [run])))

    assert status == 0
    assert "60.1 ± 1.3 fps (2 of 3 passes)" in out
    assert "n of m passes: the others have no value" in out


def test_the_run_is_the_one_that_is_named_among_what_is_wanted(tmp_path: Path) -> None:
    runs = [*nights_of(USUAL[:2], reference=False), *nights_of(USUAL[:1], rig="south-1")]
    store = str(keep(tmp_path, runs))

    assert asked("--store", store)[1].startswith("run south-1-1 on south-1\n")
    assert asked("--store", store, "--where", "run=north-2-1")[1].startswith("run north-2-1 ")
    assert asked("--store", store, "--where", "rig=north-2")[1].startswith("run north-2-2 ")
    status, _, err = asked("--store", store, "--where", "run=north-2-1", "run=north-2-2")
    assert (status, "2 runs are named" in err) == (2, True)
    status, _, err = asked("--store", store, "--where", "rig=north-9")
    assert (status, "no cell has rig=north-9" in err) == (2, True)


@pytest.mark.parametrize("command", ["results", "trace", "recompute bare"])
def test_a_run_whose_records_are_gone_is_told_without_a_traceback(
    tmp_path: Path, command: str
) -> None:
    with open_store(tmp_path, write=True) as store:
        store.create_run("bare", plan_name="p", plan_hash="9f", rig="north-2", cells=1, at=AT)
    err = io.StringIO()

    assert main([*command.split(), "--store", str(tmp_path)], out=io.StringIO(), err=err) == 4
    assert "error[run-without-start]" in err.getvalue()
