from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.plan.document import Better
from harness.summary import many_margins as many
from harness.summary.evidence import Evidence, Unit, pairs, two_samples
from harness.summary.families import Correction
from harness.summary.margins import Margin, Word, interval, margins, p_values
from harness.summary.needed import needed


def evidence(log_ratio: float, se: float | None, *, df: float = 20.0) -> Evidence:
    return Evidence(log_ratio=log_ratio, se=se, df=df, unit=Unit.PASS, paired=False, spreads=())


def margin_of(
    margin: float,
    half_percent: float,
    *,
    better: Better = Better.HIGHER,
    band: float = 0.03,
) -> Margin:
    """Return a margin whose 95 % interval is about so many per cent to both sides."""
    row = evidence(math.log1p(margin), half_percent / 100.0 / 2.0860)  # t(97.5 %, 20)
    [found] = margins([row], band=band, better=[better], correction=Correction.NONE)
    return found


@pytest.mark.parametrize(
    ("margin", "half", "word"),
    [
        (0.06, 2.0, Word.FASTER),
        (-0.06, 2.0, Word.SLOWER),
        (0.06, 4.0, Word.UNRESOLVED),
        (0.00, 1.0, Word.ALIKE),
        (0.015, 1.0, Word.SMALL_BUT_REAL),
        (0.01, 3.0, Word.UNRESOLVED),
        (0.03, 0.5, Word.UNRESOLVED),
    ],
)
def test_the_word_follows_from_where_the_intervals_lie(
    margin: float, half: float, word: Word
) -> None:
    assert margin_of(margin, half).word is word


def test_less_is_faster_where_lower_is_better_and_the_margin_keeps_its_sign() -> None:
    found = margin_of(-0.10, 2.0, better=Better.LOWER)

    assert found.word is Word.FASTER
    assert found.margin == pytest.approx(-0.10)


def test_alike_is_read_from_the_90_percent_interval() -> None:
    # Both are shown: the 95 % interval leaves the band, the 90 % one does not.
    found = margin_of(0.01, 2.1)

    assert found.high is not None
    assert found.high_90 is not None
    assert found.high > 0.03 > found.high_90
    assert found.word is Word.ALIKE


def test_without_a_spread_nothing_is_claimed() -> None:
    [found] = margins([evidence(0.5, None)], band=0.03, better=[Better.HIGHER])

    assert (found.low, found.high_90, found.word) == (None, None, Word.UNRESOLVED)


def test_two_one_sided_tests_give_the_published_figures() -> None:
    # CRAN TOSTER 0.8.6, tests/testthat/test-known_results.R (Lakens 2017): means 5.25 and
    # 5.22, sd 0.95 and 0.83, n 95 and 89, bounds +- 0.384; df 181.1344, the larger p
    # 0.003838994, 90 % interval -0.1870843 to 0.2470843.
    se = math.sqrt(0.95**2 / 95 + 0.83**2 / 89)
    row = evidence(0.03, se, df=181.1344)

    assert interval(row, confidence=0.90) == pytest.approx((-0.1870843, 0.2470843), abs=1e-6)
    assert interval(row, confidence=0.95) == pytest.approx((-0.2290799, 0.2890799), abs=1e-6)
    found = p_values(row, band=math.expm1(0.384))
    assert found.alike == pytest.approx(0.003838994, abs=1e-6)


def test_the_published_yields_are_not_called_alike() -> None:
    # The same source, test-NCSS1.R: Welch, bounds +- 110, df 19.169, se 53.618547,
    # 95 % interval -120.27336 to 104.04259, p 0.03628 and 0.02002.
    row = evidence(-8.1153846, 53.618547, df=19.169)

    assert interval(row, confidence=0.95) == pytest.approx((-120.27336, 104.04259), abs=1e-3)
    edge_p = 0.03628
    assert p_values(row, band=math.expm1(110)).alike == pytest.approx(edge_p, abs=5e-6)


rows = st.builds(evidence, st.floats(-0.2, 0.2), st.floats(1e-4, 0.1), df=st.floats(1.0, 60.0))


@settings(deadline=None, max_examples=60)
@given(row=rows, band=st.floats(0.005, 0.2))
def test_swapping_the_sides_gives_the_reciprocal_ratio_and_the_opposite_word(
    row: Evidence, band: float
) -> None:
    back = evidence(-row.log_ratio, row.se, df=row.df)
    one, other = margins(
        [row, back], band=band, better=[Better.HIGHER] * 2, correction=Correction.NONE
    )

    opposite = {Word.FASTER: Word.SLOWER, Word.SLOWER: Word.FASTER}
    assert other.word is opposite.get(one.word, one.word)
    assert (1.0 + one.margin) * (1.0 + other.margin) == pytest.approx(1.0)
    assert one.low is not None
    assert other.high is not None
    assert (1.0 + one.low) * (1.0 + other.high) == pytest.approx(1.0)


