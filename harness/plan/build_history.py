"""What leans on earlier work, read and agreed -> its parts of the frozen plan.

Pure.
"""

from __future__ import annotations

from harness.plan import document as d
from harness.plan import fields as f
from harness.plan import history_fields as h
from harness.plan import title_fields as t
from harness.plan.kinds import Values


def _at(values: Values) -> d.At:
    mark = values.node.start_mark
    return d.At(mark.line + 1, mark.column + 1)


def enough(values: Values | None) -> d.Enough | None:
    """Return how exact a cell is wanted, or None where the plan does not say."""
    if values is None:
        return None
    return d.Enough(
        half_width=values.need(h.ENOUGH_HALF_WIDTH),
        figure=values.get(h.ENOUGH_FIGURE),
        source=d.EnoughFrom(values.of(h.ENOUGH_FROM, d.EnoughFrom.TWO_STAGE.value)),
        at=_at(values),
    )


def reference(plan: Values) -> d.Reference | None:
    """Return the reference cell; its scene is the only one of its title where none is given."""
    values = plan.get(h.REFERENCE)
    if values is None:
        return None
    title = values.need(h.REFERENCE_TITLE)
    scenes = [each.need(t.SCENE) for each in plan.of(f.TITLES, ()) if each.need(t.TITLE) == title]
    return d.Reference(
        title=title,
        scene=values.of(h.REFERENCE_SCENE, scenes[0]),
        setting=values.need(h.REFERENCE_SETTING),
        every_s=values.get(h.REFERENCE_EVERY),
        at=_at(values),
    )


def reuse(values: Values | None) -> d.Reuse | None:
    """Return which earlier cells may be taken, or None where none may."""
    if values is None:
        return None
    return d.Reuse(
        within_s=values.need(h.REUSE_WITHIN),
        same=values.need(h.REUSE_SAME),
        check_reference=values.get(h.REUSE_CHECK) == "reference",
        at=_at(values),
    )
