"""Discards of sound passes: within the nominal level; two levels are not cleaned away."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.plan.document import DiscardRule
from harness.plan.rule_levels import MOST_ALPHA
from harness.rules.discard import find
from harness.rules.judgement import KeptPass
from promises import statistics as looks
from promises.line import Chance, Line, share_line

SIZES = (6, 8, 10, 15, 20)


def _cells(chance: Chance, samples: int, n: int, *, sd: float = 0.01) -> looks.Cells:
    return 100.0 * (1.0 + sd * chance.rng.standard_normal((samples, n)))


def _asked(row: list[float], *rules: DiscardRule) -> list[int]:
    """Return the places that the package itself discards."""
    passes = [
        KeptPass(attempt=at, figures=(("average_fps", value),)) for at, value in enumerate(row)
    ]
    return [finding.attempt for finding in find(passes, rules, discarded={}) if finding.discard]


def false_discards(chance: Chance) -> Iterator[Line]:
    """Normal noise: in how many sound cells a pass is discarded, by alpha, without a floor."""
    samples = chance.samples(200_000)
    for n in SIZES:
        cells = _cells(chance, samples, n)
        for alpha in (0.01, 0.05):
            for name, look in looks.LOOKS.items():
                hits = int((look(cells, alpha=alpha) >= 0).sum())
                head = f"{name} at {100 * alpha:g} %, {n} passes"
                yield share_line(head, hits, samples, most=100 * alpha)
        one = int((looks.grubbs(cells, sides=1) >= 0).sum())
        yield share_line(f"grubbs at 5 %, one-sided, {n} passes", one, samples, most=5.0)
        for most in (2, 3):
            hits = int(looks.esd_any(cells, most=most).sum())
            yield share_line(f"esd at 5 %, at most {most}, {n} passes", hits, samples, most=5.0)


def combined_rules(chance: Chance) -> Iterator[Line]:
    """Several rules in one plan, without a floor: sound cells of which any takes a pass.

    The package itself is asked about every cell in which one of the rules stands out here.
    """
    samples = chance.samples(40_000)
    for names in (("grubbs", "dixon"), ("grubbs", "dixon", "modified-z"), tuple(looks.LOOKS)):
        for alpha in (0.01, 0.05):
            rules = [DiscardRule(rule=n, on="average_fps", alpha=alpha, floor=0.0) for n in names]
            for n in (6, 10, 20):
                cells = _cells(chance, samples, n)
                there = np.zeros(samples, dtype=bool)
                for name in names:
                    there |= looks.LOOKS[name](cells, alpha=alpha) >= 0
                hits = sum(bool(_asked(row, *rules)) for row in cells[there].tolist())
                levels = 100.0 * alpha * len(names)
                head = f"{' + '.join(names)} at {100 * alpha:g} % each, {n} passes"
                note = "" if levels <= 100.0 * MOST_ALPHA else "harness check warns"
                yield share_line(head, hits, samples, most=levels, note=note)


def same_rules(chance: Chance) -> Iterator[Line]:
    """The rules simulated here and the package's own, on cells with an outlier in every third."""
    samples = chance.samples(1500)
    for name, look in looks.LOOKS.items():
        rule = DiscardRule(rule=name, on="average_fps", alpha=0.05, floor=0.0)
        same, told = 0, 0
        for n in (6, 9):
            cells = _cells(chance, samples, n)
            cells[::3, 0] *= 0.95
            places = look(cells)
            for row, place in zip(cells.tolist(), places.tolist(), strict=True):
                mine = _asked(row, rule)
                # Where the passes look like two levels the package discards nothing.
                same += mine == ([] if place < 0 else [place]) or not mine
                told += bool(mine) == (place >= 0)
        yield share_line(f"{name}: the same pass, or none", same, 2 * samples, least=100.0)
        yield share_line(f"{name}: a discard in both or in none", told, 2 * samples, least=97.0)


def spread_rule(chance: Chance) -> Iterator[Line]:
    """What the declared spread rule of 3 % takes out of sound cells: as declared, not a level."""
    samples = chance.samples(20_000)
    for sd in (0.002, 0.005, 0.01, 0.02, 0.03):
        for n in (3, 5, 10):
            hits = int((looks.spread(_cells(chance, samples, n, sd=sd)) >= 0).sum())
            most = 0.5 if sd <= 0.005 else None
            note = "" if sd <= 0.01 else "more_than must be several times the spread"
            name = f"spread 3 %, {n} passes, noise {100 * sd:g} %"
            yield share_line(name, hits, samples, most=most, note=note)


def two_levels(chance: Chance) -> Iterator[Line]:
    """Cells on two levels, noise 0.2 %: how many lose a pass to a rule all the same."""
    samples = chance.samples(4000)
    rules = (
        DiscardRule(rule="spread", on="average_fps", more_than=0.03),
        DiscardRule(rule="grubbs", on="average_fps"),
    )
    for n, upper in ((5, 2), (6, 2), (8, 2), (8, 4)):
        cells = _cells(chance, samples, n, sd=0.002)
        cells[:, :upper] *= 1.05
        hits = sum(
            any(_asked(row, rule) for rule in rules)
            for row in chance.rng.permuted(cells, axis=1).tolist()
        )
        yield share_line(f"{upper} of {n} passes 5 % higher", hits, samples, most=1.0)


PROMISES = {
    "false-discards": false_discards,
    "false-discards-combined": combined_rules,
    "same-rules": same_rules,
    "spread-rule": spread_rule,
    "two-levels": two_levels,
}
