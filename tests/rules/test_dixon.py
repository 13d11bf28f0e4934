"""Dixon's ratio against the printed tables, and the published examples."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import Side
from harness.rules.dixon import dixon, dixon_critical

# Two-sided r10, n = 3 to 30. Rorabacher, Analytical Chemistry 63 (1991) 139-146, table 1.
Q90 = [
    0.941, 0.765, 0.642, 0.560, 0.507, 0.468, 0.437, 0.412, 0.392, 0.376, 0.361, 0.349,
    0.338, 0.329, 0.320, 0.313, 0.306, 0.300, 0.295, 0.290, 0.285, 0.281, 0.277, 0.273,
    0.269, 0.266, 0.263, 0.260,
]  # fmt: skip
Q95 = [
    0.970, 0.829, 0.710, 0.625, 0.568, 0.526, 0.493, 0.466, 0.444, 0.426, 0.410, 0.396,
    0.384, 0.374, 0.365, 0.356, 0.349, 0.342, 0.337, 0.331, 0.326, 0.321, 0.317, 0.312,
    0.308, 0.305, 0.301, 0.298,
]  # fmt: skip
Q99 = [0.994, 0.926, 0.821, 0.740, 0.680, 0.634, 0.598, 0.568]

# The same simulated by us with two to four million samples: the true values where the tables
# have misprints (n = 4 at 99 %, n = 6).
SIMULATED = {
    3: (0.941, 0.970, 0.994), 4: (0.765, 0.830, 0.920), 5: (0.643, 0.710, 0.823),
    6: (0.562, 0.628, 0.743), 7: (0.507, 0.568, 0.681), 8: (0.467, 0.526, 0.634),
    9: (0.436, 0.492, 0.597), 10: (0.412, 0.466, 0.566),
}  # fmt: skip

# One-sided r10. Dixon, Annals of Mathematical Statistics 22 (1951) 68-78: (10 %, 5 %, 1 %).
ONE_SIDED = {3: (0.886, 0.941, 0.988), 5: (0.557, 0.642, 0.780), 7: (0.434, 0.507, 0.637)}


@pytest.mark.parametrize(
    ("n", "ninety", "ninety_five"), list(zip(range(3, 31), Q90, Q95, strict=True))
)
def test_critical_values_are_those_of_the_tables(n: int, ninety: float, ninety_five: float) -> None:
    assert dixon_critical(n, alpha=0.10) == pytest.approx(ninety, abs=0.003)
    assert dixon_critical(n, alpha=0.05) == pytest.approx(ninety_five, abs=0.003)


@pytest.mark.parametrize(("n", "printed"), list(zip(range(3, 11), Q99, strict=True)))
def test_critical_values_at_one_per_cent_are_those_of_the_tables(n: int, printed: float) -> None:
    assert dixon_critical(n, alpha=0.01) == pytest.approx(printed, abs=0.007)


@pytest.mark.parametrize("n", SIMULATED)
def test_critical_values_are_those_that_simulation_gives(n: int) -> None:
    found = tuple(dixon_critical(n, alpha=alpha) for alpha in (0.10, 0.05, 0.01))
    assert found == pytest.approx(SIMULATED[n], abs=1.1e-3)


@pytest.mark.parametrize("n", ONE_SIDED)
def test_one_sided_critical_values_are_dixons_own(n: int) -> None:
    found = tuple(dixon_critical(n, alpha=alpha, sides=1) for alpha in (0.10, 0.05, 0.01))
    assert found == pytest.approx(ONE_SIDED[n], abs=1.1e-3)


def test_dean_and_dixons_first_example_is_kept_at_90_per_cent() -> None:
    # Analytical Chemistry 23 (1951) 636: Q = 0.10 / 0.18, just under the table's 0.560.
    values = [40.02, 40.12, 40.16, 40.18, 40.18, 40.20]
    assert dixon(values, alpha=0.10, floor=0.0) is None
    assert dixon(values, alpha=0.11, floor=0.0) is not None


def test_the_largest_of_eight_in_dataplots_example_is_kept() -> None:
    # Data of NIST Dataplot's page on Dixon's test; r10 computed from the definition: 12 / 28.
    values = [568.0, 570.0, 570.0, 570.0, 572.0, 578.0, 584.0, 596.0]
    assert dixon(values, alpha=0.10, floor=0.0) is None
    assert dixon_critical(8, alpha=0.10) > 12 / 28


def test_dean_and_dixons_second_example_is_rejected_at_90_and_kept_at_95_per_cent() -> None:
    values = [0.189, 0.167, 0.187, 0.183, 0.186, 0.182, 0.181, 0.184, 0.181, 0.177]
    found = dixon(values, alpha=0.10, floor=0.0)
    assert found is not None
    assert found.places == (1,)
    assert found.statistic == pytest.approx(10 / 22, abs=1e-12)
    assert dixon(values, alpha=0.05, floor=0.0) is None


def test_a_side_is_looked_at_alone() -> None:
    values = [10.0, 10.1, 10.2, 10.3, 10.4, 15.0]
    assert dixon(values, alpha=0.05, floor=0.0, side=Side.LOW) is None
    high = dixon(values, alpha=0.05, floor=0.0, side=Side.HIGH)
    assert high is not None
    assert high.critical < dixon_critical(6, alpha=0.05)


def test_equal_values_have_no_outlier_and_a_floor_keeps_a_small_one() -> None:
    assert dixon([5.0] * 6, alpha=0.05, floor=0.0) is None
    assert dixon([100.0] * 5 + [100.4], alpha=0.05, floor=0.005) is None
    assert dixon([100.0] * 5 + [100.6], alpha=0.05, floor=0.005) is not None


@pytest.mark.parametrize(("n", "alpha"), [(2, 0.05), (6, 0.0), (6, 1.0)])
def test_what_has_no_critical_value_is_refused(n: int, alpha: float) -> None:
    with pytest.raises(ValueError, match=r"Dixon|alpha"):
        dixon_critical(n, alpha=alpha)


@given(values=st.lists(st.floats(10.0, 500.0), min_size=3, max_size=12), shift=st.floats(-5, 5))
def test_the_zero_of_the_scale_changes_nothing(values: list[float], shift: float) -> None:
    plain = dixon(values, alpha=0.05, floor=0.0)
    moved = dixon([value + shift for value in values], alpha=0.05, floor=0.0)
    if plain is not None and moved is not None:
        assert moved.statistic == pytest.approx(plain.statistic, abs=1e-6)
