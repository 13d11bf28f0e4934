"""What was foretold of a gate while it waited, kept until it can be held against the truth.

Pure. A forecast is made wherever Newton's law is fitted anew (``harness.rules.cooling``): from
the law that foretells, where that names an instant, else from the later half's. Only the law is
kept then. When the wait is over the first of them, and the last that was made by half of the
gate's own time, are worked out and handed over with what came true.

The interval of an instant is taken from that of the temperature: a law of the region of 99 %
may be at the edge as soon as the nearest temperature of the region is, and need not be before
the farthest is. Where the farthest is not there at the end of what is looked at, it may never be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from harness.plan.document import Gate
from harness.plan.words import words
from harness.rig.crossings import Forecast, Foretold
from harness.rules.cooling import Cooling, edge_ahead
from harness.rules.newton import Fit

#: An instant farther off than this many times what the wait took or may take is told as *never*.
_FAR = 4.0
_HALVINGS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """One look at the part: the law, the edge that was ahead, and when it was to be there."""

    made_at_s: float
    law: Fit
    edge_c: float
    reaches_s: float | None


class Foretelling:
    """The forecasts of one gate's wait. Told of every value, after ``Cooling`` was."""

    def __init__(self, index: int, gate: Gate, cooling: Cooling) -> None:
        self._index, self._gate, self._cooling = index, gate, cooling
        self._law: Fit | None = None
        self._looks: list[_Look] = []

    def note(self, value_c: float, *, waited_s: float) -> None:
        """Keep what is foretold at *value_c*, where the law was fitted anew."""
        law = self._cooling.seen
        if law is None or law is self._law:
            return
        self._law = law
        edge_c = edge_ahead(self._gate.bound, value_c)
        if edge_c is None:
            return
        reaches_s = None
        if (ahead := self._cooling.ahead()) is not None:
            at_s = ahead[0].reaches(ahead[1])
            if at_s is not None and at_s > waited_s:  # instant and interval are of one law
                reaches_s, (law, edge_c) = at_s, ahead
        self._looks.append(_Look(made_at_s=waited_s, law=law, edge_c=edge_c, reaches_s=reaches_s))

    def told(self, *, reached_s: float | None, ended_s: float, value_c: float) -> Foretold | None:
        """Return what was foretold, and what came true; None: nothing was foretold.

        Args:
            reached_s: Since when the bound is met; None: it is not.
            ended_s: When the wait ended.
            value_c: What was read then.
        """
        own_s = ended_s if reached_s is None else reached_s
        looks = [each for each in self._looks if each.made_at_s < own_s]
        if not looks:
            return None
        first = next((each for each in looks if each.reaches_s is not None), looks[0])
        half = [each for each in looks if each.made_at_s <= own_s / 2]
        chosen = {each.made_at_s: each for each in (first, *half[-1:])}
        return Foretold(
            gate=self._index,
            reading=self._gate.bound.reading,
            bound=words(self._gate.bound),
            unit=self._gate.bound.unit,
            forecasts=tuple(
                _worked_out(chosen[at_s], ended_s=ended_s, most_s=self._gate.give_up_s)
                for at_s in sorted(chosen)
            ),
            reached_s=reached_s,
            ended_s=ended_s,
            value=value_c,
        )


def _worked_out(look: _Look, *, ended_s: float, most_s: float) -> Forecast:
    low_c, high_c = look.law.interval(ended_s)
    earliest_s = latest_s = None
    if look.reaches_s is not None:
        earliest_s, latest_s = _between(look, until_s=_FAR * max(ended_s, most_s, look.reaches_s))
    return Forecast(
        made_at_s=look.made_at_s,
        reaches_s=look.reaches_s,
        earliest_s=earliest_s,
        latest_s=latest_s,
        end_c=look.law.at(ended_s),
        low_c=low_c,
        high_c=high_c,
    )


def _between(look: _Look, *, until_s: float) -> tuple[float | None, float | None]:
    """Return the earliest and the latest instant at which a law of the region is at the edge."""
    law, edge_c = look.law, look.edge_c
    falling = law.at(law.last_s) > edge_c

    def nearest(t: float) -> bool:
        low, high = law.interval(t)
        return low <= edge_c if falling else high >= edge_c

    def farthest(t: float) -> bool:
        low, high = law.interval(t)
        return high <= edge_c if falling else low >= edge_c

    return (
        _since(nearest, from_s=look.made_at_s, until_s=until_s),
        _since(farthest, from_s=look.made_at_s, until_s=until_s),
    )


def _since(there: Callable[[float], bool], *, from_s: float, until_s: float) -> float | None:
    """Return from when on *there* is true; None: not by *until_s*."""
    if there(from_s):
        return from_s
    if not there(until_s):
        return None
    for _ in range(_HALVINGS):
        half_s = (from_s + until_s) / 2
        from_s, until_s = (from_s, half_s) if there(half_s) else (half_s, until_s)
    return until_s
