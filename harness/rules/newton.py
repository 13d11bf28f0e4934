"""Newton's law of cooling, fitted to what was seen of a temperature, with an honest interval.

Pure. The law is T(t) = E + (T0 - E) exp(-t / tau), with E the temperature a part tends to
(OpenStax, Calculus Volume 1, section 6.8, writes k for 1 / tau).

**Fit.** The samples are gathered into points of equal count, each the median of its samples,
so that single wild readings do not count. For a given tau the law is a straight line in
1 - exp(-t / tau), which least squares solve exactly; tau is searched on a grid and refined.

**Uncertainty.** By the profile of the squares (Bates and Watts, Nonlinear Regression Analysis
and Its Applications, 1988, chapter 6, from memory): what may lie anywhere in the region of 99 %
is the interval of a temperature to come. So a curve of which only a straight piece was seen
promises nothing about its end. No point counts as better known than half a degree, however
well the law fits: sensors of whole degrees are common, and what such a step hides does not
average out.

**Poor fits.** Points that lie more than a degree off the law (root mean square) follow
another law, a fan or a load; nothing is said about them, and the wait goes on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from operator import mul
from typing import NamedTuple

from harness.rules.student import t_upper_quantile

#: What a sensor of whole degrees may hide, °C.
LEAST_ERROR_C = 0.5
#: A root mean square off the law above this is another law, °C.
POOR_C = 1.0
CONFIDENCE = 0.99
POINTS = 24
LEAST_POINTS = 8

#: The temperature constants that are tried, as multiples of the length that was seen.
_GRID = tuple(0.02 * 2500.0 ** (step / 40) for step in range(41))
_STEPS = 18  #: of the golden section: the time constant to some two parts in ten thousand
_EVEN = 1e-9
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
#: Two-sided at ``CONFIDENCE``, by the number of points; df is three fewer.
_T = {n: t_upper_quantile((1 - CONFIDENCE) / 2, df=n - 3) for n in range(LEAST_POINTS, POINTS + 1)}

Point = tuple[float, float]  #: seconds, °C
#: 1 - exp(-t / tau) at the points: its mean, what is about it, the sum of the squares of that.
_Column = tuple[float, list[float], float]


class _Line(NamedTuple):
    """The best law of one tau: a straight line in 1 - exp(-(t - t0) / tau).

    A named tuple, since a look at a wait makes some sixty of them.
    """

    t0: float
    tau_s: float
    mean_x: float
    mean_c: float
    slope_c: float
    spread_x: float  #: sum of squares of x about its mean
    squares: float  #: residual sum of squares, °C²
    points: int

    def at(self, t: float) -> float:
        return self.mean_c + self.slope_c * (self.x(t) - self.mean_x)

    def x(self, t: float) -> float:
        return -math.expm1(-(t - self.t0) / self.tau_s)

    def leverage(self, t: float) -> float:
        """Return the standard error at *t* of points known to 1 °C."""
        return math.sqrt(1 / self.points + (self.x(t) - self.mean_x) ** 2 / self.spread_x)


@dataclass(frozen=True, slots=True)
class Fit:
    """A law fitted to points, and every law that fits about as well."""

    first_s: float
    last_s: float
    best: _Line
    near: tuple[_Line, ...]
    allowed: float  #: residual sum of squares up to which a law is in the region, °C²

    @property
    def end_c(self) -> float:
        """Return the temperature that the best law tends to."""
        return self.best.mean_c + self.best.slope_c * (1.0 - self.best.mean_x)

    @property
    def tau_s(self) -> float:
        """Return the time constant of the best law."""
        return self.best.tau_s

    @property
    def rms_c(self) -> float:
        """Return how far the points lie off the best law, root mean square, °C."""
        return math.sqrt(self.best.squares / self.best.points)

    def at(self, t: float) -> float:
        """Return the temperature of the best law at *t*."""
        return self.best.at(t)

    def interval(self, t: float) -> tuple[float, float]:
        """Return the least and the greatest temperature at *t* of all laws in the region."""
        low, high = math.inf, -math.inf
        for line in self.near:
            reach = math.sqrt(self.allowed - line.squares) * line.leverage(t)
            middle = line.at(t)
            low, high = min(low, middle - reach), max(high, middle + reach)
        return low, high

    def reaches(self, edge_c: float) -> float | None:
        """Return when the best law is at *edge_c*, after the last point; None: never.

        t = tau ln((T0 - E) / (T - E)), counted from the last point.
        """
        span, left = self.at(self.last_s) - self.end_c, edge_c - self.end_c
        if span == 0 or left / span <= 0 or abs(left) > abs(span):
            return None
        return self.last_s + self.best.tau_s * math.log(span / left)


def fit(samples: Sequence[Point]) -> Fit | None:
    """Return Newton's law fitted to *samples*; None where they are too few or fit poorly.

    Args:
        samples: Seconds and °C, in order of time.
    """
    points = gathered(samples)
    return fitted(points, first_s=samples[0][0], last_s=samples[-1][0]) if points else None


def fitted(points: Sequence[Point], *, first_s: float, last_s: float) -> Fit | None:
    """Return the law fitted to *points*, of samples from *first_s* to *last_s*; None: poorly."""
    count = len(points)
    seen_s = points[-1][0] - points[0][0]
    if count < LEAST_POINTS or seen_s <= 0:
        return None
    law = _Law(points)
    lines = law.grid()
    place = min(range(len(lines)), key=lambda n: lines[n].squares)
    best = lines[place]
    if 0 < place < len(lines) - 1:
        best = min(best, law.between(lines[place - 1], lines[place + 1]), key=_squares)
    rms = math.sqrt(best.squares / (count - 3))
    if rms > POOR_C:
        return None
    allowed = best.squares + (max(rms, LEAST_ERROR_C) * _T[count]) ** 2
    near = tuple(line for line in (*lines, best) if line.squares <= allowed)
    return Fit(first_s, last_s, best, near, allowed)


def surely_reaches(points: Sequence[Point], edge_c: float, t: float, *, falling: bool) -> bool:
    """Return whether a law of the region is past *edge_c* at *t*, whatever the best law is.

    Told from the laws that are always tried: one that the region of a perfect fit holds is in
    the region of any fit. False leaves it open. The slowest law of the region goes furthest,
    so that an edge which is not out of reach costs a few lines instead of a fit.
    """
    if len(points) < LEAST_POINTS or points[-1][0] <= points[0][0]:
        return False
    allowed = (LEAST_ERROR_C * _T[len(points)]) ** 2
    for line in _Law(points).slowest_first():
        if line.squares <= allowed:
            reach = math.sqrt(allowed - line.squares) * line.leverage(t)
            if line.at(t) - reach <= edge_c if falling else line.at(t) + reach >= edge_c:
                return True
    return False


def gathered(samples: Sequence[Point]) -> list[Point]:
    """Return at most ``POINTS`` points: medians of neighbouring samples, equally many in each."""
    size, start = parts(len(samples))
    return [
        (_median([t for t, _ in part]), _median([c for _, c in part]))
        for part in (samples[n : n + size] for n in range(start, len(samples), size))
    ]


def parts(count: int) -> tuple[int, int]:
    """Return how many samples make a point, and how many of the oldest then make none."""
    size = max(1, -(-count // POINTS))
    return size, count % size


def _median(values: list[float]) -> float:
    values.sort()
    half = len(values) // 2
    return values[half] if len(values) % 2 else (values[half - 1] + values[half]) / 2


def _squares(line: _Line) -> float:
    return line.squares


class _Law:
    """The law for given points: one line for each time constant that is asked for."""

    def __init__(self, points: Sequence[Point]) -> None:
        self._t0, self._count = points[0][0], len(points)
        self._seen_s = points[-1][0] - self._t0
        self._into = [(t - self._t0) / self._seen_s for t, _ in points]
        self._mean_c = math.fsum([c for _, c in points]) / self._count
        self._about = [c - self._mean_c for _, c in points]
        self._whole = sum([c * c for c in self._about])

    def grid(self) -> list[_Line]:
        """Return the lines of the time constants that are always tried."""
        return [self._line(factor, c) for factor, c in zip(_GRID, self._columns(), strict=True)]

    def slowest_first(self) -> Iterator[_Line]:
        """Yield the same lines from the longest time constant to the shortest."""
        for factor, column in zip(reversed(_GRID), reversed(self._columns()), strict=True):
            yield self._line(factor, column)

    def _columns(self) -> list[_Column]:
        even = [n / (self._count - 1) for n in range(self._count)]
        if all(abs(a - b) < _EVEN for a, b in zip(self._into, even, strict=True)):
            return _even_columns(self._count)
        return [_column(self._into, factor) for factor in _GRID]

    def between(self, low: _Line, high: _Line) -> _Line:
        """Return the line with the least squares between two, by golden section."""
        a, b = math.log(low.tau_s / self._seen_s), math.log(high.tau_s / self._seen_s)
        left, right = b - _GOLDEN * (b - a), a + _GOLDEN * (b - a)
        at_left, at_right = self._at(left), self._at(right)
        for _ in range(_STEPS):
            if at_left.squares < at_right.squares:
                b, right, at_right = right, left, at_left
                left = b - _GOLDEN * (b - a)
                at_left = self._at(left)
            else:
                a, left, at_left = left, right, at_right
                right = a + _GOLDEN * (b - a)
                at_right = self._at(right)
        return min(at_left, at_right, key=_squares)

    def _at(self, log_factor: float) -> _Line:
        factor = math.exp(log_factor)
        return self._line(factor, _column(self._into, factor))

    def _line(self, factor: float, column: _Column) -> _Line:
        mean_x, about_x, spread = column
        both = sum(map(mul, about_x, self._about))
        return _Line(
            t0=self._t0,
            tau_s=factor * self._seen_s,
            mean_x=mean_x,
            mean_c=self._mean_c,
            slope_c=both / spread,
            spread_x=spread,
            squares=max(0.0, self._whole - both * both / spread),
            points=self._count,
        )


def _column(into: Sequence[float], factor: float) -> _Column:
    """Return the mean of 1 - exp(-u / factor) over *into*, what is about it, and its spread."""
    xs = [-math.expm1(-u / factor) for u in into]
    mean = math.fsum(xs) / len(xs)
    about = [x - mean for x in xs]
    return mean, about, sum([x * x for x in about])


@cache
def _even_columns(count: int) -> list[_Column]:
    """Return the columns of the grid for points at equal distances: the same in every wait."""
    even = [n / (count - 1) for n in range(count)]
    return [_column(even, factor) for factor in _GRID]
