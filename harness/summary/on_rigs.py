"""One cell on several rigs, its values on each, and how far one rig lies from another.

Pure. A difference of two rigs is the ratio of their geometric means minus one, with Welch's
interval on logarithms (``harness.summary.evidence``), each by itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.rules.judgement import Figure
from harness.rules.student import t_quantile
from harness.summary.evidence import two_samples
from harness.summary.from_logs import fraction
from harness.summary.one_way import Group, group
from harness.summary.rows import NoRow, counted, figure_of
from harness.summary.sides import SideCell

_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRig:
    """One cell on one rig.

    Args:
        side: Where its passes come from.
        values: Of the kept passes that count.
        attempts: Of the same passes.
        group: Their number, mean and squares.
    """

    side: SideCell
    values: tuple[float, ...]
    attempts: tuple[int, ...]
    group: Group


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """How far one rig lies from another: relative difference of geometric means.

    Args:
        base: One rig, by its place; ``against`` the other.
        against: See above.
        share: How far; None where a value is not above 0.
        low: Lower end of its 95 % interval; None with one value on a side.
        high: Upper end.
    """

    base: int
    against: int
    share: float | None
    low: float | None
    high: float | None


def on_rigs_of(
    rigs: Mapping[str, SideCell], name: str, with_marked: bool, left_out: list[tuple[str, str]]
) -> tuple[list[OnRig], list[Figure]]:
    """Return a cell on each of *rigs* by name, and the figure there; what is none, left out.

    Args:
        rigs: What stands for each.
        name: The figure's.
        with_marked: Take marked passes in.
        left_out: (cell and rig, why): what is left out is added here.
    """
    found, figures = [], []
    for rig, side in sorted(rigs.items()):
        try:
            passes = counted(side, with_marked=with_marked, side=rig)
            figure = figure_of(passes, name, side=rig)
        except NoRow as none:
            left_out.append((side.label, str(none)))
            continue
        measured = [
            (each.attempt, value)
            for each in passes
            if (one := each.figures.get(name)) is not None and (value := one.value) is not None
        ]
        left_out += [
            (side.label, f"attempt {each.attempt}: {one.why}")
            for each in passes
            if (one := each.figures.get(name)) is not None and one.value is None and measured
        ]
        if not measured:
            left_out.append((side.label, f"{name} is not measured: {figure.why}"))
            continue
        attempts, values = zip(*measured, strict=True)
        found.append(OnRig(side=side, values=values, attempts=attempts, group=group(values)))
        figures.append(figure)
    return found, figures


def pair(on_rigs: Sequence[OnRig], base: int, against: int) -> Pair:
    """Return how far the rig at the place *against* lies from that at *base*."""
    sides = [on_rigs[place].values for place in (base, against)]
    if min(map(min, sides)) <= 0.0:
        return Pair(base=base, against=against, share=None, low=None, high=None)
    evidence = two_samples(*([math.log(value) for value in side] for side in sides))
    low = high = None
    if evidence.se is not None:
        reach = evidence.se * t_quantile(0.5 + _CONFIDENCE / 2.0, df=evidence.df)
        low, high = (fraction(evidence.log_ratio + sign * reach) for sign in (-1.0, 1.0))
    share = fraction(evidence.log_ratio)
    return Pair(base=base, against=against, share=share, low=low, high=high)


def no_ratio(on_rigs: Sequence[OnRig], figure: Figure, *, pairs: bool) -> tuple[str, ...]:
    """Return the values that are not above 0 where that matters: for ratios, or beside others.

    Args:
        on_rigs: A cell on its rigs.
        figure: The figure.
        pairs: Whether ratios are wanted.
    """
    odd = [
        (one.side, attempt, value)
        for one in on_rigs
        for attempt, value in zip(one.attempts, one.values, strict=True)
        if value <= 0.0
    ]
    if not (pairs and len(on_rigs) > 1) and len(odd) == sum(len(one.values) for one in on_rigs):
        return ()
    return tuple(
        f"{side.rig}: {value:g} {figure.unit}".rstrip()
        + f" in attempt {attempt} of run {side.run} is not above 0"
        for side, attempt, value in odd
    )
