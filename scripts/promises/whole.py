"""The whole procedure at once: pilot, voids, discards and marks, rounds or visits, pooling.

Runs are carried out by the package's own state machine and rules, and read by its own summary
(``carried_out``): what is measured is what a plan with these parts does, not a model of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby

from harness.plan.document import Better, DiscardRule
from harness.rules.enough import CONFIDENCE
from harness.summary.cells import summarise
from harness.summary.evidence import Evidence, pool
from harness.summary.families import Correction
from harness.summary.margins import Margin, Word, margins
from harness.summary.rows import NoRow, make_row
from harness.summary.sides import SideCell, side_cells
from promises.carried_out import AGAINST, BASE, FIGURE, TRUTH, Floats, Way, entries
from promises.coverage import autocorrelated, skewed
from promises.line import Chance, Line, share_line

BAND = 0.03
TITLES = 25  #: in a run: 100 cells, 50 rows


def _rule(name: str, *, alpha: float | None = None) -> DiscardRule:
    return DiscardRule(rule=name, on=FIGURE, alpha=alpha)


SPREAD = DiscardRule(rule="spread", on=FIGURE, more_than=0.05)
THREE = tuple(_rule(name) for name in ("grubbs", "dixon", "modified-z"))
FIVE_PER_CENT = (_rule("grubbs", alpha=0.05), *THREE[1:])


def _skewed(chance: Chance, passes: int) -> Floats:
    return skewed(chance, 1, passes).ravel()


def _following(chance: Chance, passes: int) -> Floats:
    return autocorrelated(0.3)(chance, 1, passes).ravel()


FOLLOWING = "FAILS: passes follow each other (correlation 0.3)"

#: Name -> the way of a run, and why nothing is promised of it.
CELLS: dict[str, tuple[Way, str]] = {
    "3 passes, spread rule": (Way(keep=3, rules=(SPREAD,), sd=0.002), ""),
    "3 passes, spread rule, noise 1 %": (Way(keep=3, rules=(SPREAD,)), ""),
    "6 passes, spread rule and three by level": (Way(keep=6, rules=(SPREAD, *THREE)), ""),
    "10 passes, the same": (Way(keep=10, rules=(SPREAD, *THREE)), ""),
    "20 passes, the same": (Way(keep=20, rules=(SPREAD, *THREE)), ""),
    "6 passes, levels that add up to 7 %": (
        Way(keep=6, rules=FIVE_PER_CENT),
        "FAILS: harness check warns (discards-too-many)",
    ),
    "pilot of 3, ± 1.5 %, spread rule": (Way(keep=3, rules=(SPREAD,), enough=0.015), ""),
    "pilot of 6, ± 0.8 %, all rules": (Way(keep=6, rules=(SPREAD, *THREE), enough=0.008), ""),
    "pilot of 10, ± 0.6 %, all rules": (Way(keep=10, rules=(SPREAD, *THREE), enough=0.006), ""),
    "pilot of 6, all rules, skewed noise": (
        Way(keep=6, rules=(SPREAD, *THREE), enough=0.008, noise=_skewed),
        "some points too few: a slow tail is taken for outliers",
    ),
    "pilot of 6, all rules, passes that follow": (
        Way(keep=6, rules=(SPREAD, *THREE), enough=0.008, noise=_following),
        FOLLOWING,
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """How rows are compared: the way of the run, whether spreads are pooled, why it fails."""

    way: Way
    pooled: bool = False
    why: str = ""


_ALL = Way(keep=6, rules=(SPREAD, *THREE))

MARGINS: dict[str, _Rows] = {
    "3 passes in rounds, grubbs marks": _Rows(way=Way(keep=3, rules=THREE[:1])),
    "5 passes in rounds, three rules mark": _Rows(way=Way(keep=5, rules=(SPREAD, *THREE))),
    "6 passes in rounds, all rules": _Rows(way=_ALL),
    "6 passes across blocks, all rules": _Rows(way=replace(_ALL, rounds=False)),
    "6 passes across blocks, all rules, pooled": _Rows(
        way=replace(_ALL, rounds=False), pooled=True
    ),
    "pilot of 3 in rounds": _Rows(way=Way(keep=3, rules=(SPREAD,), enough=0.015)),
    "pilot of 3 across blocks": _Rows(way=Way(keep=3, rules=(SPREAD,), enough=0.015, rounds=False)),
    "pilot of 6 across blocks, all rules": _Rows(way=replace(_ALL, enough=0.008, rounds=False)),
    "3 visits, each with noise of its own, all rules": _Rows(
        way=replace(_ALL, visits=3, own=0.01, sd=0.005)
    ),
    "all together: pilot, 3 visits, all rules, pooled": _Rows(
        way=replace(_ALL, visits=3, own=0.01, sd=0.005, enough=0.008), pooled=True
    ),
    "all together, skewed noise": _Rows(
        way=replace(_ALL, visits=3, own=0.01, sd=0.005, enough=0.008, noise=_skewed), pooled=True
    ),
    "6 passes across blocks, all rules, passes that follow": _Rows(
        way=replace(_ALL, rounds=False, noise=_following), why=FOLLOWING
    ),
}


def whole_cells(chance: Chance) -> Iterator[Line]:
    """One pass in ten void: how often the interval that ``harness results`` shows is right."""
    for name, (way, why) in CELLS.items():
        held, shown, discarded, passes = 0, 0, 0, 0
        while shown < chance.samples(4000, least=200):
            plan, made = entries(chance, way, titles=TITLES)
            for cell in summarise(made, plan=plan):
                found = cell.figure(FIGURE)
                if found is None or found.mean is None or found.half_width is None:
                    continue
                assert found.confidence == CONFIDENCE
                held += abs(found.mean - TRUTH) <= found.half_width
                shown += 1
                passes += found.n
                discarded += cell.passes.discarded > 0
        note = f"{passes / shown:.1f} passes, {100 * discarded / shown:.1f} % of cells lost one"
        yield share_line(
            name, held, shown, least=None if why else 94.0, most=None if why else 96.0,
            note=f"{why}; {note}" if why else note,
        )  # fmt: skip


def whole_margins(chance: Chance) -> Iterator[Line]:
    """Two levels 3 % apart, the edge of the band: coverage, and rows called alike all the same."""
    for name, asked in MARGINS.items():
        told = _Told()
        while told.rows < chance.samples(2000, least=100):
            plan, made = entries(chance, replace(asked.way, margin=BAND), titles=TITLES)
            told.take(side_cells(made, plan=plan), pooled=asked.pooled)
        why = asked.why
        yield share_line(
            name, told.held, told.rows, least=None if why else 94.0,
            note=why or f"half of it {100 * told.half / told.rows:.2f} % in the mean",
        )  # fmt: skip
        yield share_line("  called alike", told.alike, told.rows, most=None if why else 5.0)


@dataclass(slots=True)
class _Told:
    """What was told of the rows of some runs."""

    rows: int = 0
    held: int = 0
    alike: int = 0
    half: float = 0.0
    left_out: list[str] = field(default_factory=list)

    def take(self, found: Sequence[SideCell], *, pooled: bool) -> None:
        """Compare the levels of every title and setting, as ``harness compare`` does."""
        sides = {
            level: [each for each in found if each.value("way") == level]
            for level in (BASE, AGAINST)
        }
        rows: list[tuple[str, Evidence]] = []
        for base, against in zip(sides[BASE], sides[AGAINST], strict=True):
            try:
                row = make_row(base, against, name=FIGURE, better=Better.HIGHER, with_marked=False)
            except NoRow as none:
                self.left_out.append(str(none))
            else:
                rows.append((base.cell.title, row.evidence))
        for _, of_title in groupby(rows, key=lambda each: each[0]):
            evidence = [each for _, each in of_title]
            told = margins(
                pool(evidence) if pooled else evidence, band=BAND,
                better=[Better.HIGHER] * len(evidence), correction=Correction.NONE,
            )  # fmt: skip
            for each in told:
                self._count(each)

    def _count(self, each: Margin) -> None:
        if each.low is None or each.high is None:
            return  # one pass on a side: no interval is shown
        self.rows += 1
        self.held += each.low <= BAND <= each.high
        self.alike += each.word in (Word.ALIKE, Word.SMALL_BUT_REAL)
        self.half += 0.5 * (each.high - each.low)


PROMISES = {"whole-cells": whole_cells, "whole-margins": whole_margins}
