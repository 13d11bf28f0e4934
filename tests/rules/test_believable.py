"""What a figure can be: what machines do, and never a counter that ran over."""

from __future__ import annotations

import pytest

from harness.rules.believable import is_believable, why_unbelievable


@pytest.mark.parametrize(
    "value",
    [
        pytest.param(1.979e15, id="operations a second of one accelerator, by its maker's sheet"),
        pytest.param(64 * 1e10 * 3600.0, id="instructions of an hour on 64 cores"),
        pytest.param(1.6e-16, id="a second for each of so many"),
        pytest.param(0.0, id="nothing"),
    ],
)
def test_what_a_machine_does_is_a_figure(value: float) -> None:
    assert is_believable(value)
    assert is_believable(-value)


@pytest.mark.parametrize("value", [float(2**64 - 1), float(2**63 - 1), float("inf"), 1e-40])
def test_a_counter_that_ran_over_is_none(value: float) -> None:
    assert why_unbelievable(value) is not None
    assert why_unbelievable(-value) is not None
