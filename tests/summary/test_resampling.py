from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from harness.summary.resampling import _sort_tails, bca


def test_the_interval_is_scipys_but_for_the_chance_in_both() -> None:
    chance = np.random.default_rng(2)
    base = chance.normal(4.0, 0.02, (5, 10))
    against = chance.gamma(2.0, 0.02, (5, 12)) + 4.0

    low, high = bca(base, against, chance=np.random.default_rng(1))

    for row in range(5):
        theirs = stats.bootstrap(
            (against[row], base[row]),
            lambda a, b, axis: a.mean(axis=axis) - b.mean(axis=axis),
            method="BCa", n_resamples=9999, vectorized=True, rng=np.random.default_rng(3),
        )  # fmt: skip
        # Monte Carlo error of an end: about 3 % of half the interval at 9999 resamples.
        width = theirs.confidence_interval.high - theirs.confidence_interval.low
        assert low[row] == pytest.approx(theirs.confidence_interval.low, abs=0.05 * width)
        assert high[row] == pytest.approx(theirs.confidence_interval.high, abs=0.05 * width)


def test_pairs_are_resampled_as_pairs() -> None:
    differences = np.random.default_rng(2).gamma(2.0, 0.02, (1, 12))
    low, high = bca(differences, None, chance=np.random.default_rng(1))
    theirs = stats.bootstrap(
        (differences[0],), np.mean, method="BCa", n_resamples=9999, rng=np.random.default_rng(3)
    ).confidence_interval  # fmt: skip
    width = theirs.high - theirs.low

    # Of one sample the sign is turned inside: the interval must be that of the mean itself.
    assert low[0] == pytest.approx(theirs.low, abs=0.05 * width)
    assert high[0] == pytest.approx(theirs.high, abs=0.05 * width)


def test_the_same_chance_gives_the_same_interval() -> None:
    base = np.random.default_rng(2).normal(4.0, 0.02, (3, 8))
    one = bca(base, base + 0.1, chance=np.random.default_rng(1))
    other = bca(base, base + 0.1, chance=np.random.default_rng(1))

    assert np.array_equal(one, other)


def test_fewer_than_eight_values_are_refused() -> None:
    few = np.ones((1, 7))

    with pytest.raises(ValueError, match="7 values"):
        bca(few, few, chance=np.random.default_rng(1))


@pytest.mark.parametrize(("low", "high"), [(24, 975), (0, 999), (600, 601), (700, 300), (1, 3)])
def test_parted_off_tails_are_those_of_the_sorted_means(low: int, high: int) -> None:
    means = np.random.default_rng(2).normal(size=(7, 1000)).round(2)  # with ties
    whole = np.sort(means, axis=1)
    _sort_tails(means, low=low, high=high)

    assert np.array_equal(means[:, : low + 1], whole[:, : low + 1])
    assert np.array_equal(means[:, high:], whole[:, high:])
