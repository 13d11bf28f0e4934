"""Parts of a plan as a person reads them.

Pure.
"""

from __future__ import annotations

from harness.plan.document import Bound


def words(bound: Bound) -> str:
    """Return the condition of *bound*, without the reading's name.

    >>> words(Bound(reading="gpu.temperature", unit="°C", at_least=55.0, at_most=65.0))
    'between 55 °C and 65 °C'
    """
    unit = f" {bound.unit}" if bound.unit else ""
    if bound.holds is not None:
        return f"a list that holds {bound.holds}"
    if isinstance(bound.equals, bool):
        return "true" if bound.equals else "false"
    if isinstance(bound.equals, str):
        return bound.equals
    if bound.equals is not None:
        return f"{bound.equals:g}{unit}"
    if bound.at_least is not None and bound.at_most is not None:
        return f"between {bound.at_least:g}{unit} and {bound.at_most:g}{unit}"
    if bound.at_least is not None:
        return f"at least {bound.at_least:g}{unit}"
    if bound.at_most is not None:
        return f"at most {bound.at_most:g}{unit}"
    raise ValueError(f"a bound on {bound.reading} that bounds nothing")
