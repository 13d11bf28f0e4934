"""How well one pass fixes its own figure: frame times are not independent of each other.

Pure. Frame times follow their neighbours, so that n of them are worth fewer. Two answers:

- the effective number, n / (1 + 2 sum (1 - k/n) r_k) over the autocorrelations r_k, summed while
  pairs of neighbours stay positive (C. J. Geyer, Practical Markov Chain Monte Carlo, Statistical
  Science 7 (1992) 473-483, initial positive sequence);
- an interval by bootstrap of circular blocks (D. N. Politis, J. P. Romano, A Circular
  Block-Resampling Procedure for Stationary Data, in Exploring the Limits of Bootstrap, Wiley 1992),
  their length chosen from the data (D. N. Politis, H. White, Automatic Block-Length Selection for
  the Dependent Bootstrap, Econometric Reviews 23 (2004) 53-70, with the correction of A. Patton,
  D. N. Politis, H. White, Econometric Reviews 28 (2009) 372-375).

Such an interval says how this pass would vary by its frames alone. It is no interval of the cell:
passes differ by more than that, and only further passes tell by how much.

numpy is imported when a function is called.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

CONFIDENCE = 0.95
REPLICATES = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class WithinPass:
    """An interval of one figure of one pass.

    Args:
        value: The figure over the whole pass.
        low: Lower end of the interval.
        high: Upper end.
        confidence: Of the interval, as a fraction.
        block: Frames in one block of the bootstrap.
        replicates: How many were drawn.
    """

    value: float
    low: float
    high: float
    confidence: float
    block: int
    replicates: int


def effective_size(values: Sequence[float]) -> float:
    """Return how many independent values *values* are worth.

    Never more than there are, but for values that alternate around their mean.

    Raises:
        ValueError: fewer than four values.
    """
    correlations = autocorrelations(values)
    n = len(correlations)
    total = -1.0
    for k in range(0, n - 1, 2):
        pair = (1 - k / n) * float(correlations[k]) + (1 - (k + 1) / n) * float(correlations[k + 1])
        if pair <= 0.0:
            break
        total += 2.0 * pair
    return n / max(1.0 / n, total)


def autocorrelations(values: Sequence[float]) -> Numbers:
    """Return r_0 = 1, r_1, … of *values*, all of them by one Fourier transform.

    r_k is the sum of products k apart, about the mean of all, over the sum of squares.

    Raises:
        ValueError: fewer than four values.
    """
    import numpy as np

    data = np.asarray(values, dtype=np.float64)
    if data.ndim != 1 or len(data) < 4:
        raise ValueError(f"autocorrelations need at least 4 values, not {data.size}")
    away = data - data.mean()
    length = 1 << (2 * len(data) - 1).bit_length()
    power = np.abs(np.fft.rfft(away, length)) ** 2
    covariances: Numbers = np.fft.irfft(power, length)[: len(data)]
    whole = float(covariances[0])
    if whole <= np.finfo(np.float64).tiny:
        return np.concatenate([np.ones(1), np.zeros(len(data) - 1)])
    covariances /= whole
    return covariances


def block_length(values: Sequence[float]) -> int:
    """Return the length of circular blocks that fits how *values* follow each other."""
    correlations = autocorrelations(values)
    n = len(correlations)
    # The first lag after which so many correlations in a row are no more than chance.
    row = max(5, math.ceil(math.sqrt(math.log10(n))))
    chance = 2.0 * math.sqrt(math.log10(n) / n)
    most = min(n - 1, math.ceil(math.sqrt(n)) + row)
    run, last = 0, 0
    for k in range(1, most + 1):
        if abs(float(correlations[k])) < chance:
            run += 1
            if run == row:
                break
        else:
            run, last = 0, k
    reach = min(2 * max(1, last), most)
    g = slope = 0.0
    for k in range(-reach, reach + 1):
        share = abs(k) / reach
        weight = 1.0 if share <= 0.5 else 2.0 * (1.0 - share)  # the flat-top window
        g += weight * float(correlations[abs(k)])
        slope += weight * abs(k) * float(correlations[abs(k)])
    if g <= 0.0:
        return 1
    length = math.pow(2.0 * slope * slope / (4.0 / 3.0 * g * g) * n, 1.0 / 3.0)
    longest = math.ceil(min(3.0 * math.sqrt(n), n / 3.0))
    return max(1, min(longest, math.ceil(length)))


def within_pass(
    values: Sequence[float],
    figure: Callable[[Numbers], Numbers],
    *,
    seed: int,
    block: int | None = None,
    replicates: int = REPLICATES,
    confidence: float = CONFIDENCE,
) -> WithinPass:
    """Return one figure of a pass with an interval by circular blocks, the same for one seed.

    Args:
        values: Frame times in order, milliseconds; at least four.
        figure: Given rows of frame times, returns the figure of each row.
        seed: Of the draws.
        block: Frames in a block; None: chosen from the data.
        replicates: How many times the pass is drawn again.
        confidence: Of the interval: the middle of what was drawn (percentile interval).
    """
    import numpy as np

    data = np.asarray(values, dtype=np.float64)
    length = block if block is not None else block_length(data)  # type: ignore[arg-type]
    n = len(data)
    blocks = -(-n // length)
    chance = np.random.default_rng(seed)
    steps = np.arange(length)
    drawn: list[Numbers] = []
    at_once = max(1, 2_000_000 // n)
    for begin in range(0, replicates, at_once):
        rows = min(at_once, replicates - begin)
        starts = chance.integers(0, n, size=(rows, blocks, 1))
        places = ((starts + steps) % n).reshape(rows, -1)[:, :n]
        drawn.append(figure(data[places]))
    tail = 0.5 - 0.5 * confidence
    low, high = np.quantile(np.concatenate(drawn), [tail, 1.0 - tail])
    return WithinPass(
        value=float(figure(data[np.newaxis, :])[0]),
        low=float(low),
        high=float(high),
        confidence=confidence,
        block=length,
        replicates=replicates,
    )


def average_fps(frame_ms: Numbers) -> Numbers:
    """Return frames over total time of each row of frame times."""
    rates: Numbers = 1000.0 / frame_ms.mean(axis=-1)
    return rates


def low_1pct_fps(frame_ms: Numbers) -> Numbers:
    """Return the rate at the 99th percentile of frame time (type 7) of each row."""
    import numpy as np

    rates: Numbers = 1000.0 / np.quantile(frame_ms, 0.99, axis=-1)
    return rates
