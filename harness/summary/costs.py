"""What a frame costs: a price among a plan's facts over the average frame rate.

Pure. A fact whose name ends in ``price`` and that reads ``649 EUR at 2026-11-02`` (an amount, a
currency, and when it was asked for where that is said) is a price. The cost is price ÷ rate, so
that 649 EUR at 144 frames a second are 4.51 EUR per frame a second. It changes every day as
prices do, and says nothing of what the rest of the rig costs.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from harness.plan.document import Plan

#: The figure that a cost is of.
FIGURE = "average_fps"

_PRICE = re.compile(
    r"(?P<amount>[0-9]+(?:\.[0-9]+)?) +(?P<currency>[^\s0-9]+)(?: +at +(?P<at>\S+))?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """A price among the facts of a plan.

    Args:
        fact: Its name there.
        written: The amount in *currency*, as the plan writes it.
        currency: As the plan writes it.
        at: When it was asked for, as the plan writes it; empty where it does not.
    """

    fact: str
    written: str
    currency: str
    at: str

    @property
    def amount(self) -> float:
        """Return the amount, in the currency."""
        return float(self.written)

    @property
    def words(self) -> str:
        """Return it as a person reads it."""
        return f"{self.written} {self.currency}" + (f" at {self.at}" if self.at else "")


def prices(plan: Plan) -> tuple[Price, ...]:
    """Return the prices among the facts of *plan*, in its order."""
    found = []
    for name, text in plan.facts:
        match = _PRICE.fullmatch(text.strip())
        if match is not None and name.casefold().endswith("price") and float(match["amount"]) > 0.0:
            found.append(
                Price(
                    fact=name,
                    written=match["amount"],
                    currency=match["currency"],
                    at=match["at"] or "",
                )
            )
    return tuple(found)


def unread_prices(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return the facts of *plan* that are called a price and cannot be read as one."""
    read = {each.fact for each in prices(plan)}
    return tuple(
        (name, text)
        for name, text in plan.facts
        if name.casefold().endswith("price") and name not in read
    )


def cost_per_frame(price: Price, *, rate: float | None) -> float | None:
    """Return the price of one frame a second; None without a rate.

    >>> round(cost_per_frame(Price(fact="card price", written="649", currency="EUR", at=""),
    ...                      rate=144.0), 2)
    4.51
    """
    if rate is None or not rate > 0.0 or not math.isfinite(rate):
        return None
    return price.amount / rate
