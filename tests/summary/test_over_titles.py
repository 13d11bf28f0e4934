from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.summary.evidence import Evidence, Unit, of_draws, pool, two_samples
from harness.summary.margins import interval
from harness.summary.over_titles import over_titles


def row(ratio: float, se: float | None = 0.01, df: float = 8.0) -> Evidence:
    return Evidence(
        log_ratio=math.log(ratio), se=se, df=df, unit=Unit.PASS, paired=False, spreads=()
    )


def mean(ratios: list[float]) -> float:
    found = over_titles([(f"title {n}", row(each)) for n, each in enumerate(ratios)])
    assert found is not None
    return math.exp(found.these.log_ratio)


# Null & Lobur, The Essentials of Computer Organization and Architecture, tables 10.4 and 10.5.
TIMES = {
    "A": [50.0, 200.0, 250.0, 400.0, 5000.0],
    "B": [100.0, 400.0, 500.0, 800.0, 4100.0],
    "C": [500.0, 600.0, 500.0, 800.0, 3500.0],
}


@pytest.mark.parametrize(
    ("system", "reference", "expected"),
    [("A", "B", 1.6733), ("C", "B", 0.6898), ("A", "C", 2.4258), ("B", "C", 1.4497)],
)
def test_the_published_normalised_table(system: str, reference: str, expected: float) -> None:
    ratios = [b / a for a, b in zip(TIMES[system], TIMES[reference], strict=True)]

    assert mean(ratios) == pytest.approx(expected, abs=5e-5)


def test_the_mean_does_not_depend_on_the_reference() -> None:
    # P. J. Fleming, J. J. Wallace, CACM 29 (1986) 218-221: three machines, two programs, whose
    # geometric means are all equal (numbers from memory, the arithmetic reproduces).
    machines = {"X": [20.0, 40.0], "Y": [10.0, 80.0], "Z": [40.0, 20.0]}
    for one in machines.values():
        for other in machines.values():
            ratios = [a / b for a, b in zip(one, other, strict=True)]
            assert mean(ratios) == pytest.approx(1.0)


def test_titles_like_these_is_the_interval_over_titles() -> None:
    # Computed from the definition, no published figure: exp(mean(log) +- t sd / sqrt(n)).
    ratios = [1.10, 1.05, 1.20, 0.98, 1.07]
    found = over_titles([(f"t{n}", row(each)) for n, each in enumerate(ratios)])

    assert found is not None
    assert math.exp(found.these.log_ratio) == pytest.approx(1.0776422667)
    assert found.like_these is not None
    ends = interval(found.like_these, confidence=0.95)
    assert ends is not None
    assert [math.exp(each) for each in ends] == pytest.approx([0.9833880028, 1.1809304687])


def test_these_titles_carry_the_noise_of_passes_alone() -> None:
    found = over_titles([("a", row(1.1)), ("b", row(1.5))])

    assert found is not None
    assert found.these.se == pytest.approx(0.01 / math.sqrt(2))
    assert found.these.df == pytest.approx(16.0)


def test_a_title_with_many_settings_does_not_outweigh_one_with_few() -> None:
    found = over_titles([("a", row(2.0)), ("a", row(2.0)), ("a", row(2.0)), ("b", row(1.0))])

    assert found is not None
    assert math.exp(found.these.log_ratio) == pytest.approx(math.sqrt(2.0))
    assert found.titles == 2


def test_weights_are_of_titles() -> None:
    found = over_titles([("a", row(2.0)), ("b", row(1.0))], weights={"a": 3.0})

    assert found is not None
    assert math.exp(found.these.log_ratio) == pytest.approx(2.0**0.75)


def test_a_pooled_variance_is_known_only_once() -> None:
    rows = pool([two_samples([0.0, 2.0], [1.0, 3.0]), two_samples([5.0, 7.0], [5.0, 8.0])])
    found = over_titles([("a", each) for each in rows])

    assert found is not None
    assert found.these.df == pytest.approx(4.0)


def test_a_row_without_a_spread_leaves_the_whole_without_an_interval() -> None:
    found = over_titles([("a", row(1.1)), ("b", row(1.2, None))])

    assert found is not None
    assert found.these.se is None


