"""Plan -> cells: every title at every of its settings under every level.

Pure.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import json
from dataclasses import dataclass

from harness.plan.document import Plan, Setting, Title


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One title and scene at one setting under one level of every condition.

    ``levels`` names every condition of the plan with its level, in plan order.
    """

    title: str
    scene: str
    setting: str
    levels: tuple[tuple[str, str], ...] = ()

    @property
    def key(self) -> str:
        """Return the cell's lasting name: 12 hexadecimal digits, the same on every rig."""
        return _key(self.title, self.scene, self.setting, self.levels)

    @property
    def label(self) -> str:
        """Return the cell as a person reads it."""
        levels = "".join(f", {condition} {level}" for condition, level in self.levels)
        return f"{self.title}, {self.scene}, {self.setting}{levels}"

    def level(self, condition: str) -> str:
        """Return the level of *condition*; KeyError where the plan has no such condition."""
        return dict(self.levels)[condition]


@functools.lru_cache(maxsize=65_536)
def _key(title: str, scene: str, setting: str, levels: tuple[tuple[str, str], ...]) -> str:
    text = json.dumps(
        [title, scene, setting, sorted(levels)], ensure_ascii=False, separators=(",", ":")
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def cells(plan: Plan) -> tuple[Cell, ...]:
    """Return the grid in plan order: titles, then settings, then levels."""
    combinations = [
        tuple(zip((c.name for c in plan.conditions), names, strict=True))
        for names in itertools.product(*([lv.name for lv in c.levels] for c in plan.conditions))
    ]
    return tuple(
        Cell(title=title.title, scene=title.scene, setting=setting, levels=levels)
        for title in plan.titles
        for setting in title.settings
        for levels in combinations
    )


def title_of(plan: Plan, cell: Cell) -> Title:
    """Return the plan's entry for the title and scene of *cell*; KeyError where none is."""
    for title in plan.titles:
        if title.title == cell.title and title.scene == cell.scene:
            return title
    raise KeyError(cell.label)


def setting_of(plan: Plan, cell: Cell) -> Setting:
    """Return the plan's entry for the setting of *cell*; KeyError where none is."""
    for setting in plan.settings:
        if setting.name == cell.setting:
            return setting
    raise KeyError(cell.label)
