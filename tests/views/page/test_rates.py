from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from harness.views.page.rates import Rate, Rates


def test_turns_come_back_with_time() -> None:
    rates = Rates(Rate(burst=2, per_s=0.5))
    assert [rates.wait_s("a", now_s=0.0) for _ in range(3)] == [0.0, 0.0, 2.0]
    assert rates.wait_s("a", now_s=2.0) == 0.0


def test_one_visitor_takes_nothing_from_another() -> None:
    rates = Rates(Rate(burst=1, per_s=1))
    assert rates.wait_s("a", now_s=0.0) == 0.0
    assert rates.wait_s("b", now_s=0.0) == 0.0


def test_only_so_many_visitors_are_remembered() -> None:
    rates = Rates(Rate(burst=1, per_s=1), visitors=3)
    for number in range(1000):
        rates.wait_s(str(number), now_s=0.0)
    assert len(rates._left) == 3


@given(
    gaps_s=st.lists(st.floats(0, 5), min_size=1, max_size=200),
    burst=st.integers(1, 20),
    per_s=st.floats(0.1, 10),
)
def test_no_pattern_of_asking_gets_more_than_burst_and_rate(
    gaps_s: list[float], burst: int, per_s: float
) -> None:
    rates, now_s, allowed = Rates(Rate(burst=burst, per_s=per_s)), 0.0, 0
    for gap_s in gaps_s:
        now_s += gap_s
        allowed += rates.wait_s("a", now_s=now_s) == 0.0
    assert allowed <= burst + per_s * now_s + 1e-6
