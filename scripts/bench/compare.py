"""Figure 24: a thousand cells compared, against scipy's own Welch call and its bootstrap.

Touches the clock. Five passes a side for the intervals and the words, eight for the bootstrap,
which takes no fewer. The sides of each ratio answer the same question: scipy's call takes the
logarithms and gives the test and one interval; ours gives two intervals, three families of
p-values corrected after Holm, and the words.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import stats

from bench.pairs import Line, ratio

CELLS = 1000
PASSES = 5
RESAMPLED_PASSES = 8
LOOP_CELLS = 100  # of scipy's loop: a tenth of it, timed and taken ten times


def _sides(passes: int) -> tuple[np.ndarray, np.ndarray]:
    chance = np.random.default_rng(11)
    rates = chance.uniform(40.0, 240.0, (CELLS, 1))
    margins = np.exp(chance.normal(0.0, 0.04, (CELLS, 1)))
    noise = np.exp(chance.normal(0.0, 0.01, (2, CELLS, passes)))
    return rates * noise[0], rates * margins * noise[1]


def thousand_cells() -> Iterator[Line]:
    """Measure the intervals and words, then the bootstrap."""
    from harness.summary.many_margins import margins, welch

    base, against = _sides(PASSES)

    def call() -> None:
        found = stats.ttest_ind(np.log(against), np.log(base), axis=1, equal_var=False)
        found.confidence_interval(0.95)

    yield ratio(
        f"{CELLS} margins with words / scipy's Welch call",
        lambda: _drop(margins(welch(base, against), band=0.03)),
        call,
        21,
        limit=2.0,
    )
    yield _rows_line(base, against, arrays=True)
    yield _rows_line(base, against, arrays=False)
    yield _bootstrap_line()


def _rows_line(base: np.ndarray, against: np.ndarray, *, arrays: bool) -> Line:
    """Measure a comparison's own ways, from passes cell by cell: shown, no figure to reach.

    Below ``MANY_ROWS`` a comparison takes the standard library, since importing scipy takes
    longer than arrays then save.
    """
    from harness.plan.document import Better
    from harness.summary.evidence import two_samples
    from harness.summary.many_margins import of_rows
    from harness.summary.margins import margins

    way = of_rows if arrays else margins

    def rows() -> None:
        logs = zip(np.log(base).tolist(), np.log(against).tolist(), strict=True)
        evidence = [two_samples(one, other) for one, other in logs]
        way(evidence, band=0.03, better=[Better.HIGHER] * len(evidence))

    def call() -> None:
        found = stats.ttest_ind(np.log(against), np.log(base), axis=1, equal_var=False)
        found.confidence_interval(0.95)

    how = "on arrays" if arrays else "standard library alone"
    return ratio(f"{CELLS} margins cell by cell, {how} / the same call", rows, call)


def _bootstrap_line() -> Line:
    from harness.summary.resampling import RESAMPLES, bca

    base, against = (np.log(side) for side in _sides(RESAMPLED_PASSES))

    def loop() -> float:
        import time

        began = time.perf_counter()
        for one, other in zip(base[:LOOP_CELLS], against[:LOOP_CELLS], strict=True):
            stats.bootstrap(
                (other, one),
                lambda a, b, axis: a.mean(axis=axis) - b.mean(axis=axis),
                n_resamples=RESAMPLES,
                method="BCa",
                vectorized=True,
                rng=np.random.default_rng(11),
            )
        return (time.perf_counter() - began) * CELLS / LOOP_CELLS

    return ratio(
        f"bootstrap of {CELLS} margins / scipy's loop",
        lambda: _drop(bca(base, against, chance=np.random.default_rng(11))),
        loop,
        limit=0.1,
        note=f"the loop is timed over {LOOP_CELLS} cells",
    )


def _drop(_: object) -> None:
    """Let go of a result."""


FIGURES = {24: thousand_cells}
