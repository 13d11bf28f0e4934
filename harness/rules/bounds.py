"""How far a value lies outside a bound; ``met`` and ``words`` as rules use them.

Pure. The third state, *not measured*, is never folded into the other two: whoever asks says
what it means for him.
"""

from __future__ import annotations

from harness.plan.document import Bound
from harness.plan.words import words
from harness.rig.bounds import Met, met

__all__ = ["Met", "excess", "met", "words"]


def excess(bound: Bound, value: float) -> float:
    """Return how far *value* lies outside an interval, in its unit; 0 inside.

    >>> excess(Bound(reading="gpu.temperature", unit="°C", at_least=55, at_most=65), 71.5)
    6.5
    """
    below = bound.at_least - value if bound.at_least is not None else 0.0
    above = value - bound.at_most if bound.at_most is not None else 0.0
    return max(below, above, 0.0)
