"""What the columns and the words of a comparison mean, below its rows.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import assert_never

from harness.plan.document import Better
from harness.summary.apart import REFERENCES_APART
from harness.summary.comparison import Comparison
from harness.summary.evidence import POOL_ABOVE, Unit
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
    if any(unit is Unit.RUN for unit, _ in units):
        how = ", its sides as a pair" if (Unit.RUN, True) in units else ""
        yield f"by run: the mean of each run is one value{how}, since its passes share the night"
    if any(unit is Unit.NIGHT for unit, _ in units):
        how = ", its sides as a pair" if (Unit.NIGHT, True) in units else ""
        yield (
            f"by night: the mean of each night is one value{how}, since its passes share the "
            "night; a pause of more than six hours begins another"
        )
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
            f"apart at {100 * POOL_ABOVE:.0f} %: narrower, and where spreads differ unseen it "
            "holds less than 95 %"
        )
    if any("this insertion only" in each.row.flags for each in found.rows):
        yield (
            "this insertion only: the hardware was changed once a side; what that hand did to "
            "contact, cooling or lanes is part of the margin"
        )
    if any("different runs" in each.row.flags for each in found.rows):
        yield "different runs: what changed between them (a boot, the room) is part of the margin"
    if any("one run on a side" in each.row.flags for each in found.rows):
        yield "one run on a side: nothing tells how runs spread; name more, or one run on each side"
    if any("one night on a side" in each.row.flags for each in found.rows):
        yield (
            "one night on a side: nothing tells how nights spread; measure in another, or leave "
            "out --unit night: the interval is then of this night"
        )
    if any("different nights" in each.row.flags for each in found.rows):
        yield "different nights: what changed between them (the room) is part of the margin"
    if any("nights lie apart" in each.row.flags for each in found.rows):
        yield (
            "nights lie apart: the nights of a run differ by more than their passes do (F test at "
            "5 %), so that an interval by pass or round is too narrow: declare --unit night"
        )
    if any(REFERENCES_APART in flag for each in found.rows for flag in each.row.flags):
        yield (
            f"{REFERENCES_APART}: passes lie between two reference passes that disagree; the rig "
            "moved meanwhile, and no figure is corrected"
        )
    if any("no spread" in each.row.flags for each in found.rows):
        yield (
            "no spread: every value of a side is the same, so that the interval is none: is there "
            "a cap, or does the title round the figure?"
        )
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
