"""Simulate the critical values that no formula gives: ``python scripts/critical_values.py``.

Prints the tables of ``harness/rules/critical_values.py`` as they stand there. Takes a quarter of
an hour; the seed is fixed, so that the same numpy gives the same digits.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

SIZES = (*range(4, 31), 40, 60, 100, 200, 500, 1000)
LEVELS = (0.10, 0.05, 0.01)
SEED = 20261125
MOST_AT_ONCE = 4_000_000  #: values in memory at once


def modified_z(values: Samples) -> Samples:
    """Return the largest modified z score of each row (Iglewicz & Hoaglin 1993)."""
    away = np.abs(values - np.median(values, axis=1, keepdims=True))
    scale: Samples = np.median(away, axis=1)
    furthest: Samples = 0.6745 * away.max(axis=1)
    return furthest / scale


def tukey(values: Samples) -> Samples:
    """Return how far each row goes beyond a quartile (type 7), in quartile distances."""
    low, high = np.quantile(values, [0.25, 0.75], axis=1)
    beyond: Samples = np.maximum(low - values.min(axis=1), values.max(axis=1) - high)
    scale: Samples = high - low
    return beyond / scale


def two_levels(values: Samples) -> Samples:
    """Return the largest quotient of squares between and within two levels of each row."""
    ordered = np.sort(values, axis=1)
    n = ordered.shape[1]
    ordered = ordered - ordered.mean(axis=1, keepdims=True)
    sums, whole = np.cumsum(ordered, axis=1), (ordered**2).sum(axis=1)
    between = np.zeros(len(ordered))
    least = max(2, -(-n // 4))
    for low in range(least, n - least + 1):
        np.maximum(between, sums[:, low - 1] ** 2 * (1.0 / low + 1.0 / (n - low)), out=between)
    quotient: Samples = between / (whole - between)
    return quotient


#: Name of the table -> its statistic, and how many samples of each size up to 30.
STATISTICS: dict[str, tuple[Callable[[Samples], Samples], int]] = {
    "MODIFIED_Z": (modified_z, 4_000_000),
    "TUKEY": (tukey, 1_000_000),
    "TWO_LEVELS": (two_levels, 1_000_000),
}


def critical(
    statistic: Callable[[Samples], Samples], *, n: int, samples: int, seed: Any
) -> list[float]:
    """Return the critical values of *n* normal values for every level, by simulation."""
    chance = np.random.default_rng(seed)
    at_once = max(1, MOST_AT_ONCE // n)
    made, found = 0, []
    while made < samples:
        rows = min(at_once, samples - made)
        found.append(statistic(chance.standard_normal((rows, n))))
        made += rows
    return [float(q) for q in np.quantile(np.concatenate(found), [1.0 - a for a in LEVELS])]


def main() -> None:
    """Print the tables asked for, or all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="*", metavar="TABLE", help=f"{', '.join(STATISTICS)}")
    parser.add_argument("--share", type=float, default=1.0, help="of the samples")
    args = parser.parse_args()
    for name in args.tables or STATISTICS:
        statistic, samples = STATISTICS[name]
        print(f"{name}: Mapping[int, tuple[float, float, float]] = {{")
        for n in SIZES:
            few = max(1000, round(args.share * samples * 30 / max(n, 30)))
            found = critical(statistic, n=n, samples=few, seed=(SEED, n))
            print(f"    {n}: ({', '.join(f'{each:.4g}' for each in found)}),", flush=True)
        print("}")


if __name__ == "__main__":
    main()
