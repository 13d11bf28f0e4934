"""Everything that ``harness compare`` finds, from the matched cells on.

Pure. Rows with their words, what is over all of them, what differs, and what was left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from harness.errors import AskedError, Problem
from harness.plan.cells import title_of
from harness.plan.document import Better
from harness.plan.main_figure import main_figure
from harness.rules.figures import low_name
from harness.store.made_despite import KeptComparison
from harness.summary.despite import concerning
from harness.summary.differences import Difference, row_differences, together
from harness.summary.directions import better_of
from harness.summary.evidence import Evidence, pool
from harness.summary.families import Correction
from harness.summary.fieller import fieller
from harness.summary.independent import COMMON
from harness.summary.margins import Margin, Word, margins
from harness.summary.matching import Matched
from harness.summary.needed import Needed, needed
from harness.summary.over_titles import OverTitles, over_titles
from harness.summary.rows import NoRow, Row, make_row
from harness.summary.selections import Selection, refuse_weights
from harness.summary.sides import SideCell

#: Name and version of the method.
METHOD = "log-ratio/1"
#: What stands for the 1 % low as the plan defines it.
LOW = "low"
#: From so many rows on, what arrays save is more than the import of scipy takes.
MANY_ROWS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked besides the selections.

    Args:
        figure: Name of the figure; None: the average frame rate, else a title's own first.
        band: The band; None: what the plans say.
        correction: Of the family of rows.
        weights: Of titles.
        with_marked: Whether marked passes count.
        by_night: Whether the night is declared to be the unit.
        pool_spread: Whether a title's rows share their spread where a test allows it.
        despite: Why the sides are compared in spite of differences; empty: they are not.
    """

    figure: str | None = None
    band: float | None = None
    correction: Correction = Correction.HOLM
    weights: Mapping[str, float]
    with_marked: bool = False
    by_night: bool = False
    pool_spread: bool = False
    despite: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One row with its margin.

    Args:
        row: The row.
        margin: Its margin.
        needed: What would settle it; None where it is settled, or nothing tells.
        fieller: The interval of the ratio of arithmetic means, minus one, as a check; only
            of two samples with a spread of their own.
        bootstrap: The BCa interval of the margin, where it was asked for.
    """

    row: Row
    margin: Margin
    needed: Needed | None
    fieller: tuple[float, float] | None
    bootstrap: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overall:
    """Over titles: *these titles*, and *titles like these*; flags are those of rows in common."""

    found: OverTitles
    these: Margin
    like_these: Margin | None
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What a comparison found.

    ``kept`` are comparisons of the same cells that were made despite differences, earlier ones
    and, where this is one, this one.
    """

    asked: Asked
    band: float
    compared: tuple[str, ...]
    selections: Mapping[str, Selection]
    rows: tuple[Compared, ...]
    overall: Overall | None
    overall_why: str
    differences: tuple[Difference, ...]
    also: tuple[Difference, ...]
    left_out: tuple[tuple[str, str], ...]
    older: tuple[SideCell, ...]
    kept: tuple[KeptComparison, ...] = ()


def compare(matched: Matched, *, asked: Asked, kept: Sequence[KeptComparison] = ()) -> Comparison:
    """Return what the pairs of *matched* amount to.

    Args:
        matched: The pairs.
        asked: What was asked besides.
        kept: Every comparison of the store that was made despite differences.

    Raises:
        AskedError: The sides differ in more than what is compared and no reason is given, the
            plans have different bands, or a weight names no title.
    """
    rows: list[Row] = []
    differ: list[Sequence[Difference]] = []
    also: list[Sequence[Difference]] = []
    left_out = [
        *((cell.label, "only the base has it") for cell in matched.only_base),
        *((cell.label, "only the other side has it") for cell in matched.only_against),
    ]
    for base, against in matched.pairs:
        try:
            row = _row(base, against, asked)
        except NoRow as none:
            left_out.append((against.label, str(none)))
            continue
        rows.append(row)
        found = row_differences(base, against, compared=matched.compared, figure=row.figure.name)
        differ.append(found[0])
        also.append(found[1])
    differing = together(differ)
    before = concerning(kept, [(row.base.cell, row.against.cell) for row in rows])
    if differing and not asked.despite:
        raise AskedError([_refused(each, of=len(rows), before=before) for each in differing])
    band = asked.band if asked.band is not None else _band(matched)
    refuse_weights(asked.weights, titles=[row.base.cell.cell.title for row in rows])
    if asked.pool_spread:
        rows = _pooled(rows)
    done = _margins_way(len(rows))(
        [row.evidence for row in rows],
        band=band,
        better=[row.better for row in rows],
        correction=asked.correction,
    )
    overall, why = _overall(rows, band=band, weights=asked.weights)
    return Comparison(
        asked=asked,
        band=band,
        compared=matched.compared,
        selections=matched.selections,
        rows=tuple(_compared(row, each, band) for row, each in zip(rows, done, strict=True)),
        overall=overall,
        overall_why=why,
        differences=differing,
        also=together(also),
        left_out=tuple(left_out),
        older=matched.older,
        kept=before,
    )


