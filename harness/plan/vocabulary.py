"""The names that a plan may use and that later folders know: readings, rules, figures.

Pure. The plan's folder imports nothing of theirs; they are handed in as one value. The
classes are written by hand, as every check makes them: see ``harness.plan.source``.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

#: Returns None where a time zone is known, else the names of all that are.
ZonesInstead = Callable[[str], Collection[str] | None]


class KnownReading:
    """A reading that a plan may name.

    Args:
        unit: Its one unit; empty for counts, text and true/false.
        form: ``number``, ``count``, ``true/false``, ``text`` or ``list of names``.
        low: Least value that can be true, in that unit.
        high: Greatest.
    """

    __slots__ = ("form", "high", "low", "unit")

    def __init__(
        self, *, unit: str, form: str, low: float | None = None, high: float | None = None
    ) -> None:
        self.unit = unit
        self.form = form
        self.low = low
        self.high = high


class KnownRule:
    """A discard rule that a plan may name.

    Args:
        least: Passes below which it can find nothing.
        discards_from: Passes below which it may only mark.
        takes: Keys it knows besides ``rule``, ``on`` and ``at_most``.
        needs: Of these, the ones that have no default.
        alphas: The levels it knows critical values for; empty: any.
    """

    __slots__ = ("alphas", "discards_from", "least", "needs", "takes")

    def __init__(
        self,
        *,
        least: int,
        discards_from: int,
        takes: tuple[str, ...] = (),
        needs: tuple[str, ...] = (),
        alphas: tuple[float, ...] = (),
    ) -> None:
        self.least = least
        self.discards_from = discards_from
        self.takes = takes
        self.needs = needs
        self.alphas = alphas


class Vocabulary:
    """Every name that a plan may use and the plan's folder does not know by itself.

    Args:
        readings: By name.
        rules: Discard rules by name.
        figures: Names of the figures that frames give.
        fields: Names of fingerprint fields that are not readings, such as ``title.build``.
        zones_instead: Told the name of a time zone, returns None where this system knows it,
            else all names it knows; None: time zones are not looked at.
    """

    __slots__ = ("fields", "figures", "readings", "rules", "zones_instead")

    def __init__(
        self,
        *,
        readings: Mapping[str, KnownReading],
        rules: Mapping[str, KnownRule],
        figures: tuple[str, ...] = (),
        fields: tuple[str, ...] = (),
        zones_instead: ZonesInstead | None = None,
    ) -> None:
        self.readings = readings
        self.rules = rules
        self.figures = figures
        self.fields = fields
        self.zones_instead = zones_instead
