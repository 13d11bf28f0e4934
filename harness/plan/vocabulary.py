"""The names that a plan may use and that later folders know: readings, rules, figures.

Pure. The plan's folder imports nothing of theirs; they are handed in as one value.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownReading:
    """A reading that a plan may name.

    Args:
        unit: Its one unit; empty for counts, text and true/false.
        form: ``number``, ``count``, ``true/false``, ``text`` or ``list of names``.
        low: Least value that can be true, in that unit.
        high: Greatest.
    """

    unit: str
    form: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownRule:
    """A discard rule that a plan may name.

    Args:
        least: Passes below which it can find nothing.
        discards_from: Passes below which it may only mark.
        takes: Keys it knows besides ``rule``, ``on`` and ``at_most``.
        needs: Of these, the ones that have no default.
    """

    least: int
    discards_from: int
    takes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """Every name that a plan may use and the plan's folder does not know by itself.

    Args:
        readings: By name.
        rules: Discard rules by name.
        figures: Names of the figures that frames give.
        fields: Names of fingerprint fields that are not readings.
    """

    readings: Mapping[str, KnownReading] = field(default_factory=dict)
    rules: Mapping[str, KnownRule] = field(default_factory=dict)
    figures: tuple[str, ...] = ()
    fields: tuple[str, ...] = ()
