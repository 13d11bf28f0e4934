"""Signs over the cells of a run: false alarms of trend and voids; and within one pass."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from harness.summary.following import following
from harness.summary.trends import ALPHA, pooled_trend
from harness.summary.voids import Balance, void_balance
from harness.summary.within_frames import frames_within
from harness.summary.within_pass import effective_size, within_pass
from promises.coverage import autocorrelated
from promises.line import Chance, Line, share_line

_Z_99 = float(stats.norm.ppf(0.99))


def trends(chance: Chance) -> Iterator[Line]:
    """The pooled trend test at 1 %: false alarms, and what heat soak of 0.3 % a pass it sees."""
    samples, passes = chance.samples(20_000), 5
    at = np.arange(passes, dtype=np.float64)
    away = at - at.mean()
    for cells, slope in ((1, 0.0), (12, 0.0), (40, 0.0), (1, -0.003), (12, -0.003), (40, -0.003)):
        noise = 0.01 * chance.rng.standard_normal((samples, cells, passes))
        logs = noise + at * math.log1p(slope)
        pairs = [(i, j) for i in range(passes) for j in range(i + 1, passes)]
        s = sum(np.sign(logs[:, :, j] - logs[:, :, i]).sum(axis=1) for i, j in pairs)
        variance = cells * passes * (passes - 1) * (2 * passes + 5) / 18.0
        there = np.abs(s - np.sign(s)) / math.sqrt(variance) > stats.norm.isf(0.5 * ALPHA)
        df = cells * (passes - 1) - 1
        xx = cells * float(away @ away)
        found = (logs @ away).sum(axis=1) / xx
        rest = logs - logs.mean(axis=2, keepdims=True) - found[:, np.newaxis, np.newaxis] * away
        error = np.sqrt((rest**2).sum(axis=(1, 2)) / df / xx)
        held = np.abs(found - math.log1p(slope)) <= stats.t.ppf(0.975, df) * error
        _same_as_package(logs[:20], there[:20], found[:20])
        what = f"{cells} cell{'s' if cells > 1 else ''} of 5 passes, noise 1 %"
        hits = int(there.sum())
        if slope:
            name = f"{what}, {100 * slope:g} % a pass: seen"
            yield share_line(name, hits, samples, note="power, not promised")
        else:
            yield share_line(f"{what}: false alarm", hits, samples, most=100.0 * ALPHA)
        name = f"{what}, {100 * slope:g} % a pass: slope's interval"
        yield share_line(name, int(held.sum()), samples, least=94.0, most=96.0)


def _same_as_package(
    logs: NDArray[np.float64], there: NDArray[np.bool_], slopes: NDArray[np.float64]
) -> None:
    """Hold what was worked out here against the package's own."""
    for rows, flagged, slope in zip(logs, there.tolist(), slopes.tolist(), strict=True):
        trend = pooled_trend(list(enumerate(np.exp(row).tolist())) for row in rows)
        assert trend is not None
        assert trend.slope is not None
        assert trend.there == flagged
        assert abs(trend.slope - math.expm1(slope)) < 1e-9


def following_passes(chance: Chance) -> Iterator[Line]:
    """Likeness of neighbours at 1 %: false alarms, and correlations that it sees."""
    samples, passes = chance.samples(2000), 5
    for cells, r in ((4, 0.0), (12, 0.0), (40, 0.0), (12, 0.3), (40, 0.3), (40, 0.1)):
        noise = autocorrelated(r)(chance, samples * cells, passes)
        hits = 0
        for run in noise.reshape(samples, cells, passes).tolist():
            found = following(run)
            hits += found is not None and found.there
        what = f"{cells} cells of 5 passes"
        if r:
            name = f"{what}, correlation {r:g}: seen"
            yield share_line(name, hits, samples, note="power, not promised")
        else:
            # A normal distribution stands for the sum of few quotients.
            yield share_line(f"{what}: false alarm", hits, samples, most=150.0 * ALPHA)


def voids(chance: Chance) -> Iterator[Line]:
    """Voids by level at 5 %: false alarms where all levels lose one pass in eight."""
    samples = chance.samples(4000)
    for levels, each in ((2, 40), (4, 40), (2, 200)):
        made = chance.rng.binomial(each, 0.125, size=(samples, levels))
        hits = 0
        for row in made.tolist():
            found = void_balance("x", {str(at): (void, each) for at, void in enumerate(row)})
            hits += any(level.balance in (Balance.MORE, Balance.FEWER) for level in found)
        yield share_line(f"{levels} levels of {each} passes: false alarm", hits, samples, most=5.0)


def within(chance: Chance) -> Iterator[Line]:
    """Frame times that follow their neighbours: coverage of the block bootstrap's interval."""
    samples, n = chance.samples(400, least=40), 2000
    for r, least in ((0.0, 93.0), (0.5, 92.0), (0.9, None)):
        hits, plain = 0, 0
        for at, values in enumerate(16.0 + autocorrelated(r)(chance, samples, n)):
            frames = values.tolist()
            found = within_pass(frames, lambda rows: rows.mean(axis=-1), seed=at, replicates=200)
            hits += found.low <= 16.0 <= found.high
            size = effective_size(frames)
            plain += bool(abs(values.mean() - 16.0) <= 1.96 * values.std() / math.sqrt(size))
        note = "" if least is not None else "some points short: few blocks in so short a pass"
        name = f"2000 frames, correlation {r:g}: block bootstrap"
        yield share_line(name, hits, samples, least=least, note=note)
        name = f"2000 frames, correlation {r:g}: effective number"
        yield share_line(name, plain, samples, least=92.0)


def frames(chance: Chance) -> Iterator[Line]:
    """Frame times of a first-order autoregression: how often what is shown holds the truth."""
    samples = chance.samples(60, least=10)
    for n, r in ((3600, 0.5), (6000, 0.9), (20_000, 0.9)):
        shown = {"average": [0, 0], "1 % low": [0, 0]}
        # Logarithms are normal with a spread of 20 %: mean and percentile are known.
        truth = {
            "average": 1000.0 / (16.0 * math.exp(0.2**2 / 2.0)),
            "1 % low": 1000.0 / (16.0 * math.exp(0.2 * _Z_99)),
        }
        for noise in autocorrelated(r)(chance, samples, n):
            times = 16.0 * np.exp(0.2 * noise)
            found = frames_within(times.tolist(), of=n)
            assert found is not None
            assert found.low is not None
            for name, each, holds in (
                ("average", found.average, found.average_holds),
                ("1 % low", found.low, found.low_holds),
            ):
                if holds:
                    shown[name][0] += 1
                    shown[name][1] += each.low <= truth[name] <= each.high
        for name, (told, hits) in shown.items():
            head = f"{n} frames, correlation {r:g}: {name}"
            if told < samples / 2:
                yield share_line(f"{head}, no interval", samples - told, samples)
            else:
                yield share_line(f"{head}, interval holds it", hits, told, least=91.0)


PROMISES = {
    "trends": trends,
    "passes-follow": following_passes,
    "voids": voids,
    "within-pass": within,
    "within-frames": frames,
}
