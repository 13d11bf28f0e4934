"""How many passes earlier runs say that the cells of a plan want.

Pure. Apart from ``harness.summary.earlier``, which a check reads and which must be light.
"""

from __future__ import annotations

from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.run.records import CellSized
from harness.run.sizing import sized_by_history
from harness.summary.earlier import Earlier


def sizes(plan: Plan, seen: Earlier) -> tuple[CellSized, ...]:
    """Return how many passes earlier ones say that each cell of *plan* wants.

    A cell of a title that tells nothing goes by its own first passes.
    """
    titles = {(title.title, title.scene): title for title in plan.titles}
    found = []
    for cell in cells(plan):
        spread = seen.spreads.get((cell.title, cell.scene))
        sized = sized_by_history(
            plan,
            titles[cell.title, cell.scene],
            cell.key,
            sd=spread.sd if spread is not None else None,
            df=spread.df if spread is not None else 0,
        )
        if sized is not None:
            found.append(sized)
    return tuple(found)