def _margins_way(rows: int) -> Callable[..., tuple[Margin, ...]]:
    """Return what works margins out: on arrays where there are very many and numpy is there."""
    if rows < MANY_ROWS:
        return margins
    try:
        from harness.summary.many_margins import of_rows
    except ImportError:
        return margins
    return of_rows


def _row(base: SideCell, against: SideCell, asked: Asked) -> Row:
    title = title_of(base.plan, base.cell)
    name = asked.figure or main_figure(title)
    if name == LOW:
        name = low_name("low_1pct_fps", _low(base, against))
    better = better_of(name, title)
    if better is None:
        raise NoRow(f"nobody says which way {name} is better: it has no faster and slower")
    return make_row(
        base, against, name=name, better=better, with_marked=asked.with_marked,
        by_night=asked.by_night,
    )  # fmt: skip


def _low(base: SideCell, against: SideCell) -> str:
    """Return the definition of the low figures that both plans show."""
    lows = [each.plan.compare.low for each in (base, against)]
    if lows[0] != lows[1]:
        raise AskedError(
            Problem(
                code="lows-differ",
                what=f"the plans show different low figures: {lows[0]} and {lows[1]}",
                do="say which: --figure low_1pct_fps, or its name with the definition after it",
            )
        )
    return lows[0]


def _refused(each: Difference, *, of: int, before: Sequence[KeptComparison]) -> Problem:
    if each.base == each.against:
        what = f"{each.kind} {each.name} is {each.base} on both sides"
    else:
        what = f"{each.kind} {each.name} differs: {each.base} in the base, {each.against} against"
    return Problem(
        code=f"{each.kind}-differs",
        what=what,
        where=(
            f"in {each.cells} of {of} {'row' if of == 1 else 'rows'}",
            *(
                f"compared despite differences before, by {one.made.by}: {one.made.reason}"
                for one in before
            ),
        ),
        do="compare what agrees, or say why it does not matter: --despite REASON, which is "
        "kept and printed with the result",
    )


def _band(matched: Matched) -> float:
    bands = sorted({each.plan.compare.band for pair in matched.pairs for each in pair})
    if len(bands) > 1:
        shown = ", ".join(f"{100 * each:g} %" for each in bands)
        raise AskedError(
            Problem(
                code="bands-differ",
                what=f"the plans have different bands: {shown}",
                do="say which: --band '3 %'",
            )
        )
    return bands[0] if bands else 0.03


def _pooled(rows: Sequence[Row]) -> list[Row]:
    """Return *rows*, the variance of each title and figure pooled where that may be."""
    families: dict[tuple[str, str], list[int]] = {}
    for place, row in enumerate(rows):
        key = (row.base.cell.cell.title, row.figure.name)
        families.setdefault(key, []).append(place)
    found = list(rows)
    for places in families.values():
        pooled = pool([rows[place].evidence for place in places])
        for place, evidence in zip(places, pooled, strict=True):
            found[place] = replace(rows[place], evidence=evidence)
    return found


def _compared(row: Row, margin: Margin, band: float) -> Compared:
    settled = margin.alone is not Word.UNRESOLVED
    return Compared(
        row=row,
        margin=margin,
        needed=None if settled else needed(row.evidence, band=band),
        fieller=fieller(row),
    )


def _overall(
    rows: Sequence[Row], *, band: float, weights: Mapping[str, float]
) -> tuple[Overall | None, str]:
    kinds = {(row.figure.name, row.better) for row in rows}
    if len(kinds) != 1:
        return None, "the rows have different figures" if rows else "there are no rows"
    [(_, better)] = kinds
    found = over_titles([(row.base.cell.cell.title, row.evidence) for row in rows], weights=weights)
    assert found is not None
    return (
        Overall(
            found=found,
            these=_alone(found.these, band, better),
            like_these=None if found.like_these is None else _alone(found.like_these, band, better),
            flags=tuple(flag for flag in COMMON if any(flag in row.flags for row in rows)),
        ),
        "",
    )


def _alone(evidence: Evidence, band: float, better: Better) -> Margin:
    [margin] = margins([evidence], band=band, better=[better], correction=Correction.NONE)
    return margin
