"""Where the fingerprint of a rig changed in a series, and what the values say of it.

Pure. The values between one change and the next are held against those before it: relative
difference of geometric means, Welch's interval on logarithms (``harness.summary.evidence``). A
field that was not read at one value is held against what it was when it was last read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.student import t_quantile
from harness.summary.evidence import two_samples
from harness.summary.from_logs import fraction
from harness.summary.series import Measured

_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """Fields of the fingerprint that are other than at the value before.

    Args:
        place: The first value under them, by its place in the series.
        fields: (name, what it was, what it is).
        before: Values since the change before that; ``after`` those until the next.
        after: See above.
        step: Relative difference of their geometric means; None where a value is not above 0.
        low: Lower end of its 95 % interval; None with one value on a side.
        high: Upper end.
    """

    place: int
    fields: tuple[tuple[str, str, str], ...]
    before: int
    after: int
    step: float | None
    low: float | None
    high: float | None

    @property
    def told(self) -> bool:
        """Return whether the values tell a step from none."""
        return self.low is not None and self.high is not None and not self.low <= 0.0 <= self.high


def changed(values: Sequence[Measured]) -> tuple[Changed, ...]:
    """Return every place of *values* at which a field is other than it was."""
    known: dict[str, str] = {}
    places: list[tuple[int, tuple[tuple[str, str, str], ...]]] = []
    for place, value in enumerate(values):
        other = tuple(
            (name, known[name], text)
            for name, text in sorted(value.fields.items())
            if known.get(name, text) != text
        )
        if other:
            places.append((place, other))
        known.update(value.fields)
    at = [0, *(place for place, _ in places), len(values)]
    return tuple(
        _step(place, fields, values[at[n] : place], values[place : at[n + 2]])
        for n, (place, fields) in enumerate(places)
    )


def _step(
    place: int,
    fields: tuple[tuple[str, str, str], ...],
    before: Sequence[Measured],
    after: Sequence[Measured],
) -> Changed:
    step = low = high = None
    if all(each.value > 0.0 for each in (*before, *after)):
        evidence = two_samples(*([math.log(e.value) for e in side] for side in (before, after)))
        step = fraction(evidence.log_ratio)
        if evidence.se is not None:
            reach = evidence.se * t_quantile(0.5 + _CONFIDENCE / 2.0, df=evidence.df)
            low = fraction(evidence.log_ratio - reach)
            high = fraction(evidence.log_ratio + reach)
    return Changed(
        place=place,
        fields=fields,
        before=len(before),
        after=len(after),
        step=step,
        low=low,
        high=high,
    )
