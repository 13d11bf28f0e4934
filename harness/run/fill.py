"""What ``{…}`` in a command stands for.

Pure. ``captures`` (the fresh folder of the attempt) and ``python`` are the bench's; the
rest is known from the plan.
"""

from __future__ import annotations

from harness.plan.cells import Cell
from harness.plan.document import Setting
from harness.run.state import RunState


def fill(cell: Cell, setting: Setting, *, attempt: int, state: RunState) -> dict[str, str]:
    """Return the text of every placeholder but ``captures`` and ``python``.

    ``pass`` counts the cell's kept passes of this group and this one, ``attempt`` every
    attempt of the cell. A condition stands for its level's name.
    """
    return {
        **dict(setting.values),
        **dict(cell.levels),
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "pass": str(len(state.progress[cell.key].kept) + 1),
        "attempt": str(attempt),
    }
