"""Plan -> the order of the work: blocks of one hardware state, rounds within them.

Pure. A block is left only when its cells have what its visit owes them. Conditions that a
person brings about vary as rarely as the wanted visits allow: those that open the case
slowest, then those that need a reboot. Visits repeat the whole sequence (A-B-A-B), so that
what a person's hand changes can be told from what the level changes.

The order within a round depends on nothing but the plan's seed, the visit and the round,
through SHA-256: it is the same on every rig, system and version of Python.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from harness.plan.cells import Cell, cells
from harness.plan.document import By, Condition, OrderBy, Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One stay at one state of the hardware.

    ``visit`` counts from 1; ``levels`` are (condition, level) of the conditions that make
    blocks; ``cells`` are cell keys in plan order.
    """

    visit: int
    levels: tuple[tuple[str, str], ...]
    cells: tuple[str, ...]


def block_conditions(plan: Plan) -> tuple[Condition, ...]:
    """Return the conditions whose levels make blocks, the slowest-changing first.

    These are the conditions a person brings about, and ``order.rounds_within`` whoever
    brings it about.
    """
    chosen = [
        condition
        for condition in plan.conditions
        if condition.by is By.OPERATOR or condition.name == plan.order.rounds_within
    ]
    # sorted() is stable: plan order decides between conditions of equal effort.
    return tuple(
        sorted(
            chosen,
            key=lambda c: (c.by is not By.OPERATOR, not c.opens_case, not c.reboot),
        )
    )


def blocks(plan: Plan) -> tuple[Block, ...]:
    """Return the blocks of *plan*, in order: every visit goes through every state once.

    A plan without such conditions has one block for every visit.
    """
    conditions = block_conditions(plan)
    grid = cells(plan)
    states = itertools.product(*([level.name for level in c.levels] for c in conditions))
    members: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for state in states:
        members[tuple(zip((c.name for c in conditions), state, strict=True))] = []
    names = {condition.name for condition in conditions}
    rank = {condition.name: place for place, condition in enumerate(conditions)}
    for cell in grid:
        own = sorted((p for p in cell.levels if p[0] in names), key=lambda p: rank[p[0]])
        members[tuple(own)].append(cell.key)
    return tuple(
        Block(visit=visit, levels=levels, cells=tuple(keys))
        for visit in range(1, plan.order.visits + 1)
        for levels, keys in members.items()
    )


def round_order(
    members: Sequence[Cell], *, by: OrderBy, seed: int, visit: int, round_no: int
) -> tuple[Cell, ...]:
    """Return *members* in the order of one round.

    Args:
        members: Cells in plan order.
        by: ``plan`` leaves them so; ``shuffled`` shuffles them; ``fewest-changes`` keeps
            the cells of one combination of levels together, and shuffles the combinations
            and the cells within each.
        seed: The plan's seed.
        visit: Number of the visit, from 1.
        round_no: Number of the round within the block, from 1.
    """
    if by is OrderBy.PLAN:
        return tuple(members)
    salt = f"{seed}/{visit}/{round_no}/"

    def draw(text: str) -> bytes:
        return hashlib.sha256((salt + text).encode("utf-8")).digest()

    if by is OrderBy.SHUFFLED:
        return tuple(sorted(members, key=lambda cell: draw(cell.key)))
    levels = {each: draw("levels " + repr(each)) for each in {cell.levels for cell in members}}
    return tuple(sorted(members, key=lambda cell: (levels[cell.levels], draw(cell.key))))


def reference_cells(plan: Plan, in_order: Sequence[Block]) -> tuple[str | None, ...]:
    """Return the key of the reference cell of each of *in_order*; None where there is none.

    It is the plan's title and setting under the block's own levels and the first level of
    every other condition, so that it is the same cell in every visit and night.
    """
    reference = plan.reference
    if reference is None:
        return tuple(None for _ in in_order)
    firsts = {condition.name: condition.levels[0].name for condition in plan.conditions}
    wanted = (reference.title, reference.scene, reference.setting)
    by_levels = {
        frozenset(cell.levels): cell.key
        for cell in cells(plan)
        if (cell.title, cell.scene, cell.setting) == wanted
    }
    return tuple(
        by_levels.get(frozenset({**firsts, **dict(block.levels)}.items())) for block in in_order
    )
