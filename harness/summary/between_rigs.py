"""Values of one cell on several rigs: repeatability, reproducibility, and who stands out.

Pure. After ISO 5725-2:1994, 7.4: the repeatability variance s_r^2 is the pooled variance within
rigs, the variance between rigs s_L^2 = max(0, (s_d^2 - s_r^2) / n0), the reproducibility variance
s_R^2 = s_r^2 + s_L^2; two single passes differ by more than r = 2.8 s_r on one rig, R = 2.8 s_R on
two, in one of twenty. How well so few rigs fix them says ISO 5725-1:1994, 6.3.2 (from memory;
95 %): s_r within 1.96 sqrt(1 / (2 p (n - 1))) of itself, s_R within
1.96 sqrt((p (1 + n (g^2 - 1))^2 + (n - 1)(p - 1)) / (2 g^4 n^2 (p - 1) p)), g = s_R / s_r.

They are given from six rigs on, as ASTM E691 asks (from memory; ISO 5725-1 speaks of 8 to 15).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from harness.summary.consistency import (
    Consistency,
    Standing,
    cochran,
    grubbs_one,
    grubbs_two,
    mandel_h,
    mandel_k,
)
from harness.summary.one_way import Group, OneWay, one_way

#: Fewer rigs than this have differences, and no repeatability and reproducibility.
LEAST_RIGS = 6

#: Factor of a limit: 1.96 sqrt 2, as the standard rounds it.
LIMIT = 2.8

_Z = 1.96


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """Repeatability and reproducibility, in the figure's unit.

    Args:
        analysis: What they follow from.
        sd_r: Within one rig; ``sd_rigs`` between rigs, ``sd_big_r`` both together.
        sd_rigs: See above.
        sd_big_r: See above.
        known_r: How far ``sd_r`` may be off, as a share of itself, 95 %.
        known_big_r: The same of ``sd_big_r``; None where ``sd_r`` is 0.
    """

    analysis: OneWay
    sd_r: float
    sd_rigs: float
    sd_big_r: float
    known_r: float
    known_big_r: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Between:
    """What several rigs say together, by their place.

    Args:
        spreads: Over all rigs.
        usual_n: The number of values that most rigs have.
        h: Mandel's h of each rig; None: their means are all equal.
        k: Mandel's k of each; None of a rig with one value.
        tests: Over all rigs. Grubbs' for two is asked only where that for one finds no outlier:
            beside an outlier it would take its neighbour for another.
        outliers: (place, test) of the rigs that are outliers, one after the other.
        without: Without them; None where there are none, or too few rigs are left.
    """

    spreads: Spreads
    usual_n: int
    h: tuple[float, ...] | None
    k: tuple[float | None, ...]
    tests: tuple[Consistency, ...]
    outliers: tuple[tuple[int, str], ...]
    without: Spreads | None


def between(groups: Sequence[Group]) -> Between | None:
    """Return what *groups*, one of each rig, say; None where nothing repeats within a rig.

    Raises:
        ValueError: There are fewer than the least number of rigs.
    """
    if len(groups) < LEAST_RIGS:
        raise ValueError(f"{len(groups)} rigs have differences only")
    found = spreads(groups)
    if found is None:
        return None
    outliers = _outliers(groups)
    gone = {place for place, _ in outliers}
    left = [each for place, each in enumerate(groups) if place not in gone]
    several = [place for place, each in enumerate(groups) if each.n > 1]
    k = mandel_k([_variance(groups[place]) for place in several])
    k_of = dict(zip(several, k, strict=True)) if k is not None else {}
    return Between(
        spreads=found,
        usual_n=_usual_n(groups),
        h=mandel_h([each.mean for each in groups]),
        k=tuple(k_of.get(place) for place in range(len(groups))),
        tests=_asked(_tests(groups)),
        outliers=outliers,
        without=spreads(left) if gone and len(left) >= LEAST_RIGS else None,
    )


def spreads(groups: Sequence[Group]) -> Spreads | None:
    """Return repeatability and reproducibility; None where nothing repeats within a group."""
    analysis = one_way(groups)
    within, among = analysis.sd_within, analysis.sd_between
    if within is None or among is None:
        return None
    both = math.hypot(within, among)
    p, n = len(groups), analysis.n0
    known_r = _Z * math.sqrt(1.0 / (2.0 * analysis.df_within))
    known_big_r = None
    if within > 0.0:
        square = (both / within) ** 2
        top = p * (1.0 + n * (square - 1.0)) ** 2 + (n - 1.0) * (p - 1)
        known_big_r = _Z * math.sqrt(top / (2.0 * square**2 * n**2 * (p - 1) * p))
    return Spreads(
        analysis=analysis,
        sd_r=within,
        sd_rigs=among,
        sd_big_r=both,
        known_r=known_r,
        known_big_r=known_big_r,
    )


def _tests(groups: Sequence[Group]) -> list[Consistency | None]:
    """Return Cochran's and both of Grubbs' tests, their places those of *groups*."""
    alike = [place for place, each in enumerate(groups) if each.n == _usual_n(groups)]
    largest = cochran([_variance(groups[place]) for place in alike], n=_usual_n(groups))
    means = [each.mean for each in groups]
    one, two = grubbs_one(means), grubbs_two(means)
    return [_placed(largest, alike), one, two]


def _asked(tests: Sequence[Consistency | None]) -> tuple[Consistency, ...]:
    largest, one, two = tests
    if one is not None and one.standing is Standing.OUTLIER:
        two = None
    return tuple(each for each in (largest, one, two) if each is not None)


def _placed(test: Consistency | None, places: Sequence[int]) -> Consistency | None:
    if test is None:
        return None
    return replace(test, places=tuple(places[each] for each in test.places))


def _outliers(groups: Sequence[Group]) -> tuple[tuple[int, str], ...]:
    """Return the rigs that one test after the other calls outliers.

    As the standard has it: first Cochran's test again and again, then Grubbs' for one; for two
    only where that finds none. Never are fewer than three rigs left to be tested.
    """
    left = list(range(len(groups)))
    found: list[tuple[int, str]] = []
    for which in (0, 1):
        while len(left) > 3:
            test = _tests([groups[place] for place in left])[which]
            if test is None or test.standing is not Standing.OUTLIER:
                break
            found.append((left.pop(test.places[0]), test.name))
    two = _tests([groups[place] for place in left])[2]
    if (
        two is not None
        and two.standing is Standing.OUTLIER
        and not any(name == "Grubbs" for _, name in found)
    ):
        found += [(left[place], two.name) for place in two.places]
    return tuple(found)


def _usual_n(groups: Sequence[Group]) -> int:
    counts = [each.n for each in groups]
    return max(sorted(set(counts), reverse=True), key=counts.count)


def _variance(each: Group) -> float:
    return each.squares / (each.n - 1) if each.n > 1 else 0.0
