"""Which cells of an earlier run were measured by the same procedure as a plan's.

Pure. What was measured with another command, setting, gate or cut says nothing of a cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from harness.errors import StoreError
from harness.plan.canonical import procedure_hash, thaw
from harness.plan.cells import Cell, cells
from harness.plan.document import Plan


def procedures(plan: Plan, grid: Iterable[Cell]) -> dict[str, str]:
    """Return the hash of the procedure of each cell of *grid*, by its key."""
    return {cell.key: procedure_hash(plan, cell, definitions="") for cell in grid}


def thawed(frozen: str) -> Plan | None:
    """Return a kept plan; None where another version kept it: nobody can say what it asked."""
    try:
        return thaw(frozen)
    except StoreError:
        return None


def measured_alike(other: Plan, wanted: Mapping[str, str]) -> set[str]:
    """Return the keys of the cells that *other* measures by the procedures *wanted*."""
    own = procedures(other, (cell for cell in cells(other) if cell.key in wanted))
    return {key for key, procedure in own.items() if procedure == wanted[key]}
