"""The measuring of figures: pairs in turns, median and quartiles, limits."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from bench import door
from bench.pairs import ratio, seconds, spread

ROOT = Path(__file__).parent.parent.parent


def turns(sequence: list[str], name: str, took: Iterator[float]) -> float:
    sequence.append(name)
    return next(took)


def test_the_sides_take_turns_and_the_first_turn_of_each_does_not_count() -> None:
    sequence: list[str] = []
    ours, best = iter([100.0, *[3.0] * 7]), iter([1.0, *[2.0] * 7])

    line = ratio("a / b", lambda: turns(sequence, "a", ours), lambda: turns(sequence, "b", best))

    assert "".join(sequence) == "ab" * 8
    assert (line.low, line.value, line.high) == (1.5, 1.5, 1.5)


def test_the_median_and_the_quartiles_of_the_ratios_are_shown() -> None:
    # Quartiles of 1 to 7 by the inclusive method (Hyndman-Fan type 7): 2.5, 4, 5.5.
    ours = count(0.0)

    line = ratio("a / b", lambda: next(ours), lambda: 1.0)

    assert (line.low, line.value, line.high) == (2.5, 4.0, 5.5)


def test_fewer_than_seven_pairs_are_refused() -> None:
    with pytest.raises(ValueError, match="6 pairs"):
        ratio("a / b", lambda: 1.0, lambda: 1.0, 6)


@pytest.mark.parametrize(("limit", "reached"), [(1.9, False), (2.0, True), (None, None)])
def test_a_limit_is_reached_at_most(limit: float | None, reached: bool | None) -> None:
    line = spread("memory", [2.0, 2.0, 2.0], limit=limit, unit="MB")

    assert line.reached is reached


def test_a_side_that_does_not_time_itself_is_timed() -> None:
    assert seconds(lambda: None) > 0


def test_a_number_that_nothing_measures_is_refused() -> None:
    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "bench"), "9999"],
        capture_output=True,
        check=False,
        encoding="utf-8",
    )

    assert done.returncode == 2
    assert done.stderr.startswith("no figure is numbered 9999: write some of 1, ")


def test_the_large_plan_has_as_many_titles_as_figure_3_asks_for() -> None:
    text = door.large_plan(titles=5, settings=2, levels=3)

    assert text.count("- title: ") == 5
    assert "settings: [s0, s1]" in text
    assert text.count("set-load") == 3
