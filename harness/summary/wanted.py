"""A cell whose number of passes was fixed for an interval: its interval, and whether it is wide.

Pure. Where a pilot fixed the number, the interval is Stein's (``harness.rules.enough``): it is
made of the pilot's spread, since that of all passes would promise too much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from harness.rules.enough import is_wide, two_stage_half_width
from harness.rules.judgement import Figure
from harness.run.records import CellSized
from harness.summary.estimates import Estimate


class Kept(Protocol):
    """A kept pass: its attempt, and its figures."""

    @property
    def attempt(self) -> int:
        """Return its attempt."""

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Return its figures."""


def sized_figures(
    figures: tuple[Estimate, ...], sized: CellSized, kept: Sequence[Kept]
) -> tuple[tuple[Estimate, ...], bool]:
    """Return *figures* with the interval of the wanted one, and whether it ended wide.

    Args:
        figures: Over the kept passes.
        sized: How many passes were wanted, of which figure and why.
        kept: The kept passes.
    """
    wanted = next((each for each in figures if each.name == sized.figure), None)
    if wanted is None or wanted.mean is None:
        return figures, False
    pilot = [
        figure.value
        for each in kept
        if each.attempt in sized.pilot
        for figure in each.figures
        if figure.name == sized.figure and figure.value is not None
    ]
    shown = wanted
    # What a rule took out of the pilot later on is missing there, too: fewer degrees of freedom.
    if len(pilot) >= 2:
        half = two_stage_half_width(pilot, wanted.n, mean=wanted.mean)
        shown = replace(wanted, half_width=half, interval="two-stage/1")
    wide = is_wide(wanted.mean, shown.half_width, half_width=sized.half_width)
    return tuple(shown if each is wanted else each for each in figures), wide
