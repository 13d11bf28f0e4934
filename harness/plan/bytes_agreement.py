"""What ``bytes_per_frame`` says for some settings or levels, held against those there are.

Pure.
"""

from __future__ import annotations

from harness.plan import fields as f
from harness.plan import title_fields as t
from harness.plan.kinds import Desk, Values
from harness.plan.mappings import Named
from harness.plan.names import nearest, suggestion
from harness.units import shown


def bytes_agree(title: Values, *, conditions: Named[Values] | None, desk: Desk) -> None:
    """Report names under ``bytes_per_frame`` that are no setting of the title and no level.

    All of them must be settings, or levels of one condition, and no name may stand for both or
    for levels of two (*on* of one and *on* of another): else a cell would have two sizes.

    Args:
        title: The title.
        conditions: The plan's conditions.
        desk: Takes the problems.
    """
    named = title.get(t.BYTES_PER_FRAME)
    if not isinstance(named, Named):
        return
    kinds = [frozenset(title.of(t.TITLE_SETTINGS, ()))]
    for _, condition in conditions.parts if conditions is not None else ():
        levels = condition.get(f.LEVELS)
        kinds.append(frozenset(levels.keys if levels is not None else ()))
    known = sorted(frozenset().union(*kinds))
    unknown = [name for name in named.keys if name not in known]
    for name in unknown:
        near = nearest(name, known)
        what = (
            f"bytes_per_frame names {shown(name)}, which is no setting of this title and no level"
        )
        more = f"; the nearest is {near}" if near else ""
        desk.error(named.keys[name], "unknown-name", what + more, suggestion(name, known))
    if unknown or sum(not kind.isdisjoint(named.keys) for kind in kinds) == 1:
        return
    what = "bytes_per_frame names settings and levels, or levels of two conditions"
    do = (
        "name settings of the title only, or levels of one condition only; rename what has a name "
        "of both"
    )
    desk.error(title.place(t.BYTES_PER_FRAME), "mixed-names", what, do)
