"""Numbers as every view writes them."""

from __future__ import annotations

import pytest

from harness.rules.judgement import Figure
from harness.views.numbers import number, with_interval
from harness.views.story import figure_words


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (9999.4, 4, "9999 fps"),
        (9999.7, 4, "10000 fps"),
        (-9999.7, 4, "-10000 fps"),
        (999.6, 3, "1000 fps"),
        (0.0, 4, "0 fps"),
        (None, 4, "not measured"),
    ],
)
def test_a_number_is_written_out_and_what_is_missing_is_no_number(
    value: float | None, digits: int, text: str
) -> None:
    assert number(value, "fps", digits=digits) == text


def test_a_large_figure_keeps_its_digits() -> None:
    score = Figure(name="score", value=12345.0, unit="points", definition="reported/1")
    assert figure_words(score) == "score 12345 points"


@pytest.mark.parametrize(
    ("mean", "half_width", "text"),
    [
        (58.912, 0.34, "58.91 ± 0.34 s"),
        (3.214e-7, 5.4e-9, "(3.214 ± 0.054)e-07 s"),
        (-3.2e-9, 1e-9, "(-3.2 ± 1.0)e-09 s"),
        (58.912, 1e-9, "58.912000 ± 1.0e-09 s"),
        (0.0, 1e-8, "(0.0 ± 1.0)e-08 s"),
    ],
)
def test_neither_a_small_mean_nor_a_small_half_width_is_written_as_zero(
    mean: float, half_width: float, text: str
) -> None:
    assert with_interval(mean, half_width, "s") == text
