"""Enough passes, fixed beforehand: the interval holds, and ends as narrow as was wanted."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy import stats

from harness.rules.enough import ASSURANCE, from_history, from_pilot
from promises.line import Chance, Line, share_line

NOISE = 0.01


def two_stages(chance: Chance) -> Iterator[Line]:
    """Stein's two stages, at most 40 passes: coverage, and cells that end wider than wanted."""
    samples = chance.samples(40_000)
    at_most = 40
    for pilot in (3, 5, 8):
        for half in (0.008, 0.012):
            drawn = 100.0 * (1.0 + NOISE * chance.rng.standard_normal((samples, at_most)))
            first = drawn[:, :pilot]
            spread = first.std(axis=1, ddof=1) / first.mean(axis=1)
            t = stats.t.ppf(0.975, pilot - 1)
            n = np.clip(np.ceil((t * spread / half) ** 2), pilot, at_most).astype(int)
            _same_as_package(first[:50], n[:50], half=half, at_most=at_most)
            sums = np.cumsum(drawn, axis=1)[np.arange(samples), n - 1]
            squares = np.cumsum((drawn - 100.0) ** 2, axis=1)[np.arange(samples), n - 1]
            mean = sums / n
            own = t * spread * mean / np.sqrt(n)
            sd = np.sqrt((squares - n * (mean - 100.0) ** 2) / (n - 1))
            usual = stats.t.ppf(0.975, n - 1) * sd / np.sqrt(n)
            head = f"pilot of {pilot}, ± {100 * half:g} % wanted, noise 1 %"
            hits = int((np.abs(mean - 100.0) <= own).sum())
            yield share_line(f"{head}: two-stage interval", hits, samples, least=94.0, most=96.0)
            hits = int((np.abs(mean - 100.0) <= usual).sum())
            yield share_line(
                f"{head}: usual interval",
                hits,
                samples,
                note="why it is not shown for two stages",
            )
            capped = n == at_most
            wide = own > half * mean * (1.0 + 1e-9)
            yield share_line(
                f"{head}: wider than wanted, not capped",
                int((wide & ~capped).sum()),
                samples,
                most=0.0,
                note=f"{n.mean():.1f} passes in the mean, {capped.mean():.0%} capped",
            )


def _same_as_package(first: object, n: object, *, half: float, at_most: int) -> None:
    """Hold the numbers worked out here against the package's own."""
    for row, passes in zip(np.asarray(first).tolist(), np.asarray(n).tolist(), strict=True):
        asked = from_pilot(row, half_width=half, keep=len(row), at_most=at_most)
        assert asked.passes == passes, (row, passes, asked)


def history(chance: Chance) -> Iterator[Line]:
    """N from pooled earlier spread: coverage, and cells that end as narrow as wanted."""
    samples = chance.samples(20_000)
    for df in (8, 30):
        for half in (0.008, 0.012):
            earlier = NOISE * np.sqrt(chance.rng.chisquare(df, samples) / df)
            # The number of passes follows the spread in steps: it is asked for on a grid.
            grid = np.quantile(earlier, np.linspace(0.02, 0.98, 25))
            asked = np.array(
                [
                    from_history(sd, df=df, half_width=half, keep=3, at_most=200).passes
                    for sd in grid
                ]
            )
            n = asked[np.abs(earlier[:, np.newaxis] - grid).argmin(axis=1)]
            held, narrow = 0, 0
            for passes in np.unique(n):
                rows = int((n == passes).sum())
                cells = 100.0 * (1.0 + NOISE * chance.rng.standard_normal((rows, passes)))
                mean, sd = cells.mean(axis=1), cells.std(axis=1, ddof=1)
                reach = stats.t.ppf(0.975, passes - 1) * sd / math.sqrt(passes)
                held += int((np.abs(mean - 100.0) <= reach).sum())
                narrow += int((reach <= half * mean).sum())
            head = f"history with {df} degrees of freedom, ± {100 * half:g} % wanted"
            yield share_line(f"{head}: interval", held, samples, least=94.0, most=96.0)
            yield share_line(
                f"{head}: as narrow as wanted",
                narrow,
                samples,
                least=100.0 * ASSURANCE - 1.0,
                note=f"{n.mean():.1f} passes in the mean",
            )


PROMISES = {"enough-two-stages": two_stages, "enough-history": history}
