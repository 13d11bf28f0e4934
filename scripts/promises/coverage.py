"""Intervals of a cell's mean: how often they hold the true mean, through the whole procedure.

The procedure: passes are measured, some are void and replaced, a rule may discard one, which is
replaced, and the interval is Student's t over what was kept. The true mean is that of the noise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from harness.rules.looks import ALPHA
from promises import statistics as looks
from promises.line import Chance, Line, share_line

Cells = NDArray[np.float64]
Noise = Callable[[Chance, int, int], Cells]

SIZES = (3, 4, 5, 6, 8, 10, 15, 20)
SPREADS = (0.002, 0.01, 0.02, 0.03)
NOMINAL = 95.0
WITHIN = 1.0  #: points of the nominal coverage


def normal(chance: Chance, samples: int, n: int) -> Cells:
    """Return rows of independent normal noise with standard deviation 1."""
    return chance.rng.standard_normal((samples, n))


def skewed(chance: Chance, samples: int, n: int) -> Cells:
    """Return rows of noise with a long slow tail: gamma of shape 4, skewness 1, low side long."""
    return (4.0 - chance.rng.gamma(4.0, size=(samples, n))) / 2.0


def autocorrelated(r: float) -> Noise:
    """Return noise in which each pass follows the one before with correlation *r*."""

    def noise(chance: Chance, samples: int, n: int) -> Cells:
        steps = chance.rng.standard_normal((samples, n))
        made = np.empty_like(steps)
        made[:, 0] = steps[:, 0]
        for at in range(1, n):
            made[:, at] = r * made[:, at - 1] + np.sqrt(1.0 - r * r) * steps[:, at]
        return made

    return noise


def covered(cells: Cells, *, truth: float) -> int:
    """Return in how many rows Student's 95 % interval holds *truth*."""
    n = cells.shape[1]
    reach = stats.t.ppf(0.975, n - 1) * cells.std(axis=1, ddof=1) / np.sqrt(n)
    return int((np.abs(cells.mean(axis=1) - truth) <= reach).sum())


def kept_passes(
    chance: Chance,
    noise: Noise,
    look: Callable[[Cells], looks.Places] | None,
    *,
    samples: int,
    n: int,
    sd: float,
) -> Cells:
    """Return what is kept of each cell after voids, one discard at most, and replacements."""
    spare = n + 1
    drawn = 100.0 * (1.0 + sd * noise(chance, samples, spare + 3))
    # One pass in ten is void, whatever it measured: the next is taken in its place.
    void = chance.rng.random(drawn.shape) < 0.1
    order = np.argsort(void, axis=1, kind="stable")[:, :spare]
    passes: Cells = np.take_along_axis(drawn, order, axis=1)
    kept = passes[:, :n].copy()
    if look is not None:
        places = look(kept)
        rows = np.flatnonzero(places >= 0)
        kept[rows, places[rows]] = passes[rows, n]
    return kept


def whole_procedure(chance: Chance) -> Iterator[Line]:
    """Normal noise with voids; without a rule, with each rule at its default, and at 5 %."""
    samples = chance.samples(40_000)
    for n in SIZES:
        kept = kept_passes(chance, normal, None, samples=samples, n=n, sd=0.01)
        yield _line(f"no rule, {n} passes", kept)
    for alpha in (ALPHA, 0.05):
        for name, look in looks.LOOKS.items():
            for n in SIZES[3:]:
                at = partial(look, alpha=alpha)
                kept = kept_passes(chance, normal, at, samples=samples, n=n, sd=0.01)
                head = f"{name} at {100 * alpha:g} %, {n} passes"
                yield _line(head, kept, note="" if alpha == ALPHA else "why 1 % is the default")
    for sd in SPREADS:
        for n in (3, 5, 10, 20):
            kept = kept_passes(chance, normal, looks.spread, samples=samples, n=n, sd=sd)
            note = "" if sd <= 0.01 else "FAILS: more_than is within the noise"
            yield _line(f"spread 3 %, {n} passes, noise {100 * sd:g} %", kept, note=note)


def other_noise(chance: Chance) -> Iterator[Line]:
    """Skewed noise, and passes that follow each other: where the interval fails."""
    samples = chance.samples(40_000)
    for n in (3, 5, 10, 20):
        kept = kept_passes(chance, skewed, None, samples=samples, n=n, sd=0.01)
        hits = covered(kept, truth=100.0)
        name = f"skewed noise (skewness 1), {n} passes"
        yield share_line(name, hits, samples, least=93.0, note="some points too few")
    for r in (0.1, 0.3, 0.5):
        for n in (5, 20):
            kept = kept_passes(chance, autocorrelated(r), None, samples=samples, n=n, sd=0.01)
            hits = covered(kept, truth=100.0)
            note = "FAILS: passes that follow each other are worth fewer; interleave by rounds"
            yield share_line(
                f"correlation {r:g} from pass to pass, {n} passes", hits, samples, note=note
            )


def visits(chance: Chance) -> Iterator[Line]:
    """Hardware changed by hand: each visit has an error of its own, as large as the noise."""
    samples = chance.samples(40_000)
    for count in (3, 4, 6):
        own = chance.rng.standard_normal((samples, count, 1))
        passes = 100.0 + own + chance.rng.standard_normal((samples, count, 4))
        means = passes.mean(axis=2)
        yield _line(f"{count} visits of 4 passes, the visit as unit", means)
        hits = covered(passes.reshape(samples, -1), truth=100.0)
        name = f"{count} visits of 4 passes, the pass as unit"
        yield share_line(name, hits, samples, note="FAILS: why the visit is the unit")


def _line(name: str, kept: Cells, *, note: str = "") -> Line:
    """Return a line on coverage; one with a note promises nothing."""
    hits = covered(kept, truth=100.0)
    if note:
        return share_line(name, hits, len(kept), note=note)
    return share_line(name, hits, len(kept), least=NOMINAL - WITHIN, most=NOMINAL + WITHIN)


PROMISES = {
    "coverage": whole_procedure,
    "coverage-other-noise": other_noise,
    "coverage-visits": visits,
}
