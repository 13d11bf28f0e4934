"""Margins: wrong words at the edge of the band, coverage, power, drift, families."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from harness.plan.document import Better
from harness.summary import many_margins as many
from harness.summary.evidence import Draw, Unit, of_draws
from harness.summary.families import Correction
from harness.summary.margins import Word, margins
from harness.summary.over_titles import OverTitles, over_titles
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


def over_all(chance: Chance) -> Iterator[Line]:
    """Eight titles measured in the same runs, which shift all of them; no true margin.

    Titles differ by 1 % where *titles like these* is asked, whose mean is then the truth.
    """
    samples, titles = chance.samples(4_000), 8
    for night in (0.0, 0.01, 0.03):
        for runs in (3, 6):
            for paired in (False, True):
                held = {"these": 0, "like these": 0}
                wrong = dict.fromkeys(held, 0)
                for _ in range(samples):
                    own = 0.01 * chance.rng.standard_normal(titles)
                    for name, effects in (("these", 0.0 * own), ("like these", own)):
                        found = _over(chance, effects, runs=runs, night=night, paired=paired)
                        assert found is not None
                        evidence = found.these if name == "these" else found.like_these
                        assert evidence is not None
                        [margin] = margins([evidence], band=BAND, better=[Better.HIGHER])
                        assert margin.low is not None
                        assert margin.high is not None
                        held[name] += margin.low <= 0.0 <= margin.high
                        wrong[name] += margin.word in (Word.FASTER, Word.SLOWER)
                how = "each with both sides" if paired else "a side"
                head = f"8 titles, runs by {100 * night:g} %, {runs} {how}"
                for name, hits in held.items():
                    yield share_line(
                        f"{head}: {name}, interval holds the margin", hits, samples, least=94.0
                    )
                    yield share_line(
                        f"{head}: {name}, faster or slower", wrong[name], samples, most=5.0
                    )


def _over(
    chance: Chance, effects: Floats, *, runs: int, night: float, paired: bool
) -> OverTitles | None:
    """Return what *runs* of titles with these *effects* amount to; each mean is noisy by 0.5 %."""
    common = night * chance.rng.standard_normal((2, runs))
    own = 0.005 * chance.rng.standard_normal((2, runs, len(effects)))
    values = common[:, :, np.newaxis] + own
    values[1] += effects
    rows = []
    for title in range(len(effects)):
        own_values = values[:, :, title].tolist()
        base, against = (_drawn(f"side {side}", own) for side, own in enumerate(own_values))
        if paired:
            differences = (values[1, :, title] - values[0, :, title]).tolist()
            evidence = of_draws(_drawn("both", differences), unit=Unit.RUN)
        else:
            evidence = of_draws(base, against, unit=Unit.RUN)
        rows.append((f"title {title}", evidence))
    return over_titles(rows)


def _drawn(side: str, values: Sequence[float]) -> dict[Draw, float]:
    return {(f"{side}, run {run}", ()): value for run, value in enumerate(values)}


PROMISES = {
    "margins-words": words,
    "margins-power": power,
    "margins-coverage": coverage,
    "margins-drift": drift,
    "margins-families": families,
    "margins-over-titles": over_all,
}
