"""What earlier passes and the rig itself say against a plan, as warnings.

Pure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from harness.errors import Place, Problem
from harness.plan import fields as f
from harness.plan.document import Plan
from harness.plan.kinds import Values
from harness.plan.source import Source
from harness.rig.readings import Reading
from harness.rig.survey import LookedFor
from harness.run.ready import not_ready
from harness.summary.earlier import Earlier, Scene
from harness.summary.from_logs import fraction
from harness.summary.resolution import Spread, half_width, passes_to_resolve

#: Below this many degrees of freedom a spread is itself too uncertain to warn of: with 4 it is
#: known to a factor of 0.6 to 2.9 (95 %, chi-square). Our choice, no source.
LEAST_DF = 4

_SHOWN = 5  # titles


def band_not_resolved(plan: Plan, values: Values, source: Source, found: Earlier) -> Problem | None:
    """Return a warning where the plan's band is finer than its passes can tell.

    The spread is that of earlier kept passes, pooled over a title's cells; the interval is
    that of ``harness.summary.resolution``, with the pass as the unit.
    """
    keep, band = plan.passes.keep, plan.compare.band
    fine = {
        scene: spread
        for scene, spread in found.spreads.items()
        if spread.df >= LEAST_DF and half_width(spread.sd, keep) > math.log1p(band)
    }
    if not fine:
        return None
    scenes = sorted(fine, key=lambda scene: -fine[scene].sd)
    worst = scenes[0]
    others = f" (and {len(scenes) - 1} more)" if len(scenes) > 1 else ""
    return Problem(
        code="band-not-resolved",
        severity="warning",
        what=f"with keep {keep} a band of {_percent(band)} cannot be told for {worst[0]}"
        f"{others}: {_spread(found.figures[worst], fine[worst])}, so a margin is known to "
        f"{_known_to(fine[worst].sd, keep)}",
        place=_of_band(values, source),
        where=tuple(_line(found, scene, keep, band) for scene in scenes[:_SHOWN])
        + ((f"… and {len(scenes) - _SHOWN} more",) if len(scenes) > _SHOWN else ()),
        do=_advice(fine[worst].sd, plan),
    )


def _spread(figure: str, spread: Spread) -> str:
    cells = "cell" if spread.cells == 1 else "cells"
    return (
        f"{figure} spread by {_percent(spread.sd)} within its cells in {spread.passes} earlier "
        f"passes of {spread.cells} {cells}"
    )


def _known_to(sd: float, keep: int) -> str:
    if keep < 2:
        return "nothing at all"
    return f"±{_percent(fraction(half_width(sd, keep)))}"


def _line(found: Earlier, scene: Scene, keep: int, band: float) -> str:
    spread = found.spreads[scene]
    needed = passes_to_resolve(spread.sd, band)
    passes = f"{needed} passes" if needed is not None else "no number of passes"
    return (
        f"{scene[0]}, {scene[1]}: {_spread(found.figures[scene], spread)}; "
        f"keep {keep} tells {_known_to(spread.sd, keep)}, {passes} would tell {_percent(band)}"
    )


def _advice(sd: float, plan: Plan) -> str:
    needed = passes_to_resolve(sd, plan.compare.band)
    more = ""
    if needed is not None:
        more = f"write keep: {needed}"
        if needed > plan.passes.at_most:
            more += f" and at_most: {needed} or more"
    if plan.passes.keep < 2:
        return more or "make the passes steadier, or write a wider band"
    # Rounded up, so that the band that is named does resolve.
    wide = math.ceil(1000.0 * fraction(half_width(sd, plan.passes.keep))) / 10.0
    if wide >= 100.0:  # no band is that wide
        return f"{more}, or make the passes steadier" if more else "make the passes steadier"
    wider = f"write compare: {{band: {wide:g} %}}"
    return f"{more}, or {wider}" if more else f"{wider}, or make the passes steadier"


def _of_band(values: Values, source: Source) -> Place:
    compare = values.get(f.COMPARE)
    if compare is not None and f.BAND.name in compare.nodes:
        return source.place_of(compare.place(f.BAND))
    return source.place_of(values.need(f.PASSES).place(f.KEEP))


def _percent(fraction: float) -> str:
    """Return a fraction in per cent, two digits of it.

    >>> _percent(0.03), _percent(0.0187), _percent(0.0004)
    ('3 %', '1.9 %', '0.04 %')
    """
    return f"{100.0 * fraction:.2g} %" if fraction < 0.995 else f"{100.0 * fraction:.0f} %"


def not_here(plan: Plan, readings: Mapping[str, Reading], source: Source) -> tuple[Problem, ...]:
    """Return as warnings why ``harness run`` would refuse *plan* on a rig with *readings*."""
    return tuple(
        Problem(
            code="reading-not-here" if each.code == "reading-not-measured" else each.code,
            severity="warning",
            what=each.what,
            place=_shown(each.place, source),
            where=each.where,
            do=each.do,
        )
        for each in not_ready(plan, readings, file=source.file)
    )


def not_there(looked_for: Iterable[LookedFor], source: Source) -> tuple[Problem, ...]:
    """Return as warnings which programs and files of a plan are not on this rig."""
    return tuple(
        Problem(
            code="program-not-here",
            severity="warning",
            what=f"{each.what}: {each.name}: {each.problem}",
            place=_shown(Place(file=source.file, line=each.line, column=each.column), source),
            do="put it there, or correct the plan: a program without a folder in its name is "
            "looked for in PATH, everything else from the folder where harness is started",
        )
        for each in looked_for
        if each.problem
    )


def _shown(place: Place | None, source: Source) -> Place | None:
    if place is None or place.line is None or place.column is None:
        return place
    return source.place(place.line, place.column)
