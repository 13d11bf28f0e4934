"""A cell that is unlike its own history: a step that no change of the rig may explain.

Pure. Nothing is discarded for it and no figure moves; it becomes a flag, and a line below the
results (``unlike-history/1``, ours).

Each earlier run, and each fingerprint in it, gives one value: the mean of the logarithms of its
kept passes. One further value is expected within

    mean +- t(99.5 %, k - 1) * s * sqrt(1 + 1 / k)

of the k earlier ones, the two-sided 99 % prediction interval for one further observation from
the same normal distribution (NIST/SEMATECH e-Handbook of Statistical Methods has the interval of
a mean in 1.3.5.2; the 1 under the root is the further observation's own spread; from memory). A
step smaller than the plan's band is never flagged. Fewer than three earlier values do not tell
how runs spread: then three bands are allowed (common practice, no source).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from harness.plan.document import Plan
from harness.plan.main_figure import enough_figure
from harness.rules.student import t_quantile
from harness.summary.cells import CellSummary
from harness.summary.from_logs import ratio

#: The cell's value lies where its own history does not expect it.
UNLIKE_HISTORY = "unlike-history"

_LEAST = 3  # values that tell how runs spread
_UPPER = 0.995
_BANDS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Unlike:
    """One cell's value beside those of earlier runs.

    Args:
        cell: The cell's key.
        group: The group of its passes.
        figure: The figure compared.
        unit: Its unit.
        value: Its mean now.
        usual: The geometric mean of the earlier values, same unit.
        low: From here, same unit, a value is like its history.
        high: Up to here.
        earlier: How many earlier values say so.
    """

    cell: str
    group: int
    figure: str
    unit: str
    value: float
    usual: float
    low: float
    high: float
    earlier: int

    @property
    def share(self) -> float:
        """Return how far the value lies from the usual one, as a fraction of that."""
        return self.value / self.usual - 1.0


def unlike_history(
    plan: Plan, cells: Iterable[CellSummary], history: Mapping[str, Sequence[Sequence[float]]]
) -> tuple[Unlike, ...]:
    """Return the cells that are unlike their history, in the order given.

    Args:
        plan: The plan, for its band and its titles' figures.
        cells: What was measured now.
        history: Cell key -> the values of kept passes in each earlier run and fingerprint, of
            the same figure.
    """
    figures = {(title.title, title.scene): enough_figure(plan, title) for title in plan.titles}
    found = []
    for cell in cells:
        means = [_log_mean(values) for values in history.get(cell.cell.key, ()) if _usable(values)]
        now = cell.figure(figures[cell.cell.title, cell.cell.scene])
        if not means or now is None or now.mean is None or now.mean <= 0.0 or cell.reused:
            continue
        usual, allowed = statistics.fmean(means), _allowed(means, plan.compare.band)
        if abs(math.log(now.mean) - usual) > allowed:
            found.append(
                Unlike(
                    cell=cell.cell.key,
                    group=cell.group,
                    figure=now.name,
                    unit=now.unit,
                    value=now.mean,
                    usual=math.exp(usual),
                    low=math.exp(usual - allowed),
                    high=ratio(usual + allowed),
                    earlier=len(means),
                )
            )
    return tuple(found)


def flagged(cells: Iterable[CellSummary], unlike: Iterable[Unlike]) -> tuple[CellSummary, ...]:
    """Return *cells*, those that are unlike their history with the flag that says so."""
    places = {(each.cell, each.group) for each in unlike}
    return tuple(
        replace(cell, flags=tuple(sorted({*cell.flags, UNLIKE_HISTORY})))
        if (cell.cell.key, cell.group) in places
        else cell
        for cell in cells
    )


def _usable(values: Sequence[float]) -> bool:
    return bool(values) and min(values) > 0.0


def _log_mean(values: Sequence[float]) -> float:
    return statistics.fmean(map(math.log, values))


def _allowed(means: Sequence[float], band: float) -> float:
    k = len(means)
    least = math.log1p(band)
    if k < _LEAST:
        return _BANDS * least
    spread = statistics.stdev(means) * math.sqrt(1.0 + 1.0 / k)
    return max(least, t_quantile(_UPPER, df=k - 1) * spread)
