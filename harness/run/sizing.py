"""How many kept passes a cell wants, where its plan says how exact it is to be.

Pure. The number is fixed before the passes are measured: by what earlier runs say of the
spread, or by the cell's own first passes (``harness.rules.enough``).
"""

from __future__ import annotations

from collections.abc import Sequence

from harness.plan.document import Plan, Title
from harness.plan.main_figure import enough_figure
from harness.rules.enough import Wanted, from_history, from_pilot
from harness.rules.judgement import KeptPass
from harness.run import records as r


def sized_by_history(
    plan: Plan, title: Title, cell: str, *, sd: float | None, df: int
) -> r.CellSized | None:
    """Return what earlier passes say; None where they do not tell, or the plan asks for nothing.

    A cell of which nothing is known beforehand goes by its own first passes.

    Args:
        plan: The plan.
        title: The cell's title.
        cell: Its key.
        sd: Relative standard deviation of earlier passes, pooled; None: there are none.
        df: Degrees of freedom it has.
    """
    enough = plan.enough
    if enough is None:
        return None
    passes = plan.passes
    wanted = from_history(
        sd, df=df, half_width=enough.half_width, keep=passes.keep, at_most=passes.at_most
    )
    if wanted.sd is None:
        return None
    return _sized(plan, title, cell, wanted, pilot=())


def sized_by_pilot(
    plan: Plan, title: Title, cell: str, *, kept: Sequence[KeptPass], counted: int
) -> r.CellSized | None:
    """Return how many passes a cell wants by its first ones; None where they are too few.

    None as well where the plan asks for nothing. The number must not be fixed yet.

    Args:
        plan: The plan.
        title: The cell's title.
        cell: Its key.
        kept: Its kept passes, once the last verdict and the discard rules had their say.
        counted: How many passes are used up.
    """
    if plan.enough is None or len(kept) < plan.passes.keep:
        return None
    figure = enough_figure(plan, title)
    values = [dict(each.figures).get(figure) for each in kept]
    known = [value for value in values if value is not None]
    spent = counted - len(kept)
    wanted = from_pilot(
        known,
        half_width=plan.enough.half_width,
        keep=plan.passes.keep,
        at_most=max(plan.passes.keep, plan.passes.at_most - spent),
    )
    return _sized(plan, title, cell, wanted, pilot=tuple(each.attempt for each in kept))


def _sized(
    plan: Plan, title: Title, cell: str, wanted: Wanted, *, pilot: tuple[int, ...]
) -> r.CellSized:
    assert plan.enough is not None
    return r.CellSized(
        cell=cell,
        passes=wanted.passes,
        figure=enough_figure(plan, title),
        half_width=plan.enough.half_width,
        reason=wanted.reason,
        pilot=pilot,
    )
