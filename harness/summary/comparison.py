"""Everything that ``harness compare`` finds, from the matched cells on.

Pure. Rows with their words, what is over all of them, what differs, and what was left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from harness.errors import AskedError, Problem
from harness.plan.document import Better, Title
from harness.plan.main_figure import main_figure
from harness.rules.judgement import Figure
from harness.summary.differences import Difference, also_differs, differences, together
from harness.summary.directions import better_of
from harness.summary.evidence import Evidence, pool
from harness.summary.families import Correction
from harness.summary.fieller import ratio_interval
from harness.summary.margins import Margin, Word, margins
from harness.summary.matching import Matched
from harness.summary.needed import Needed, needed
from harness.summary.over_titles import OverTitles, over_titles
from harness.summary.rows import NoRow, Row, make_row
from harness.summary.sides import SideCell

#: Name and version of the method.
METHOD = "log-ratio/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked besides the selections.

    Args:
        figure: Name of the figure; None: the average frame rate, else a title's own first.
        band: The band; None: what the plans say.
        correction: Of the family of rows.
        weights: Of titles.
        with_marked: Whether marked passes count.
        pool_spread: Whether a title's rows share their spread where a test allows it.
        despite: Why the sides are compared in spite of differences; empty: they are not.
    """

    figure: str | None = None
    band: float | None = None
    correction: Correction = Correction.HOLM
    weights: Mapping[str, float]
    with_marked: bool = False
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
    """Over titles: *these titles*, and *titles like these*."""

    found: OverTitles
    these: Margin
    like_these: Margin | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What a comparison found."""

    asked: Asked
    band: float
    compared: tuple[str, ...]
    selections: Mapping[str, Mapping[str, str]]
    rows: tuple[Compared, ...]
    overall: Overall | None
    overall_why: str
    differences: tuple[Difference, ...]
    also: tuple[Difference, ...]
    left_out: tuple[tuple[str, str], ...]
    older: tuple[SideCell, ...]


def compare(matched: Matched, *, asked: Asked) -> Comparison:
    """Return what the pairs of *matched* amount to.

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
        figures = (_figure(row, base), _figure(row, against))
        differ.append(differences(base, against, compared=matched.compared, figures=figures))
        also.append(also_differs(base, against, compared=matched.compared))
    found = together(differ)
    if found and not asked.despite:
        raise AskedError([_refused(each, of=len(rows)) for each in found])
    band = asked.band if asked.band is not None else _band(matched)
    _check_weights(asked.weights, rows)
    if asked.pool_spread:
        rows = _pooled(rows)
    done = margins(
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
        differences=found,
        also=together(also),
        left_out=tuple(left_out),
        older=matched.older,
    )


def _row(base: SideCell, against: SideCell, asked: Asked) -> Row:
    title = _title(base)
    name = asked.figure or main_figure(title)
    better = better_of(name, title)
    if better is None:
        raise NoRow(f"nobody says which way {name} is better: it has no faster and slower")
    return make_row(base, against, name=name, better=better, with_marked=asked.with_marked)


def _title(cell: SideCell) -> Title:
    wanted = (cell.cell.title, cell.cell.scene)
    return next(each for each in cell.plan.titles if (each.title, each.scene) == wanted)


def _figure(row: Row, cell: SideCell) -> Figure:
    return next(f for each in cell.kept if (f := each.figures.get(row.figure.name)) is not None)


def _refused(each: Difference, *, of: int) -> Problem:
    if each.base == each.against:
        what = f"{each.kind} {each.name} is {each.base} on both sides"
    else:
        what = f"{each.kind} {each.name} differs: {each.base} in the base, {each.against} against"
    return Problem(
        code=f"{each.kind}-differs",
        what=what,
        where=(f"in {each.cells} of {of} rows",),
        do="compare what agrees, or say why it does not matter: --despite REASON, which is "
        "printed with the result",
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


def _check_weights(weights: Mapping[str, float], rows: Sequence[Row]) -> None:
    titles = list(dict.fromkeys(row.base.cell.cell.title for row in rows))
    for title in weights:
        if title not in titles:
            raise AskedError(
                Problem(
                    code="bad-weight",
                    what=f"no row is of the title {title!r}",
                    do=f"weigh some of {', '.join(titles) or 'none: there are no rows'}",
                )
            )


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
        fieller=_fieller(row),
    )


def _fieller(row: Row) -> tuple[float, float] | None:
    evidence = row.evidence
    if evidence.paired or evidence.pooled_over or not evidence.se or evidence.df <= 0.0:
        return None
    if evidence.n != (row.base.n, row.against.n):
        return None  # visits: the values are means of several passes
    means, variances = [], []
    for side in (row.base, row.against):
        mean = sum(side.values) / side.n
        means.append(mean)
        variances.append(sum((x - mean) ** 2 for x in side.values) / (side.n - 1) / side.n)
    found = ratio_interval(
        means[1], means[0], var_a=variances[1], var_b=variances[0], df=evidence.df
    )
    return None if found is None else (found[0] - 1.0, found[1] - 1.0)


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
        ),
        "",
    )


def _alone(evidence: Evidence, band: float, better: Better) -> Margin:
    [margin] = margins([evidence], band=band, better=[better], correction=Correction.NONE)
    return margin
