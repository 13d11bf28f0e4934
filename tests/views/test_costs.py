from __future__ import annotations

import json
from dataclasses import replace

import pytest

from harness.plan.document import Plan
from harness.summary.cells import CellSummary, summarise
from harness.summary.comparison import Asked, compare
from harness.summary.costs import prices
from harness.summary.matching import match
from harness.views.comparison import as_text
from harness.views.costs import facts_json, facts_lines, row_cost_json
from tests.end_to_end.test_schemas import documented, paths
from tests.summary import over_nights
from tests.summary.comparing import plan, side


def priced(price: str = "649 EUR at 2026-11-02") -> Plan:
    return replace(plan(), facts=(("card price", price), ("room noise", "22 dB(A) at 50 cm")))


def summaries() -> tuple[CellSummary, ...]:
    entries = over_nights.entries(over_nights.counted([144.0, 144.0]))
    return summarise(entries, plan=over_nights.plan())


def test_facts_are_shown_and_a_price_gives_the_cost_of_a_frame() -> None:
    text = "\n".join(facts_lines(priced(), summaries()))

    assert "room noise: 22 dB(A) at 50 cm" in text
    assert "card price (649 EUR at 2026-11-02) ÷ average frame rate:" in text
    assert "4.51 EUR per fps" in text  # 649 / 144


def test_a_large_price_is_told_in_full() -> None:
    text = "\n".join(facts_lines(priced("1234567 JPY"), summaries()))

    assert "card price (1234567 JPY) ÷ average frame rate:" in text
    assert "8573 JPY per fps" in text  # 1234567 / 144


def test_costs_have_exactly_the_fields_that_are_documented() -> None:
    wanted = documented("harness.results/1")
    shown = facts_json(priced(), summaries())

    assert set(paths(shown, wanted)) == {
        path for path in wanted if path.startswith(("facts", "costs"))
    }
    json.dumps(shown, allow_nan=False)


@pytest.mark.parametrize("text", ["649", "EUR 649", "0 EUR", "-649 EUR", "649 EUR on sale", ""])
def test_what_is_no_price_costs_nothing_and_says_so(text: str) -> None:
    asked = priced(text or " ")

    assert prices(asked) == ()
    assert "gives no cost per frame" in "\n".join(facts_lines(asked, summaries()))


def test_a_plan_without_facts_shows_none() -> None:
    assert list(facts_lines(plan(), summaries())) == []


def test_a_comparison_shows_what_a_frame_costs_on_both_sides() -> None:
    cells = [
        side("stock", [100.0, 101.0], run="a", of=priced()),
        side("stock", [150.0, 151.0], run="b", of=priced("899 EUR at 2026-11-20")),
    ]
    matched = match(cells, base={"run": ("a",)}, against={"run": ("b",)}, where={})
    found = compare(matched, asked=Asked(weights={}))

    assert (
        "cost per frame a second: 6.46 -> 5.97 EUR per fps "
        "(card price 649 EUR at 2026-11-02 -> 899 EUR at 2026-11-20)"
    ) in " ".join(" ".join(as_text(found, width=200)).split())
    cost = row_cost_json(found.rows[0].row)
    assert cost is not None
    assert cost["against"] == {
        "price": 899.0, "at": "2026-11-20", "per_fps": pytest.approx(899 / 150.499, rel=1e-4),
    }  # fmt: skip


def test_prices_in_two_currencies_are_not_held_against_each_other() -> None:
    cells = [
        side("stock", [100.0, 101.0], run="a", of=priced()),
        side("stock", [150.0, 151.0], run="b", of=priced("899 USD")),
    ]
    matched = match(cells, base={"run": ("a",)}, against={"run": ("b",)}, where={})

    assert "cost per frame" not in "\n".join(
        as_text(compare(matched, asked=Asked(weights={})), width=200)
    )


def test_a_price_is_told_as_the_plan_writes_it() -> None:
    text = "\n".join(facts_lines(priced("1234.50 EUR"), summaries()))
    assert "card price (1234.50 EUR) ÷ average frame rate:" in text
