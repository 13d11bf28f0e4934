"""``harness drift`` over a store of many nights, asked as a person does."""

from __future__ import annotations

import io
import json
import random
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import main
from tests.summary.over_nights import (
    FHD,
    FINGERPRINT,
    FIRST_NIGHT,
    counted,
    entries,
    keep,
    nights_of,
    plan,
    references,
)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six nights, a new driver that costs 1.5 %, three nights; another rig; a bad last night."""
    chance = random.Random(5)
    new = {**FINGERPRINT, "gpu.driver": "575.01"}
    runs = nights_of([[chance.gauss(100.0, 0.3) for _ in range(4)] for _ in range(6)])
    for night in range(7, 10):
        values = [chance.gauss(98.5, 0.3) for _ in range(4)]
        runs.append(
            entries(
                references(values), run=f"north-2-{night}", fields=new,
                at=FIRST_NIGHT + timedelta(days=night),
            )
        )  # fmt: skip
    last = [*references([98.5]), *counted([60.0, 60.1]), *references([94.0])]
    runs.append(entries(last, run="north-2-10", fields=new, at=FIRST_NIGHT + timedelta(days=11)))
    runs += nights_of([[80.0, 80.1]], rig="south-1")
    return keep(tmp_path_factory.mktemp("many") / "store", runs)


def said(*arguments: str, store: Path) -> str:
    out, err = io.StringIO(), io.StringIO()
    status = main(["drift", "--store", str(store), *arguments], out=out, err=err)
    assert status == 0, err.getvalue()
    return out.getvalue()


def refused(*arguments: str, store: Path) -> str:
    out, err = io.StringIO(), io.StringIO()
    assert main(["drift", "--store", str(store), *arguments], out=out, err=err) == 2
    assert out.getvalue() == ""
    return err.getvalue()


def as_json(*arguments: str, store: Path) -> Any:
    return json.loads(said("--json", *arguments, store=store))


def test_a_new_driver_is_named_where_the_average_leaves_its_limits(store: Path) -> None:
    text = said("--rig", "north-2", store=store)

    assert "OUT OF LIMITS: the moving average lies below them" in text
    assert "changed in between: gpu.driver 572.10 -> 575.01" in text
    assert "-- gpu.driver 572.10 -> 575.01" in text


def test_every_value_has_its_line_with_run_and_instant(store: Path) -> None:
    lines = said("--rig", "north-2", store=store).splitlines()

    assert sum("north-2-" in line and " 2026-11-" in line for line in lines) >= 38
    assert any(line.split()[:4] == ["1", "2026-11-02", "22:30", "north-2-1"] for line in lines)


def test_cells_between_references_that_disagree_are_listed(store: Path) -> None:
    found = as_json(store=store)

    [apart] = found["apart"]
    assert (apart["run"], len(apart["cells"])) == ("north-2-10", 1)
    assert "references-apart" in said(store=store)


def test_each_rig_has_a_chart_and_too_few_values_no_limits(store: Path) -> None:
    charts = {each["rig"]: each for each in as_json(store=store)["series"]}

    assert set(charts) == {"north-2", "south-1"}
    assert charts["south-1"]["limits"] is None
    assert "no limits: they are told from 8 values on" in said("--rig", "south-1", store=store)


def test_a_run_shows_the_charts_it_is_part_of(store: Path) -> None:
    [found] = as_json("--run", "south-1-1", store=store)["series"]

    assert found["rig"] == "south-1"


def test_a_cell_is_charted_by_its_counted_passes(store: Path) -> None:
    [found] = as_json("--where", "setting=uhd", store=store)["series"]

    assert not found["reference"]
    assert [each["value"] for each in found["values"]] == [60.0, 60.1]


def test_fewer_values_are_drawn_than_there_are_unless_all_are_asked_for(tmp_path: Path) -> None:
    runs = nights_of([[100.0 + 0.01 * n for n in range(10)] for _ in range(6)])
    folder = keep(tmp_path / "store", runs)

    assert "the last 40 values; --all shows 20 more" in said(store=folder)
    assert "--all shows" not in said("--all", store=folder)


def test_nights_make_fewer_values(store: Path) -> None:
    found = as_json("--rig", "north-2", "--per", "night", store=store)

    assert [each["passes"] for each in found["series"][0]["values"]] == [4] * 9 + [2]


def test_since_begins_anew(store: Path) -> None:
    [found] = as_json("--rig", "north-2", "--since", "2026-11-09", store=store)["series"]

    assert found["values"][0]["run"] == "north-2-7"
    assert found["changes"] == []


def test_provisional_limits_say_so(store: Path) -> None:
    text = said("--rig", "north-2", "--since", "2026-11-09", store=store)

    assert "PROVISIONAL: fewer than 20 values" in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--rig", "north-3"), ("bad-selection", "write one of north-2, south-1")),
        (("--where", "setting=qhd"), ("bad-selection", "write one of fhd, uhd")),
        (("--where", "slot=shared"), ("bad-selection", "select by rig, run, title")),
        (("--cell", "000000000000"), ("no-such-cell", "000000000000")),
        (("--run", "north-9"), ("no-such-run", "north-9")),
        (("--figure", "score"), ("no-series", "score")),
        (("--since", "yesterday"), ("bad-date", "yesterday")),
        (("--weight", "0"), ("bad-limits", "weight")),
        (("--first", "3"), ("bad-limits", "8 values or more")),
        (("--rig", "north-2", "--where", "rig=south-1"), ("bad-selection", "leave one out")),
    ],
)
def test_what_is_asked_wrongly_has_one_clear_error(
    store: Path, arguments: tuple[str, ...], words: tuple[str, ...]
) -> None:
    text = refused(*arguments, store=store)

    assert all(word in text for word in words), text


def test_a_plan_without_a_reference_cell_says_what_to_do(tmp_path: Path) -> None:
    run = entries(counted([60.0, 60.1], cell=FHD), of=plan(reference=False))
    text = refused(store=keep(tmp_path / "store", [run]))

    assert "no-series" in text
    assert "name a reference cell in the plan" in text
