"""Margins: wrong words at the edge of the band, coverage, power, drift, families."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from harness.summary import many_margins as many
from harness.summary.families import Correction
from harness.summary.margins import Word
from promises.line import Chance, Line, share_line

BAND = 0.03

Floats = npt.NDArray[np.float64]


def _sides(
    chance: Chance, samples: int, passes: int, *, noise: float, margin: float
) -> tuple[Floats, Floats]:
    """Return both sides' values, samples × passes, with normal logarithms."""
    logs = noise * chance.rng.standard_normal((2, samples, passes))
    return 100.0 * np.exp(logs[0]), 100.0 * (1.0 + margin) * np.exp(logs[1])


def _share(found: many.ManyMargins, *words: Word) -> int:
    return int(np.isin(found.words, [many.WORDS.index(word) for word in words]).sum())


def words(chance: Chance) -> Iterator[Line]:
    """Wrong words at the edge of the band, and power: how often a true effect gets its word."""
    samples = chance.samples(100_000)
    alike = (Word.ALIKE, Word.SMALL_BUT_REAL)
    for noise in (0.002, 0.01, 0.03):
        for passes in (3, 5, 10):
            head = f"noise {100 * noise:g} %, {passes} passes"
            for margin, side in ((BAND, "upper"), (1.0 / (1.0 + BAND) - 1.0, "lower")):
                sides = _sides(chance, samples, passes, noise=noise, margin=margin)
                found = many.margins(many.welch(*sides), band=BAND, correction=Correction.NONE)
                yield share_line(
                    f"{head}, margin at the {side} edge: called alike",
                    _share(found, *alike),
                    samples,
                    most=5.0,
                )
                yield share_line(
                    f"{head}, margin at the {side} edge: called faster or slower",
                    _share(found, Word.FASTER, Word.SLOWER),
                    samples,
                    most=5.0,
                )


def power(chance: Chance) -> Iterator[Line]:
    """How often a true margin gets its word; nothing is promised."""
    samples = chance.samples(50_000)
    for margin, wanted in ((0.0, Word.ALIKE), (0.06, Word.FASTER)):
        for noise in (0.005, 0.01, 0.02):
            for passes in (3, 5, 8):
                sides = _sides(chance, samples, passes, noise=noise, margin=margin)
                found = many.margins(many.welch(*sides), band=BAND, correction=Correction.NONE)
                right = (wanted, Word.SMALL_BUT_REAL) if margin == 0.0 else (wanted,)
                yield share_line(
                    f"true {100 * margin:g} %, noise {100 * noise:g} %, {passes} passes: "
                    f"{wanted.value}",
                    _share(found, *right),
                    samples,
                )


def coverage(chance: Chance) -> Iterator[Line]:
    """The 95 % interval, with equal and unequal spreads, and skewed noise."""
    samples = chance.samples(100_000)
    for passes in (3, 5, 10, 20):
        for ratio, name in ((1.0, "equal spreads"), (3.0, "one side three times as noisy")):
            base, against = _sides(chance, samples, passes, noise=0.01, margin=0.04)
            against = 104.0 * (against / 104.0) ** ratio
            found = many.margins(many.welch(base, against), band=BAND, correction=Correction.NONE)
            held = (found.low <= 0.04) & (found.high >= 0.04)
            yield share_line(
                f"{name}, {passes} passes: interval holds the margin",
                int(held.sum()),
                samples,
                least=94.0,
            )
        skewed = chance.rng.exponential(1.0, (2, samples, passes)) - 1.0
        base, against = 100.0 * np.exp(-0.01 * skewed[0]), 104.0 * np.exp(-0.01 * skewed[1])
        found = many.margins(many.welch(base, against), band=BAND, correction=Correction.NONE)
        held = (found.low <= 0.04) & (found.high >= 0.04)
        yield share_line(
            f"slow passes (exponential), {passes} passes: interval holds the margin",
            int(held.sum()),
            samples,
            least=94.0,
        )


def drift(chance: Chance) -> Iterator[Line]:
    """A rig that drifts by 3 % over the run: rounds against one side after the other."""
    samples = chance.samples(50_000)
    rounds, slope = 5, 0.03
    step = slope / (rounds - 1)
    base, against = _sides(chance, samples, rounds, noise=0.005, margin=0.0)
    places = np.arange(rounds) * step
    # Within a round the other side comes half a round later, and the order is drawn.
    late = np.where(chance.rng.random((samples, rounds)) < 0.5, 0.5, -0.5) * step / 2.0
    in_rounds = base * np.exp(-places + late), against * np.exp(-places - late)
    blocks = np.arange(2 * rounds) * slope / (2 * rounds - 1)
    after = base * np.exp(-blocks[:rounds]), against * np.exp(-blocks[rounds:])
    for name, sides, way, promised in (
        ("paired by round", in_rounds, many.paired, 94.0),
        ("in rounds, taken as unpaired", in_rounds, many.welch, 94.0),
        ("one side after the other, unpaired", after, many.welch, None),
    ):
        evidence = way(*sides)
        found = many.margins(evidence, band=BAND, correction=Correction.NONE)
        held = (found.low <= 0.0) & (found.high >= 0.0)
        half = np.median(found.high - found.low) / 2.0
        yield share_line(
            f"drift 3 %, {name}: interval holds the margin",
            int(held.sum()),
            samples,
            least=promised,
            note=f"margin off by {100 * np.mean(found.margin):+.2f} %, ± {100 * half:.2f} %",
        )


def families(chance: Chance) -> Iterator[Line]:
    """Twenty rows at the edge of the band: how often any of their words is wrong."""
    rows, passes = 20, 5
    samples = chance.samples(5_000)
    for correction, most in (
        (Correction.NONE, None),
        (Correction.HOLM, 5.0),
        (Correction.BH, 5.0),
    ):
        outside = alike = 0
        for _ in range(samples):
            sides = _sides(chance, rows, passes, noise=0.005, margin=BAND)
            found = many.margins(many.welch(*sides), band=BAND, correction=correction)
            outside += _share(found, Word.FASTER, Word.SLOWER) > 0
            alike += _share(found, Word.ALIKE, Word.SMALL_BUT_REAL) > 0
        yield share_line(
            f"20 rows, {correction.value}: any called faster or slower", outside, samples, most=most
        )
        yield share_line(
            f"20 rows, {correction.value}: any called alike", alike, samples, most=most
        )


PROMISES = {
    "margins-words": words,
    "margins-power": power,
    "margins-coverage": coverage,
    "margins-drift": drift,
    "margins-families": families,
}