def test_one_title_is_no_sample_of_titles() -> None:
    found = over_titles([("a", row(1.1))])

    assert found is not None
    assert found.like_these is None


@given(st.lists(st.floats(0.2, 5.0), min_size=1, max_size=8))
def test_the_mean_of_reciprocals_is_the_reciprocal(ratios: list[float]) -> None:
    assert mean([1.0 / each for each in ratios]) == pytest.approx(1.0 / mean(ratios))


@given(st.lists(st.floats(0.2, 5.0), min_size=1, max_size=8))
def test_it_lies_between_the_harmonic_and_the_arithmetic_mean(ratios: list[float]) -> None:
    n = len(ratios)
    found = mean(ratios)

    assert n / sum(1.0 / each for each in ratios) <= found * (1 + 1e-9)
    assert found <= sum(ratios) / n * (1 + 1e-9)


def in_runs(values: list[float], effect: float = 0.0) -> Evidence:
    """Return a title that was measured in the same runs as others, both sides in each."""
    return of_draws(
        {(f"run-{n}", ()): value + effect for n, value in enumerate(values)}, unit=Unit.RUN
    )


NIGHTS = [0.03, -0.01, 0.05, 0.02]


def test_more_titles_do_not_narrow_what_their_runs_share() -> None:
    alone = over_titles([("a", in_runs(NIGHTS))])
    many = over_titles([(f"title {n}", in_runs(NIGHTS)) for n in range(8)])

    assert alone is not None
    assert many is not None
    assert many.these.unit is Unit.RUN
    assert many.these.se == pytest.approx(stats.sem(NIGHTS))
    assert (many.these.se, many.these.df) == pytest.approx((alone.these.se, alone.these.df))


def test_the_means_over_titles_of_each_run_are_what_spreads() -> None:
    # By scipy: one value for each run, the mean of its titles.
    titles = {"a": [0.01, 0.04, 0.00, 0.03], "b": [0.03, 0.02, 0.05, 0.01]}
    found = over_titles([(name, in_runs(values)) for name, values in titles.items()])
    means = [sum(each) / 2 for each in zip(*titles.values(), strict=True)]
    theirs = stats.ttest_1samp(means, 0.0).confidence_interval(0.95)

    assert found is not None
    assert interval(found.these, confidence=0.95) == pytest.approx((theirs.low, theirs.high))


def test_runs_of_two_sides_are_averaged_over_titles_before_welch() -> None:
    base, against = [[0.01, 0.03, 0.02], [0.00, 0.05, 0.01]], [[0.07, 0.09], [0.06, 0.12]]
    rows = [
        of_draws(
            {(f"b{n}", ()): each for n, each in enumerate(first)},
            {(f"a{n}", ()): each for n, each in enumerate(second)},
            unit=Unit.RUN,
        )
        for first, second in zip(base, against, strict=True)
    ]
    found = over_titles([("a", rows[0]), ("b", rows[1])])
    sides = [[sum(each) / 2 for each in zip(*side, strict=True)] for side in (against, base)]
    theirs = stats.ttest_ind(*sides, equal_var=False).confidence_interval(0.95)

    assert found is not None
    assert interval(found.these, confidence=0.95) == pytest.approx((theirs.low, theirs.high))


def test_titles_like_these_are_known_no_better_than_what_their_runs_share() -> None:
    # Titles that are all alike say nothing of how far the nights moved all of them.
    found = over_titles([(f"title {n}", in_runs(NIGHTS)) for n in range(8)])

    assert found is not None
    assert found.like_these is not None
    assert found.like_these.se == pytest.approx(stats.sem(NIGHTS))


def test_rows_of_different_runs_are_taken_to_move_together() -> None:
    rows = [in_runs(NIGHTS), in_runs(NIGHTS[:3])]
    found = over_titles([("a", rows[0]), ("b", rows[1])])

    assert found is not None
    assert found.these.se == pytest.approx(((rows[0].se or 0.0) + (rows[1].se or 0.0)) / 2)
    assert found.these.df == 2


def test_titles_with_one_run_alone_leave_both_without_an_interval() -> None:
    found = over_titles([("a", in_runs([0.01])), ("b", in_runs([0.02]))])

    assert found is not None
    assert found.like_these is not None
    assert (found.these.se, found.like_these.se) == (None, None)