@settings(deadline=None, max_examples=60)
@given(row=rows, band=st.floats(0.005, 0.2))
def test_the_word_agrees_with_the_intervals_that_are_shown(row: Evidence, band: float) -> None:
    [found] = margins([row], band=band, better=[Better.HIGHER], correction=Correction.NONE)
    assert found.low is not None
    assert found.high is not None
    assert found.low_90 is not None
    assert found.high_90 is not None
    slack = 1e-9

    if found.word in (Word.ALIKE, Word.SMALL_BUT_REAL):
        assert 1.0 / (1.0 + band) - 1.0 - slack <= found.low_90
        assert found.high_90 <= band + slack
    if found.word is Word.SMALL_BUT_REAL:
        assert found.low >= -slack or found.high <= slack
    if found.word is Word.FASTER:
        assert found.low >= band - slack
    if found.word is Word.SLOWER:
        assert found.high <= 1.0 / (1.0 + band) - 1.0 + slack


@settings(deadline=None, max_examples=40)
@given(st.lists(rows, min_size=1, max_size=5))
def test_a_correction_never_makes_a_claim_that_a_row_alone_would_not(
    family: list[Evidence],
) -> None:
    better = [Better.HIGHER] * len(family)
    for correction in Correction:
        for each in margins(family, band=0.03, better=better, correction=correction):
            softened = {Word.UNRESOLVED, each.alone}
            if each.alone is Word.SMALL_BUT_REAL:
                softened.add(Word.ALIKE)
            assert each.word in softened


@pytest.mark.parametrize("correction", list(Correction))
@pytest.mark.parametrize("is_paired", [False, True])
def test_many_rows_at_once_give_what_each_gives_by_itself(
    correction: Correction, is_paired: bool
) -> None:
    chance = np.random.default_rng(5)
    base = 90.0 * np.exp(0.01 * chance.standard_normal((60, 4)))
    against = (
        base.mean(axis=1, keepdims=True)
        * np.exp(chance.normal(0.0, 0.04, (60, 1)))
        * np.exp(0.02 * chance.standard_normal((60, 4)))
    )
    way = many.paired if is_paired else many.welch
    found = many.margins(way(base, against), band=0.03, correction=correction)
    one_way = pairs if is_paired else two_samples
    logs = zip(np.log(base).tolist(), np.log(against).tolist(), strict=True)
    each = [one_way(one, other) for one, other in logs]
    ours = margins(each, band=0.03, better=[Better.HIGHER] * 60, correction=correction)

    assert [many.WORDS[n] for n in found.words] == [one.word for one in ours]
    for name in ("margin", "low", "high", "low_90", "high_90"):
        expected = [getattr(one, name) for one in ours]
        assert getattr(found, name) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_as_many_passes_as_are_said_to_settle_a_margin_do() -> None:
    logs = [0.0, 0.02, 0.04, 0.01]
    row = two_samples(logs, [each + math.log1p(0.045) for each in logs])
    found = needed(row, band=0.03)

    assert found is not None
    assert found.expected is not None
    assert found.low is not None
    sd = float(np.std(logs, ddof=1))
    edge = math.log1p(0.045) - math.log1p(0.03)
    for n, enough in ((found.expected, True), (found.expected - 1, False)):
        again = evidence(0.0, sd * math.sqrt(2.0 / n), df=2.0 * (n - 1))
        ends = interval(again, confidence=0.95)
        assert ends is not None
        assert (ends[1] <= edge) is enough
    assert found.low < found.expected
    assert found.high is None or found.high > found.expected


def test_a_margin_at_the_edge_itself_is_settled_by_no_number_of_passes() -> None:
    row = two_samples([0.0, 0.02], [math.log1p(0.03), 0.02 + math.log1p(0.03)])
    found = needed(row, band=0.03)

    assert found is not None
    assert found.expected is None


_rows = st.lists(
    st.tuples(
        st.floats(-0.5, 0.5),
        st.none() | st.just(0.0) | st.floats(1e-4, 0.5),
        st.floats(1.0, 60.0),
        st.sampled_from(Better),
    ),
    min_size=1,
    max_size=12,
)


@given(_rows, st.sampled_from(Correction))
def test_a_comparison_of_very_many_rows_says_what_row_by_row_says(
    drawn: list[tuple[float, float | None, float, Better]], correction: Correction
) -> None:
    rows = [evidence(r, se, df=df if se is not None else 0.0) for r, se, df, _ in drawn]
    better = [each[3] for each in drawn]

    ours = margins(rows, band=0.03, better=better, correction=correction)
    theirs = many.of_rows(rows, band=0.03, better=better, correction=correction)

    assert [(each.word, each.alone) for each in theirs] == [(x.word, x.alone) for x in ours]
    for one, other in zip(ours, theirs, strict=True):
        assert one.margin == other.margin
        for name in ("low", "high", "low_90", "high_90"):
            value = getattr(one, name)
            assert getattr(other, name) == (
                None if value is None else pytest.approx(value, rel=1e-9)
            )


@pytest.mark.parametrize("base", range(50, 400))
def test_equal_values_exactly_at_the_edge_of_the_band_claim_nothing(base: int) -> None:
    evidence = two_samples([math.log(base)] * 4, [math.log(1.03 * base)] * 4)
    [margin] = margins([evidence], band=0.03, better=[Better.HIGHER])

    assert evidence.se == 0.0
    assert margin.word is Word.UNRESOLVED
