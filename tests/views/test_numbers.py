"""Numbers as every view writes them."""

from __future__ import annotations

import pytest

from harness.rules.judgement import Figure
from harness.views.numbers import number
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
