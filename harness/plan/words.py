"""Parts of a plan as a person reads them.

Pure.
"""

from __future__ import annotations

from harness.plan.document import Bound, Guard


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


def allowance(guard: Guard) -> str:
    """Return how long a guard may fail, or nothing where one sample breaches it.

    >>> allowance(Guard(bound=Bound(reading="cpu.load", unit="%", at_most=5.0), share=0.1))
    'for 10 % of the pass'
    """
    parts = []
    if guard.share is not None:
        parts.append(f"for {100.0 * guard.share:g} % of the pass")
    if guard.for_s is not None:
        parts.append(f"for {guard.for_s:g} s without a break")
    return " and ".join(parts)
