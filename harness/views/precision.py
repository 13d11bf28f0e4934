"""Precision across rigs and over nights, as a person reads it.

Pure.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from harness.summary.between_rigs import LEAST_RIGS, LIMIT, Between, Spreads
from harness.summary.consistency import OUTLIER, STRAGGLER, Standing, h_critical, k_critical
from harness.summary.latest_runs import Earlier
from harness.summary.nightly import Nights
from harness.summary.on_rigs import Pair
from harness.summary.precision import CellPrecision, Differs, Precision
from harness.views.despite import despite_words

_MOST_LISTED = 12


def as_text(found: Precision, *, width: int) -> Iterator[str]:
    """Yield the lines of what was found; *width* is the columns to fit in."""
    for line in _lines(found):
        if len(line) <= width or line.startswith("\0"):
            yield line.removeprefix("\0").rstrip()
            continue
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        yield from textwrap.wrap(
            line, max(60, width), subsequent_indent=indent, break_long_words=False,
            break_on_hyphens=False,
        )  # fmt: skip


def _lines(found: Precision) -> Iterator[str]:
    yield from _differences(found.differs, found.despite)
    if found.kept:
        yield "these cells were put together or compared despite differences, which is kept:"
        yield from (f"  {despite_words(one)}" for one in found.kept)
        yield ""
    for each in found.cells:
        yield from _cell(each)
        yield ""
    for label, why in found.left_out[:_MOST_LISTED]:
        yield f"left out: {label}: {why}"
    if len(found.left_out) > _MOST_LISTED:
        yield f"left out: {len(found.left_out) - _MOST_LISTED} more (--json)"
    yield from _earlier(found.earlier)
    yield from _legend(found)


def _earlier(earlier: Sequence[Earlier]) -> Iterator[str]:
    """Yield what is not taken, and what stands in its place."""
    for each in earlier[:_MOST_LISTED]:
        group = f", group {each.group}" if each.group > 1 or each.taken == each.run else ""
        if not each.taken:
            instead = "no pass under the fingerprint that the cells stand in now"
        elif each.taken == each.run:
            instead = "a later group of the run is taken"
        else:
            instead = f"the later run {each.taken} is taken; or name one: --where run={each.run}"
        yield (
            f"left out: {each.rig}: {_count(each.cells, 'cell')} of run {each.run}{group}: "
            f"{instead}"
        )
    if len(earlier) > _MOST_LISTED:
        yield f"left out: {len(earlier) - _MOST_LISTED} more runs or groups (--json)"


def _differences(differs: Sequence[Differs], despite: str) -> Iterator[str]:
    must = [(each, one) for each in differs for one in each.differences]
    if must:
        yield "THE RIGS DIFFER in what should be the same:"
        for each, one in must:
            yield f"  {one.kind} {one.name}: {one.base} on {each.base}, {one.against} on {each.rig}"
        yield f"  put together despite that: {despite}"
        yield ""
    for each in differs:
        if not each.also:
            continue
        shown = [f"{one.name} {one.base} / {one.against}" for one in each.also[:_MOST_LISTED]]
        more = len(each.also) - len(shown)
        tail = f", and {more} more (--json)" if more > 0 else ""
        yield f"{each.base} / {each.rig}: the rigs differ in {'; '.join(shown)}{tail}"
    if any(each.also for each in differs):
        yield ""


def _cell(each: CellPrecision) -> Iterator[str]:
    unit = each.figure.unit
    yield f"{each.cell.label}: {each.figure.name}, {unit or 'no unit'}"
    many = each.between
    size = max(3, *(len(one.side.rig) for one in each.rigs))
    runs = max(3, *(len(one.side.run) for one in each.rigs))
    head = f"  {'rig':<{size}}  {'run':<{runs}}  {'n':>3}  {'mean':>9}  {'sd':>8}"
    yield "\0" + head + (f"  {'h':>6}  {'k':>6}" if many is not None else "")
    for place, one in enumerate(each.rigs):
        sd = one.group.sd
        line = (
            f"  {one.side.rig:<{size}}  {one.side.run:<{runs}}  {one.group.n:>3}  "
            f"{one.group.mean:>9.5g}  {'-' if sd is None else f'{sd:.3g}':>8}"
        )
        if many is not None:
            line += _h_and_k(many, place, rigs=len(each.rigs))
        yield "\0" + line
    if many is not None:
        yield from _between(each, many)
    elif len(each.rigs) >= LEAST_RIGS:
        yield "  no repeatability: every rig has one value"
    elif len(each.rigs) > 1:
        yield (
            f"  {_count(len(each.rigs), 'rig')}: fewer than the {LEAST_RIGS} from which "
            "reproducibility is told; their differences:"
        )
    for pair in each.pairs:
        yield f"    {_pair(pair, each)}"
    yield from (f"  no logarithm, and so no ratio: {text}" for text in each.no_ratio)
    for own in each.nights:
        yield from (f"  {line}" for line in _nights(own, unit))


def _h_and_k(many: Between, place: int, *, rigs: int) -> str:
    h = many.h[place] if many.h is not None else None
    k = many.k[place]
    found = "".join(f"  {'-' if one is None else f'{one:.2f}':>6}" for one in (h, k))
    marks = []
    if h is not None:
        marks += _mark("h", abs(h), [h_critical(rigs, alpha=a) for a in (STRAGGLER, OUTLIER)])
    if k is not None and many.usual_n > 1:
        beyond = [k_critical(rigs, many.usual_n, alpha=a) for a in (STRAGGLER, OUTLIER)]
        marks += _mark("k", k, beyond)
    return found + ("  " + ", ".join(marks) if marks else "")


def _mark(name: str, value: float, critical: Sequence[float]) -> list[str]:
    if value > critical[1]:
        return [f"{name} beyond 1 %"]
    return [f"{name} beyond 5 %"] if value > critical[0] else []


def _between(each: CellPrecision, many: Between) -> Iterator[str]:
    yield from _spreads(many.spreads, f"over {_count(len(each.rigs), 'rig')}", each.figure.unit)
    for test in many.tests:
        rigs = ", ".join(each.rigs[place].side.rig for place in test.places)
        sign = "<" if test.name == "Grubbs for two" else ">"
        verdict = (
            "in order"
            if test.standing is Standing.IN_ORDER
            else f"{test.standing.value.upper()}: {rigs}"
        )
        yield (
            f"  {test.name}: {test.statistic:.4f} (straggler {sign} {test.critical_5:.4f}, outlier "
            f"{sign} {test.critical_1:.4f}): {verdict}"
        )
        if test.name == "Grubbs" and test.standing is Standing.OUTLIER:
            yield "  Grubbs for two: not asked, since the test for one finds an outlier"
    if many.outliers:
        names = ", ".join(f"{each.rigs[place].side.rig} ({how})" for place, how in many.outliers)
        if many.without is None:
            yield f"  without the outliers {names} fewer than {LEAST_RIGS} rigs are left"
        else:
            yield from _spreads(many.without, f"without the outliers {names}", each.figure.unit)


def _spreads(found: Spreads, over: str, unit: str) -> Iterator[str]:
    mean = found.analysis.mean
    per = 100.0 / abs(mean) if mean else 0.0
    sure = f"±{100 * found.known_r:.0f} %"
    yield (
        f"  {over}: mean {mean:.5g} {unit}, repeatability s_r {found.sd_r:.3g} "
        f"({per * found.sd_r:.2g} %, {sure} of itself), limit r {LIMIT * found.sd_r:.3g}"
    )
    sure = "" if found.known_big_r is None else f", ±{100 * found.known_big_r:.0f} % of itself"
    yield (
        f"    between rigs s_L {found.sd_rigs:.3g} ({per * found.sd_rigs:.2g} %), reproducibility "
        f"s_R {found.sd_big_r:.3g} ({per * found.sd_big_r:.2g} %{sure}), limit R "
        f"{LIMIT * found.sd_big_r:.3g}"
    )


def _pair(pair: Pair, each: CellPrecision) -> str:
    names = f"{each.rigs[pair.against].side.rig} against {each.rigs[pair.base].side.rig}"
    if pair.share is None:
        return f"{names}: no ratio: a value is not above 0"
    text = f"{names}: {100 * pair.share:+.2f} %"
    if pair.low is None or pair.high is None:
        return f"{text}, one value a side tells no interval"
    return f"{text}, 95 % interval {100 * pair.low:+.2f} to {100 * pair.high:+.2f} %"


def _nights(own: Nights, unit: str) -> Iterator[str]:
    found = own.analysis
    assert found is not None
    assert own.half_width is not None
    passes = [each.n for each in own.groups]
    each = f"{passes[0]}" if len(set(passes)) == 1 else f"{min(passes)} to {max(passes)}"
    left = f"; {own.left_out} passes under other fingerprints left out" * bool(own.left_out)
    yield (
        f"nights of {own.rig}: {len(own.groups)} of {each} passes, mean {found.mean:.5g} "
        f"± {own.half_width:.2g} {unit} (95 %, the night as unit){left}"
    )
    if found.sd_within is None or found.sd_between is None:
        yield f"  between nights: one pass a night; standard uncertainty {found.u_mean:.3g}"
        return
    f = "" if found.f is None or found.p is None else f"; F {found.f:.3g}, p = {found.p:.2g}"
    yield (
        f"  within a night s {found.sd_within:.3g}, between nights {found.sd_between:.3g}{f}; "
        f"standard uncertainty of the mean {found.u_mean:.3g} ({found.u_mean_pooled:.3g} if nights "
        "did not differ)"
    )


def _legend(found: Precision) -> Iterator[str]:
    figures = dict.fromkeys((each.figure.name, each.figure.definition) for each in found.cells)
    yield from (f"{name} ({definition})" for name, definition in figures)
    if any(each.between is not None for each in found.cells):
        yield (
            "s_r: one rig, one run; s_R: another rig; two single passes differ by more than r (R) "
            "in one of twenty (ISO 5725-2); h, k: Mandel's statistics of means and spreads"
        )
        yield (
            "straggler: beyond the 5 % value, outlier: beyond 1 %; no rig is taken out of the "
            "first line, and what is without outliers stands beside it"
        )
    if any(each.pairs for each in found.cells):
        yield "differences: ratio of geometric means minus one, Welch on logarithms, each by itself"
    if any(each.nights for each in found.cells):
        yield (
            "nights: passes without a pause of more than six hours, under the latest fingerprint "
            "(layout of the GUM, H.5)"
        )


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
