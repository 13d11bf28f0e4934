"""Variance shared by the rows of a title: what it costs the row that is noisier than the others.

Several ways stand side by side: the one that ``harness compare --pool-spread`` takes, and those
that it does not, with what is wrong with them. The moderated variance is that of G. K. Smyth,
Statistical Applications in Genetics and Molecular Biology 3 (2004) 3, with the moments of the
logarithms of the variances, over rows.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from harness.summary.evidence import NOISIER_BELOW, POOL_ABOVE, pool, two_samples
from promises.line import Chance, Line, share_line

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

NOISE = 0.01
UPPER = 0.975

#: Level of Bartlett's test alone, as it is often taken.
ALONE = 0.20


def _patterns(rows: int) -> dict[str, list[float]]:
    """Return the spreads of so many rows, base and against in turn, the noisiest first."""
    others = [1.0] * (2 * rows)
    return {
        "equal spreads": others,
        "half of the rows 1.5 times as noisy": ([1.5, 1.5, 1.0, 1.0] * rows)[: 2 * rows],
        "one row twice as noisy": [2.0, 2.0, *others[2:]],
        "one side of one row twice as noisy": [2.0, *others[1:]],
        "one row three times as noisy": [3.0, 3.0, *others[2:]],
    }


def pooling(chance: Chance) -> Iterator[Line]:
    """Rows of three and five passes: the interval of all rows and of the worst."""
    samples = chance.samples(20_000, least=400)
    for passes in (3, 5):
        for rows in (4, 12):
            for name, sizes in _patterns(rows).items():
                noise = (
                    NOISE
                    * np.array(sizes)[:, None]
                    * chance.rng.standard_normal((samples, 2 * rows, passes))
                )
                yield from _lines(f"{rows} rows of {passes} passes, {name}", noise)


def _lines(head: str, noise: Floats) -> Iterator[Line]:
    passes, samples = noise.shape[2], len(noise)
    means, variances = noise.mean(axis=2), noise.var(axis=2, ddof=1)
    differences = np.abs(means[:, 1::2] - means[:, ::2])
    own = _welch(variances, passes)
    ways = _ways(noise, own)
    for way, (half, why) in ways.items():
        held = differences <= half
        worst = int(held.sum(axis=0).min())
        width = f"{np.median(half) / np.median(own):.2f} as wide as its own"
        note = f"{why}; " if why else f"all rows {100 * held.mean():.1f} %; "
        yield share_line(
            f"{head}: {way}, worst row", worst, samples, least=None if why else 94.0,
            note=note + width,
        )  # fmt: skip


def _ways(noise: Floats, own: Floats) -> dict[str, tuple[Floats, str]]:
    """Return half the interval of each row by each way, and why a way is not taken."""
    passes, count = noise.shape[2], noise.shape[1]
    df = passes - 1
    variances = noise.var(axis=2, ddof=1)
    common = variances.mean(axis=1)
    p = _bartlett(variances, df)
    of_row = 0.5 * (variances[:, ::2] + variances[:, 1::2])
    others = (count * common[:, None] - 2.0 * of_row) / (count - 2)
    noisier = stats.f.sf(of_row / others, 2 * df, (count - 2) * df) < NOISIER_BELOW
    allowed = (p >= POOL_ABOVE)[:, None] & ~noisier
    _same_as_package(noise[:8], allowed[:8])
    pooled = stats.t.ppf(UPPER, count * df) * np.sqrt(2.0 * common / passes)[:, None]
    moderated = _moderated(of_row, 2 * df, passes, most=count * df)
    return {
        "--pool-spread": (np.where(allowed, pooled, own), ""),
        "Bartlett at 20 % alone": (np.where((p >= ALONE)[:, None], pooled, own), "NOT TAKEN"),
        "moderated variance": (moderated, "NOT TAKEN"),
    }


def _bartlett(variances: Floats, df: int) -> Floats:
    """Return the p-value of Bartlett's test of each sample."""
    count = variances.shape[1]
    top = count * df * np.log(variances.mean(axis=1)) - df * np.log(variances).sum(axis=1)
    corrected = 1.0 + (count / df - 1.0 / (count * df)) / (3.0 * (count - 1))
    found: Floats = stats.chi2.sf(top / corrected, count - 1)
    return found


def _welch(variances: Floats, passes: int) -> Floats:
    parts = variances / passes
    total = parts[:, ::2] + parts[:, 1::2]
    df = (passes - 1) * total**2 / (parts[:, ::2] ** 2 + parts[:, 1::2] ** 2)
    half: Floats = stats.t.ppf(UPPER, df) * np.sqrt(total)
    return half


def _moderated(variances: Floats, df: int, passes: int, *, most: int) -> Floats:
    """Return half the interval by variances drawn towards what all rows have in common."""
    logs = np.log(variances)
    away = logs - special.digamma(df / 2) + np.log(df / 2)
    excess = away.var(axis=1, ddof=1) - special.polygamma(1, df / 2)
    # The inverse of the trigamma function, by its table: within a thousandth.
    halves = np.geomspace(1e-2, 1e4, 20_000)
    prior = 2.0 * np.interp(-excess, -special.polygamma(1, halves), halves)
    centre = np.exp(away.mean(axis=1) + special.digamma(prior / 2) - np.log(prior / 2))
    drawn = (prior * centre)[:, None] + df * variances
    found = drawn / (prior[:, None] + df)
    freedom = np.minimum(prior[:, None] + df, most)
    half: Floats = stats.t.ppf(UPPER, freedom) * np.sqrt(2.0 * found / passes)
    return half


def _same_as_package(noise: Floats, allowed: Flags) -> None:
    """Hold what was pooled here against the package's own."""
    for sample, expected in zip(noise, allowed, strict=True):
        rows = [
            two_samples(sample[n].tolist(), sample[n + 1].tolist())
            for n in range(0, len(sample), 2)
        ]
        assert [bool(row.pooled_over) for row in pool(rows)] == expected.tolist()


PROMISES = {"margins-pooling": pooling}
