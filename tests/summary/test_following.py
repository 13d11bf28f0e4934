"""Passes that are like the one before, over all cells together."""

from __future__ import annotations

import numpy as np
import pytest

from harness.summary.following import following


def test_of_independent_passes_the_quotient_is_two_with_von_neumanns_variance() -> None:
    # Mean 2 and variance 4 (n - 2) / (n^2 - 1): z is standard normal over many samples.
    chance = np.random.default_rng(5)
    found = [following(cells) for cells in chance.standard_normal((1500, 6, 5)).tolist()]
    z = np.array([each.z for each in found if each is not None])
    assert len(z) == 1500
    assert z.mean() == pytest.approx(0.0, abs=0.08)
    assert z.std() == pytest.approx(1.0, abs=0.06)


def test_a_quotient_is_as_by_hand() -> None:
    # Steps 1, 1, 1 and squares about the mean 2.25, 0.25, 0.25, 2.25: 3 / 5 in each of five cells.
    found = following([[1.0, 2.0, 3.0, 4.0]] * 5)
    assert found is not None
    assert (found.cells, found.passes) == (5, 20)
    assert found.likeness == pytest.approx(0.7)
    assert found.z == pytest.approx(5 * 1.4 / (5 * 4 * 2 / 15) ** 0.5)
    assert found.there


def test_passes_that_alternate_are_not_alike() -> None:
    found = following([[1.0, 2.0, 1.0, 2.0]] * 5)
    assert found is not None
    assert found.z < 0.0
    assert not found.there


@pytest.mark.parametrize("cells", [[], [[1.0, 2.0, 3.0]] * 9, [[1.0] * 5] * 9, [[1.0, 2.0] * 9]])
def test_too_little_tells_nothing(cells: list[list[float]]) -> None:
    assert following(cells) is None
