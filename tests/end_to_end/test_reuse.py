"""Earlier cells taken instead of measuring again, by the commands, with real processes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from harness.run import records as r
from tests.end_to_end.runs import Place
from tests.end_to_end.test_schemas import documented, paths

pytestmark = pytest.mark.slow

REUSE = "reuse: {within: 30 days, same: [os.build]}"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """A plan that was carried out once."""
    with Place(tmp_path) as found:
        status, out, err = found.harness("run", "plan.yaml")
        assert status == 0, out + err
        yield found


def another(place: Place, *changes: tuple[str, str], more: str = REUSE) -> None:
    """Write another plan with the same cells, but for *changes*."""
    text = (place.folder / "plan.yaml").read_text(encoding="utf-8")
    text = text.replace("plan: small hours", "plan: wider hours")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    (place.folder / "other.yaml").write_text(text + more + "\n", encoding="utf-8")


def cells(place: Place, run: str) -> list[dict[str, Any]]:
    shown = place.json("results", "--run", run)["cells"]
    assert shown
    return list(shown)


def assert_shown(heading: str, answer: dict[str, Any], beginning: str) -> None:
    """Hold the fields of *answer* that begin so to those the schemas describe."""
    wanted = documented(heading)
    found = {path for path in paths(answer, wanted) if path.startswith(beginning)}
    assert found == {path for path in wanted if path.startswith(beginning)}
    assert found


def latest(place: Place) -> str:
    return str(place.json("status")["runs"][0]["run"])


def test_a_second_plan_takes_every_cell_and_shows_where_it_is_from(place: Place) -> None:
    first, captures = latest(place), len(place.captures())
    another(place)
    shown = place.json("check", "other.yaml")
    assert shown["stale"] == []
    status, out, err = place.harness("run", "other.yaml")
    assert status == 0, out + err
    assert len(place.captures()) == captures  # nothing was launched
    second = latest(place)
    assert second != first
    for old, new in zip(cells(place, first), cells(place, second), strict=True):
        assert new["state"] == "accepted"
        assert new["reused"]["run"] == first
        assert new["figures"]["average_fps"]["mean"] == old["figures"]["average_fps"]["mean"]
    shown = place.json("results", "--run", second)
    assert_shown("harness.results/1", shown, "cells[].reused.")
    _, table, _ = place.harness("results", "--run", second)
    assert f"reused (run {first}, " in table


def test_a_cell_that_the_earlier_plan_had_not_is_measured_beside_those_taken(
    place: Place,
) -> None:
    first, captures = latest(place), len(place.captures())
    another(place, ("plain: {}, other: {}", "plain: {}, other: {}, third: {}"))
    status, out, err = place.harness("run", "other.yaml")
    assert status == 0, out + err
    shown = {each["conditions"]["mode"]: each for each in cells(place, latest(place))}
    assert {mode: (x["reused"] or {}).get("run") for mode, x in shown.items()} == {
        "plain": first, "other": first, "third": None,
    }  # fmt: skip
    assert len(place.captures()) == captures + 3  # one warm-up, two counted
    new = [entry.record for entry in place.entries() if isinstance(entry.record, r.CellReused)]
    assert len(new) == 2


def test_check_lists_a_stale_cell_with_what_differs_and_the_run_measures_it_again(
    place: Place,
) -> None:
    captures = len(place.captures())
    another(place, ('"40"', '"30"'), more="extends: small hours")
    shown = place.json("check", "other.yaml")
    assert_shown("harness.check/1", shown, "stale[]")
    assert len(shown["stale"]) == 2
    assert all(any("command" in text for text in each["differs"]) for each in shown["stale"])
    _, text, _ = place.harness("check", "other.yaml")
    assert "Copper Fen, causeway, fhd, mode other" in text
    assert "command" in text
    status, out, err = place.harness("run", "other.yaml")
    assert status == 0, out + err
    assert len(place.captures()) == captures + 6
    assert all(each["reused"] is None for each in cells(place, latest(place)))
