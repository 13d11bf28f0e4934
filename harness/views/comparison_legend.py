"""What the columns and the words of a comparison mean, below its rows.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import assert_never

from harness.plan.document import Better
from harness.summary.comparison import Comparison
from harness.summary.evidence import Unit
from harness.summary.families import Correction


def legend(found: Comparison) -> Iterator[str]:
    """Yield what the columns and words of *found* mean, each definition by its name."""
    figures = {each.row.figure.name: each for each in found.rows}
    for name, each in figures.items():
        way = "higher" if each.row.better is Better.HIGHER else "lower"
        yield f"{name} ({each.row.figure.definition}): {way} is better"
        if each.row.better is Better.LOWER:
            yield "  the margin is that of the figure itself: less of it is 'faster'"
    yield "base, against: geometric means over the kept passes in the row; n: how many"
    yield "margin: against ÷ base - 1, its interval from Student's t on the logarithms"
    yield from _units(found)
    band, below = 100 * found.band, -100 * (1 - 1 / (1 + found.band))
    yield (
        f"faster, slower: the 95 % interval lies outside the band ({below:+.2f} to {band:+.2f} %);"
        " alike: the 90 % interval inside it, small but real where the 95 % interval leaves out 0"
    )
    yield _family(found)


def _units(found: Comparison) -> Iterator[str]:
    units = {(each.row.evidence.unit, each.row.evidence.paired) for each in found.rows}
    if (Unit.ROUND, True) in units:
        yield "by round: both sides in one round make a pair, so that drift cancels"
    if (Unit.VISIT, False) in units:
        yield "by visit: the mean of each visit is one value, since a person changed the hardware"
    if (Unit.PASS, False) in units:
        yield "by pass: two independent samples (Welch)"
    pooled = {each.row.evidence.pooled_over for each in found.rows} - {0}
    if pooled:
        samples = "samples" if pooled != {1} else "sample"
        sizes = sorted(pooled)
        many = f"{sizes[0]}" if len(sizes) == 1 else f"{sizes[0]} to {sizes[-1]}"
        yield (
            f"spread pooled over {many} {samples} of a title, which Bartlett's test does not tell "
            "apart at 20 %: narrower, and where spreads differ unseen it holds less than 95 %"
        )
    if any("this insertion only" in each.row.flags for each in found.rows):
        yield (
            "this insertion only: the hardware was changed once a side; what that hand did to "
            "contact, cooling or lanes is part of the margin"
        )
    if any("different runs" in each.row.flags for each in found.rows):
        yield "different runs: what changed between them (a boot, the room) is part of the margin"
    if any("thin" in each.row.flags for each in found.rows):
        yield "thin: fewer than ten frames are in the tail that a low figure rests on"


def _family(found: Comparison) -> str:
    count = len(found.rows)
    rows = "row" if count == 1 else "rows"
    match found.asked.correction:
        case Correction.HOLM:
            how = "Holm: at most 5 % that any is wrong, of 'faster' and 'slower', and of 'alike'"
        case Correction.BH:
            how = "Benjamini-Hochberg: at most 5 % of them wrong, on average"
        case Correction.NONE:
            how = "not corrected: each is wrong at most 5 % of the time by itself"
        case _:
            assert_never(found.asked.correction)
    return f"words of {count} {rows}: {how}; intervals are each row's own"
