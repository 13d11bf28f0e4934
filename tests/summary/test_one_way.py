"""One-way analysis of variance against certified values, the handbook, the GUM, and scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from harness.summary.one_way import Group, OneWay, group, one_way

# NIST Statistical Reference Datasets, one-way analysis of variance; the data of two sets, and the
# rule by which the nine SmLs sets are made: n values, the first base + a, the others base + b and
# base + c in turn.
SIRSTV = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]
ATMWTAG = [
    [107.8681568, 107.8681465, 107.8681572, 107.8681785, 107.8681446, 107.8681903,
     107.8681526, 107.8681494, 107.8681616, 107.8681587, 107.8681519, 107.8681486,
     107.8681419, 107.8681569, 107.8681508, 107.8681672, 107.8681385, 107.8681518,
     107.8681662, 107.8681424, 107.8681360, 107.8681333, 107.8681610, 107.8681477],
    [107.8681079, 107.8681344, 107.8681513, 107.8681197, 107.8681604, 107.8681385,
     107.8681642, 107.8681365, 107.8681151, 107.8681082, 107.8681517, 107.8681448,
     107.8681198, 107.8681482, 107.8681334, 107.8681609, 107.8681101, 107.8681512,
     107.8681469, 107.8681360, 107.8681254, 107.8681261, 107.8681450, 107.8681368],
]  # fmt: skip
PATTERN = [(0.4, 0.3, 0.5), (0.3, 0.2, 0.4), (0.5, 0.4, 0.6), (0.3, 0.2, 0.4), (0.5, 0.4, 0.6),
           (0.3, 0.2, 0.4), (0.5, 0.4, 0.6), (0.3, 0.2, 0.4), (0.5, 0.4, 0.6)]  # fmt: skip

#: set: (values in a treatment, base, certified SSB, SSW and F)
SMLS = {
    1: (21, 1.0, 1.68, 1.80, 21.0), 2: (201, 1.0, 16.08, 18.0, 201.0),
    3: (2001, 1.0, 160.08, 180.0, 2001.0), 4: (21, 1e6, 1.68, 1.80, 21.0),
    5: (201, 1e6, 16.08, 18.0, 201.0), 6: (2001, 1e6, 160.08, 180.0, 2001.0),
    7: (21, 1e12, 1.68, 1.80, 21.0), 8: (201, 1e12, 16.08, 18.0, 201.0),
    9: (2001, 1e12, 160.08, 180.0, 2001.0),
}  # fmt: skip


def analysis(values: list[list[float]]) -> OneWay:
    return one_way([group(each) for each in values])


def digits(found: float, certified: float) -> float:
    """Return to how many digits a value agrees with the certified one."""
    return 16.0 if found == certified else -math.log10(abs(found / certified - 1.0))


def test_si_resistivities_agree_with_the_certified_values() -> None:
    found = analysis(SIRSTV)

    assert (found.df_between, found.df_within) == (4, 20)
    assert digits(found.ss_between, 5.11462616000000e-02) > 12
    assert digits(found.ss_within, 2.16636560000000e-01) > 12
    assert found.f is not None
    assert digits(found.f, 1.18046237440255) > 12
    assert found.sd_within is not None
    assert digits(found.sd_within, 1.04076068334656e-01) > 12


def test_atomic_weights_agree_to_the_digits_that_doubles_hold() -> None:
    # Seven digits are common to all values: of sixteen, nine are left.
    found = analysis(ATMWTAG)

    assert (found.df_between, found.df_within) == (1, 46)
    assert digits(found.ss_between, 3.63834187500000e-09) > 8.5
    assert digits(found.ss_within, 1.04951729166667e-08) > 8.5
    assert found.f is not None
    assert digits(found.f, 15.9467335677930) > 8.5


@pytest.mark.parametrize("number", SMLS)
def test_a_generated_set_agrees_with_the_certified_values(number: int) -> None:
    n, base, between, within, f = SMLS[number]
    values = [
        [base + first, *(base + (second, third)[at % 2] for at in range(n - 1))]
        for first, second, third in PATTERN
    ]
    found = analysis(values)

    # With a base of 1e12 the values themselves, as doubles, hold three digits of what differs.
    least = {1.0: 12.0, 1e6: 8.0, 1e12: 3.0}[base]
    assert (found.df_between, found.df_within) == (8, 9 * (n - 1))
    assert digits(found.ss_between, between) > least
    assert digits(found.ss_within, within) > least
    assert found.f is not None
    assert digits(found.f, f) > least


def test_the_handbooks_resistors() -> None:
    # NIST/SEMATECH e-Handbook 7.4.3: SST 27.897, SSE 17.452, F 9.59, p 0.00325.
    resistors = [
        [6.9, 5.4, 5.8, 4.6, 4.0],
        [8.3, 6.8, 7.8, 9.2, 6.5],
        [8.0, 10.5, 8.1, 6.9, 9.3],
    ]
    found = analysis(resistors)

    assert found.ss_between == pytest.approx(27.897, abs=5e-4)
    assert found.ss_within == pytest.approx(17.452, abs=5e-4)
    assert found.f == pytest.approx(9.59, abs=5e-3)
    assert found.p == pytest.approx(0.00325, abs=5e-6)


def test_ten_days_of_a_zener_voltage_give_what_the_gum_gives() -> None:
    # JCGM 100:2008, H.5, Table H.9: means (V) and standard deviations (microvolt) of five
    # readings on each of ten days. Its results, in microvolt: s of the means 57, F 2.25 (from
    # rounded inputs; 2.2615 from the table), s between days 43, u of the mean 18, pooled 13.
    means = [10.000172, 10.000116, 10.000013, 10.000144, 10.000106,
             10.000031, 10.000060, 10.000125, 10.000163, 10.000041]  # fmt: skip
    sds = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
    days = [
        Group(n=5, mean=mean, squares=4 * (1e-6 * sd) ** 2)
        for mean, sd in zip(means, sds, strict=True)
    ]
    found = one_way(days)

    assert found.mean == pytest.approx(10.000097, abs=5e-7)
    assert found.f == pytest.approx(2.2615, abs=5e-5)
    assert found.p == pytest.approx(0.037397, abs=5e-7)
    assert math.sqrt(found.ms_between) == pytest.approx(127.66e-6, abs=5e-9)
    assert found.sd_within == pytest.approx(84.89e-6, abs=5e-9)
    assert found.sd_between == pytest.approx(42.64e-6, abs=5e-9)
    assert found.u_mean == pytest.approx(18.05e-6, abs=5e-9)
    assert found.u_mean_pooled == pytest.approx(13.32e-6, abs=5e-9)


@given(st.lists(st.lists(st.floats(1.0, 1000.0), min_size=2, max_size=6), min_size=2, max_size=6))
def test_f_and_p_are_scipys(values: list[list[float]]) -> None:
    found = analysis(values)
    assume(found.ss_within > 1e-6)
    reference = stats.f_oneway(*values)

    assert found.f == pytest.approx(reference.statistic, rel=1e-9, abs=1e-9)
    if reference.statistic < 0.0:  # of equal means it is rounded below 0, and gives no p then
        assert found.p == pytest.approx(1.0)
    else:
        assert found.p == pytest.approx(reference.pvalue, rel=1e-7, abs=1e-12)


def test_groups_of_one_value_have_no_spread_within_them() -> None:
    found = analysis([[1.0], [2.0], [4.0]])

    assert (found.ms_within, found.f, found.p, found.sd_within, found.sd_between) == (None,) * 5


def test_groups_closer_than_their_values_have_no_spread_between_them() -> None:
    assert analysis([[1.0, 9.0], [2.0, 8.0]]).sd_between == 0.0


def test_one_group_has_no_variance_between_groups() -> None:
    with pytest.raises(ValueError, match="two groups"):
        analysis([[1.0, 2.0]])
