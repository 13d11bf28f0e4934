"""Whether a reading meets a bound: yes, no, or not measured.

Pure.
"""

from __future__ import annotations

import enum

from harness.plan.document import Bound
from harness.rig.readings import Reading


class Met(enum.Enum):
    """The three states of a condition on a reading."""

    MET = "met"
    NOT_MET = "not met"
    NOT_MEASURED = "not measured"


def met(bound: Bound, reading: Reading) -> Met:
    """Return whether *reading* meets *bound*; a value of another kind counts as not measured.

    Bounds are inclusive. Numbers are compared as they are, both in the reading's unit.
    """
    value = reading.value
    if value is None:
        return Met.NOT_MEASURED
    if bound.holds is not None:
        found = value if isinstance(value, tuple) else (str(value),)
        return _of(bound.holds in found)
    if bound.equals is not None:
        if isinstance(bound.equals, str):
            return _of(value == bound.equals) if isinstance(value, str) else Met.NOT_MEASURED
        if isinstance(value, (str, tuple)) or isinstance(bound.equals, bool) != isinstance(
            value, bool
        ):
            return Met.NOT_MEASURED
        return _of(value == bound.equals)
    if isinstance(value, (str, tuple, bool)):
        return Met.NOT_MEASURED
    low = bound.at_least is None or value >= bound.at_least
    high = bound.at_most is None or value <= bound.at_most
    return _of(low and high)


def excess(bound: Bound, value: float) -> float:
    """Return how far *value* lies outside an interval, in its unit; 0 inside.

    >>> excess(Bound(reading="gpu.temperature", unit="°C", at_least=55, at_most=65), 71.5)
    6.5
    """
    below = bound.at_least - value if bound.at_least is not None else 0.0
    above = value - bound.at_most if bound.at_most is not None else 0.0
    return max(below, above, 0.0)


def _of(truth: bool) -> Met:
    return Met.MET if truth else Met.NOT_MET
