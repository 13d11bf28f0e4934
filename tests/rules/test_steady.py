"""The rule is the plan's; no source outside it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from harness.plan.document import Better, Command, FigureFrom, FigureSpec, Frames, Title
from harness.plan.main_figure import main_figure
from harness.rules.steady import difference, steady

SCORE = FigureSpec(name="score", source=FigureFrom.OUTPUT, better=Better.HIGHER)
TITLE = Title(
    title="Copper Fen",
    scene="dike",
    settings=("fhd",),
    command=Command(argv=("copper-fen",), time_limit_s=60.0),
)


@pytest.mark.parametrize(
    ("figures", "wanted"),
    [
        ([100.0, 101.0], True),
        ([100.0, 101.1], False),
        ([101.0, 100.0], True),
        ([80.0, 99.5, 100.0], True),
        ([100.0, 100.0, 80.0], False),
        ([100.0], False),
        ([], False),
        ([100.0, None], False),
        ([None, 100.0], False),
        ([100.0, None, 100.0], False),
        ([0.0, 0.0], True),
        ([0.0, 1.0], False),
    ],
)
def test_two_passes_in_a_row_that_differ_by_no_more_are_steady(
    figures: list[float | None], wanted: bool
) -> None:
    assert steady(figures, within=0.01) is wanted


def test_the_difference_is_of_the_smaller() -> None:
    assert difference([100.0, 125.0]) == 0.25
    assert difference([125.0, 100.0]) == 0.25


def test_a_title_is_steady_by_its_first_figure_or_by_its_frames() -> None:
    frames = Frames(file="frames.csv", column="ms", unit="ms")
    with_frames = replace(TITLE, frames=frames, figures=(SCORE,))
    with_score = replace(TITLE, figures=(SCORE,))
    assert main_figure(with_frames) == "average_fps"
    assert main_figure(with_score) == "score"
    assert main_figure(TITLE) == "average_fps"
