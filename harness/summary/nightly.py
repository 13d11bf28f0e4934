"""One cell over the nights of one rig, in the layout of the GUM, H.5.

Pure. What varies within a night, what between nights, and what the mean of all is known to with
the night as unit (``harness.summary.one_way``).
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.rules.student import t_quantile
from harness.summary.one_way import Group, OneWay, group, one_way
from harness.summary.series import Series, nights

_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """One cell over the nights of one rig, under its latest fingerprint.

    Args:
        rig: The rig.
        groups: One for each night.
        analysis: Between and within nights; None with one night.
        half_width: Of the 95 % interval of the mean, the night as unit; None with one night.
        left_out: Values under other fingerprints.
    """

    rig: str
    groups: tuple[Group, ...]
    analysis: OneWay | None
    half_width: float | None
    left_out: int


def nights_of(each: Series) -> Nights:
    """Return the nights of a series under its latest fingerprint."""
    now = each.values[-1].fields
    same = [value for value in each.values if value.fields == now]
    groups = tuple(group([value.value for value in night]) for night in nights(same))
    analysis = one_way(groups) if len(groups) > 1 else None
    half = None
    if analysis is not None:
        half = analysis.u_mean * t_quantile(0.5 + _CONFIDENCE / 2.0, df=analysis.df_between)
    return Nights(
        rig=each.rig,
        groups=groups,
        analysis=analysis,
        half_width=half,
        left_out=len(each.values) - len(same),
    )
