"""What may be discarded, and what is only marked. The tables of means are our own."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import DiscardRule, Side
from harness.rules.discard import find
from harness.rules.judgement import Finding, KeptPass
from harness.rules.kinds import KINDS
from harness.rules.looks import RULES
from harness.rules.outliers import median

SPREAD = DiscardRule(rule="spread", on="average_fps", more_than=0.03)
GRUBBS = DiscardRule(rule="grubbs", on="average_fps", alpha=0.05, least=6, floor=0.005)

# Mean frame times in ms.
FIRST_SLOW = [19.62, 16.71, 16.68, 16.74, 16.70]
ALIKE_THEN_ONE = [12.5, 12.5, 12.5, 12.5, 13.1]


def kept(rates: list[float], *, figure: str = "average_fps") -> tuple[KeptPass, ...]:
    return tuple(
        KeptPass(attempt=number, figures=((figure, rate),))
        for number, rate in enumerate(rates, start=1)
    )


def asked(
    rates: list[float], *rules: DiscardRule, discarded: dict[str, int] | None = None
) -> tuple[Finding, ...]:
    return find(kept(rates), rules, discarded=discarded or {})


def test_a_slow_first_pass_is_discarded_by_the_spread_rule() -> None:
    (finding,) = asked([1000 / ms for ms in FIRST_SLOW], SPREAD)
    assert (finding.attempt, finding.rule, finding.passes) == (1, "spread/1", 5)
    assert finding.discard
    # By hand: 50.968 against the median of the others 59.862.
    assert finding.statistic == pytest.approx(0.1486, abs=5e-5)
    assert finding.critical == 0.03
    assert finding.reason == (
        "average_fps is 14.9 % below the median of the other 4 passes, more than 3 %"
    )


def test_grubbs_only_marks_below_six_passes() -> None:
    (finding,) = asked([1000 / ms for ms in ALIKE_THEN_ONE], GRUBBS)
    assert (finding.attempt, finding.discard) == (5, False)
    assert finding.reason == (
        "average_fps is 1.79 standard deviations from the mean of 5 passes, 4.58 % below the "
        "others; more than 1.72 (two-sided, alpha 5 %); "
        "only marked: grubbs discards from 6 passes on, 5 are kept"
    )


def test_grubbs_discards_from_six_passes_on() -> None:
    (finding,) = asked([1000 / ms for ms in [*ALIKE_THEN_ONE, 12.5]], GRUBBS)
    assert (finding.attempt, finding.discard, finding.passes) == (5, True, 6)


def test_a_least_below_the_tables_does_not_let_grubbs_discard_earlier() -> None:
    eager = DiscardRule(rule="grubbs", on="average_fps", alpha=0.05, least=2)
    assert not any(finding.discard for finding in asked([100.0, 100.0, 150.0], eager))


def test_a_least_of_the_plan_may_ask_for_more_passes() -> None:
    slow = DiscardRule(rule="spread", on="average_fps", more_than=0.03, least=6)
    (finding,) = asked([1000 / ms for ms in FIRST_SLOW], slow)
    assert not finding.discard


def test_a_spread_rule_sees_nothing_in_two_passes() -> None:
    assert asked([100.0, 50.0], SPREAD, GRUBBS) == ()


def test_a_rule_that_has_had_its_discards_only_marks() -> None:
    (finding,) = asked([100.0, 101.0, 99.0, 80.0], SPREAD, discarded={"spread/1": 1})
    assert not finding.discard
    assert finding.reason.endswith("only marked: spread has discarded 1 here already, at most 1")


def test_a_discard_of_one_rule_does_not_use_up_another() -> None:
    (finding,) = asked([100.0, 101.0, 99.0, 80.0], SPREAD, discarded={"grubbs/1": 1})
    assert finding.discard


def test_passes_equally_far_out_are_all_marked_and_none_is_discarded() -> None:
    findings = asked([90.0, 90.0, 110.0, 110.0], SPREAD)
    assert [(finding.attempt, finding.discard) for finding in findings] == [(3, False), (4, False)]
    assert findings[0].reason.endswith("only marked: 2 passes are equally far out")


def test_one_call_discards_one_pass_by_the_first_rule_that_may() -> None:
    findings = asked([100.0, 101.0, 99.0, 100.0, 100.0, 60.0], GRUBBS, SPREAD)
    assert [(finding.attempt, finding.rule) for finding in findings] == [(6, "grubbs/1")]


def test_a_discard_leaves_no_marks_of_other_rules_beside_it() -> None:
    findings = asked([100.0, 101.0, 99.0, 100.0, 60.0], GRUBBS, SPREAD)
    assert [(f.rule, f.discard) for f in findings] == [("spread/1", True)]


def test_a_pass_without_the_figure_is_not_seen() -> None:
    passes = (*kept([100.0, 101.0]), KeptPass(attempt=3, figures=(("low_1pct_fps", 1.0),)))
    assert find(passes, [SPREAD], discarded={}) == ()


def test_the_attempt_is_reported_not_the_place() -> None:
    passes = tuple(
        KeptPass(attempt=attempt, figures=(("average_fps", rate),))
        for attempt, rate in [(2, 100.0), (5, 101.0), (9, 80.0)]
    )
    (finding,) = find(passes, [SPREAD], discarded={})
    assert finding.attempt == 9


def test_what_the_plan_leaves_out_has_a_stated_default() -> None:
    bare = DiscardRule(rule="spread", on="average_fps")
    assert asked([100.0, 100.0, 103.0], bare) == ()
    assert asked([100.0, 100.0, 103.1], bare)[0].critical == 0.03


def test_close_numbers_are_shown_with_as_many_digits_as_tell_them_apart() -> None:
    (finding,) = asked([100.0, 100.0, 103.0004], SPREAD)
    assert "3.0004 % above" in finding.reason
    assert "more than 3 %" in finding.reason


def test_the_table_says_from_how_many_passes_a_rule_may_mark_and_discard() -> None:
    table = {kind.name: (kind.marks_from, kind.discards_from) for kind in KINDS}
    assert table == {
        "spread": (3, 3),
        "grubbs": (3, 6),
        "esd": (5, 6),
        "dixon": (3, 6),
        "modified-z": (4, 6),
        "tukey": (5, 6),
    }


def test_every_rule_that_a_plan_may_name_can_be_asked() -> None:
    assert [rule.kind for rule in RULES.values()] == list(KINDS)


rate_lists = st.lists(st.integers(800, 1200).map(lambda n: n / 10), min_size=0, max_size=12)


@given(rates=rate_lists, made=st.integers(0, 2), at_most=st.integers(0, 2))
def test_at_most_one_pass_is_discarded_and_only_a_lone_one(
    rates: list[float], made: int, at_most: int
) -> None:
    rules = (
        DiscardRule(rule="grubbs", on="average_fps", alpha=0.05, at_most=at_most),
        DiscardRule(rule="spread", on="average_fps", more_than=0.03, at_most=at_most),
    )
    tally = {"spread/1": made, "grubbs/1": made}
    findings = find(kept(rates), rules, discarded=tally)
    gone = [finding for finding in findings if finding.discard]
    assert len(gone) <= 1
    if gone:
        assert findings == tuple(gone)
        assert made < at_most
        assert len(rates) >= RULES[gone[0].rule.split("/")[0]].kind.discards_from
        assert rates.count(rates[gone[0].attempt - 1]) == 1


@given(rates=rate_lists.filter(lambda rates: len(rates) >= 3))
def test_the_spread_rule_finds_exactly_what_lies_further_out(rates: list[float]) -> None:
    distances = []
    for place, rate in enumerate(rates):
        middle = median(rates[:place] + rates[place + 1 :])
        distances.append(abs(rate / middle - 1.0))
    findings = asked(rates, SPREAD)
    if max(distances) > 0.03 + 1e-9:
        assert findings[0].statistic == pytest.approx(max(distances), rel=1e-9)
    elif max(distances) < 0.03 - 1e-9:
        assert findings == ()


@given(rates=rate_lists, order=st.randoms(use_true_random=False))
def test_the_order_of_the_passes_does_not_change_what_stands_out(
    rates: list[float], order: object
) -> None:
    passes = list(kept(rates))
    mixed = list(passes)
    order.shuffle(mixed)  # type: ignore[attr-defined]

    def attempts(among: list[KeptPass]) -> set[int]:
        return {finding.attempt for finding in find(among, [GRUBBS, SPREAD], discarded={})}

    assert attempts(passes) == attempts(mixed)


# ------------------------------------------------------------------ two levels, several at once

#: Mean frame times in ms of a title that runs at one of two clocks.
TWO_CLUSTERS = [8.31, 8.92, 8.30, 8.94, 8.33, 8.91]


def test_nothing_is_discarded_for_being_one_of_two_levels() -> None:
    findings = asked([1000 / ms for ms in TWO_CLUSTERS], SPREAD)
    assert findings
    assert not any(finding.discard for finding in findings)
    assert findings[0].reason.endswith(
        "only marked: the passes lie on two levels, 3 near 112.1 and 3 near 120.3"
    )


def test_two_of_five_on_a_level_of_their_own_are_not_cleaned_away() -> None:
    findings = asked([60.0, 60.1, 59.9, 62.0, 62.1], SPREAD)
    assert [finding.discard for finding in findings] == [False]


def test_rosners_rule_discards_two_that_mask_each_other_together() -> None:
    rule = DiscardRule(rule="esd", on="average_fps", at_most=2)
    rates = [100.0, 100.4, 99.7, 100.1, 99.9, 100.2, 99.8, 100.3, 99.6, 80.0, 81.0]
    findings = asked(rates, rule)
    assert [(f.attempt, f.discard, f.rule) for f in findings] == [
        (10, True, "esd/1"),
        (11, True, "esd/1"),
    ]
    assert findings[0].reason.endswith("(two-sided, alpha 1 % over 2 tests)")


def test_a_rule_that_finds_more_than_it_may_discard_discards_none() -> None:
    rule = DiscardRule(rule="esd", on="average_fps", at_most=2)
    rates = [100.0, 100.4, 99.7, 100.1, 99.9, 100.2, 99.8, 100.3, 99.6, 80.0, 81.0]
    findings = asked(rates, rule, discarded={"esd/1": 1})
    assert [finding.discard for finding in findings] == [False, False]
    assert findings[0].reason.endswith("esd finds 2 here and has discarded 1, at most 2")


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("grubbs", "2.04 standard deviations from the mean of 6 passes, 20 % below the others"),
        ("dixon", "0.975 of the range of 6 passes away from its neighbour, 20 % below"),
        ("modified-z", "67.3 by the modified z score of 6 passes, 20 % below the others"),
        ("tukey", "60.8 quartile distances beyond a quartile of 6 passes, 20 % below"),
        ("esd", "2.04 standard deviations from the mean of 6 passes less those further out"),
    ],
)
def test_every_statistical_rule_says_what_it_counted(rule: str, words: str) -> None:
    rates = [100.0, 100.1, 99.9, 100.2, 99.7, 80.0]
    (finding,) = asked(rates, DiscardRule(rule=rule, on="average_fps"))
    assert finding.discard
    assert words in finding.reason
    assert finding.statistic > finding.critical


@pytest.mark.parametrize("rule", ["grubbs", "esd", "dixon", "modified-z", "tukey"])
def test_no_statistical_rule_discards_below_six_passes(rule: str) -> None:
    findings = asked([100.0, 100.1, 99.9, 100.2, 50.0], DiscardRule(rule=rule, on="average_fps"))
    assert [finding.discard for finding in findings] == [False]


@pytest.mark.parametrize("rule", ["grubbs", "dixon"])
def test_a_rule_for_one_side_leaves_the_other_alone(rule: str) -> None:
    rates = [100.0, 100.1, 99.9, 100.2, 99.7, 80.0]
    low = DiscardRule(rule=rule, on="average_fps", side=Side.LOW)
    high = DiscardRule(rule=rule, on="average_fps", side=Side.HIGH)
    assert asked(rates, high) == ()
    (finding,) = asked(rates, low)
    assert "one-sided, low" in finding.reason


@given(
    rates=rate_lists,
    name=st.sampled_from(["grubbs", "esd", "dixon", "modified-z", "tukey"]),
    at_most=st.integers(1, 3),
    made=st.integers(0, 3),
)
def test_no_rule_discards_more_than_it_may_nor_a_small_difference(
    rates: list[float], name: str, at_most: int, made: int
) -> None:
    rule = DiscardRule(rule=name, on="average_fps", at_most=at_most, floor=0.02)
    findings = find(kept(rates), [rule], discarded={f"{name}/1": made})
    gone = [finding for finding in findings if finding.discard]
    assert len(gone) + made <= max(at_most, made)
    for finding in findings:
        others = rates[: finding.attempt - 1] + rates[finding.attempt :]
        assert abs(rates[finding.attempt - 1] / median(others) - 1.0) > 0.02 - 1e-9
