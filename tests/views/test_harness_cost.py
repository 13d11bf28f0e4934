"""What the harness cost a pass, in words."""

from __future__ import annotations

import pytest

from harness.rules.judgement import HarnessCost
from harness.views.harness_cost import cost_brief, cost_detail, cost_words


def told(laid: str, *, cost_ms: float) -> HarnessCost:
    return HarnessCost(
        definition="frames-around-looks/1", looks=58, cost_ms=cost_ms, low_ms=cost_ms - 0.031,
        high_ms=cost_ms + 0.031, share=cost_ms / 1000, most_share=(cost_ms + 0.031) / 1000,
        laid=laid,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("laid", "cost_ms", "words"),
    [
        ("clock", 0.021, "the harness cost 0.002 % of this pass (at most 0.005 %)"),
        ("clock", -0.011, "the harness cost 0.000 % of this pass (at most 0.002 %)"),
        ("found", 0.6, "the harness cost 0.060 % of this pass (at most 0.063 %)"),
        ("sought", 0.021, "the harness cost at most 0.005 % of this pass; none was found"),
    ],
)
def test_the_cost_is_told_as_a_share_of_the_pass(laid: str, cost_ms: float, words: str) -> None:
    assert cost_words(told(laid, cost_ms=cost_ms)) == words


@pytest.mark.parametrize(
    ("laid", "words"),
    [
        ("clock", "harness cost 0.002 % (at most 0.005 %)"),
        ("sought", "harness cost at most 0.005 %"),
    ],
)
def test_a_line_that_tells_more_has_the_cost_in_a_few_words(laid: str, words: str) -> None:
    assert cost_brief(told(laid, cost_ms=0.021)) == words


def test_the_cost_of_a_look_stands_with_its_interval_and_definition() -> None:
    assert cost_detail(told("clock", cost_ms=0.021)) == (
        "each of 58 looks cost 0.021 ms (95 %: -0.010 to 0.052 ms), frames-around-looks/1, "
        "frames and looks on one clock"
    )


def test_where_no_look_stands_out_only_the_interval_is_told() -> None:
    assert cost_detail(told("sought", cost_ms=-1.548)) == (
        "each of 58 looks cost -1.579 to -1.517 ms (95 %), frames-around-looks/1, "
        "durations: no place in the period of the looks stands out"
    )


def test_what_was_not_measured_says_why_and_gives_no_number() -> None:
    none = HarnessCost(
        definition="frames-around-looks/1", looks=0, why="the title leaves no frames"
    )
    assert cost_words(none) == (
        "what the harness cost this pass is not measured: the title leaves no frames"
    )
    assert cost_detail(none) == ""
