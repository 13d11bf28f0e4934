"""The facts of a plan beside its results, and what a frame costs: in words, and as JSON.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from harness.plan.document import Plan
from harness.summary.cells import CellSummary
from harness.summary.costs import FIGURE, Price, cost_per_frame, prices, unread_prices
from harness.summary.rows import Row
from harness.views.numbers import number


def facts_lines(plan: Plan, summaries: Sequence[CellSummary]) -> Iterator[str]:
    """Yield the facts of a plan and, where a price is among them, the cost of each cell."""
    if not plan.facts:
        return
    yield ""
    yield "facts of the plan:"
    yield from (f"  {name}: {text}" for name, text in plan.facts)
    for name, _ in unread_prices(plan):
        yield f"  {name} gives no cost per frame: write it as in 649 EUR at 2026-11-02"
    for price, found in _costs(plan, summaries):
        yield f"cost per frame a second, {price.fact} ({price.words}) ÷ average frame rate:"
        for summary, cost in found:
            yield f"  {summary.cell.label}: {number(cost, digits=3)} {price.currency} per fps"


def facts_json(plan: Plan, summaries: Sequence[CellSummary]) -> dict[str, object]:
    """Return ``facts`` and ``costs`` of ``results --json``."""
    return {
        "facts": dict(plan.facts),
        "costs": [
            {
                "cell": summary.cell.key,
                "group": summary.group,
                "fact": price.fact,
                "price": price.amount,
                "currency": price.currency,
                "at": price.at or None,
                "per_fps": cost,
                "unit": f"{price.currency} per fps",
            }
            for price, found in _costs(plan, summaries)
            for summary, cost in found
        ],
    }


def row_cost(row: Row) -> str | None:
    """Return the cost of a frame on both sides of a comparison's row; None: there is none."""
    found = _row_costs(row)
    if found is None:
        return None
    (first, one), (second, other) = found
    unit = f"{first.currency} per fps"
    asked = first.words if first.words == second.words else f"{first.words} -> {second.words}"
    costs = f"{number(one, digits=3)} -> {number(other, digits=3)} {unit}"
    return f"cost per frame a second: {costs} ({first.fact} {asked})"


def row_cost_json(row: Row) -> dict[str, object] | None:
    """Return the same as JSON."""
    found = _row_costs(row)
    if found is None:
        return None
    (first, one), (second, other) = found
    return {
        "fact": first.fact,
        "unit": f"{first.currency} per fps",
        "base": {"price": first.amount, "at": first.at or None, "per_fps": one},
        "against": {"price": second.amount, "at": second.at or None, "per_fps": other},
    }


def _costs(
    plan: Plan, summaries: Sequence[CellSummary]
) -> Iterator[tuple[Price, list[tuple[CellSummary, float]]]]:
    for price in prices(plan):
        found = []
        for summary in summaries:
            estimate = summary.figure(FIGURE)
            rate = estimate.mean if estimate is not None else None
            cost = cost_per_frame(price, rate=rate)
            if cost is not None:
                found.append((summary, cost))
        if found:
            yield price, found


def _row_costs(row: Row) -> tuple[tuple[Price, float], tuple[Price, float]] | None:
    """Return the first price that both plans have in one currency, with the cost it gives."""
    if row.figure.name != FIGURE:
        return None
    for first in prices(row.base.cell.plan):
        for second in prices(row.against.cell.plan):
            if (first.fact, first.currency) == (second.fact, second.currency):
                one = cost_per_frame(first, rate=row.base.mean)
                other = cost_per_frame(second, rate=row.against.mean)
                if one is not None and other is not None:
                    return (first, one), (second, other)
    return None
