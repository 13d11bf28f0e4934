"""What is known of a run: the fold of its records.

Pure. ``RunState`` is changed by ``harness.run.apply`` and by nothing else. It is kept per
cell, so that an event costs the same in a grid of ten cells and of ten thousand.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from harness.plan.cells import Cell, cells
from harness.plan.document import Condition, Level, Limit, Plan, Setting, Title
from harness.plan.order import Block, blocks
from harness.rig.fingerprint_fields import fields_meant
from harness.rules.judgement import KeptPass
from harness.run.records import CellState, LevelOrdered, PassEnded, PassStarted, RigHeld, StepAsked
from harness.run.transitions import Phase


@dataclass(slots=True, kw_only=True)
class Progress:
    """Where one cell stands. Counts are of the open group. Only ``apply`` writes it."""

    state: CellState = CellState.OPEN
    attempts: int = 0  #: last attempt number given; never reused
    counted: int = 0  #: counted passes that used up ``at_most``
    kept: tuple[KeptPass, ...] = ()
    discards: tuple[tuple[str, int], ...] = ()  #: (rule, how many passes it has discarded)
    warm_ups: int = 0  #: since the last thing that asked for a warm-up
    warm_up_faults: int = 0
    stays: int = 0  #: visits that gave it counted passes
    last_stay: int = 0  #: the latest of them, by ``RunState.stay``


@dataclass(frozen=True, slots=True)
class Grid:
    """The plan, looked up by cell key. Made once; never changes."""

    plan: Plan
    cells: dict[str, Cell]
    titles: dict[str, Title]
    settings: dict[str, Setting]
    blocks: tuple[Block, ...]
    members: tuple[frozenset[str], ...]  #: the cell keys of each block
    conditions: dict[str, Condition]
    levels: dict[tuple[str, str], Level]
    free_fields: frozenset[str]  #: of the fingerprint, those that levels are meant to change

    @classmethod
    def of(cls, plan: Plan) -> Grid:
        """Return the grid of *plan*."""
        by_key = {cell.key: cell for cell in cells(plan)}
        in_order = blocks(plan)
        titles = {(title.title, title.scene): title for title in plan.titles}
        settings = {setting.name: setting for setting in plan.settings}
        return cls(
            plan=plan,
            cells=by_key,
            titles={key: titles[cell.title, cell.scene] for key, cell in by_key.items()},
            settings={key: settings[cell.setting] for key, cell in by_key.items()},
            blocks=in_order,
            members=tuple(frozenset(block.cells) for block in in_order),
            conditions={condition.name: condition for condition in plan.conditions},
            levels={
                (condition.name, level.name): level
                for condition in plan.conditions
                for level in condition.levels
            },
            free_fields=frozenset(
                meant
                for condition in plan.conditions
                for name in condition.changes
                for meant in fields_meant(name, titles=[title.title for title in plan.titles])
            ),
        )

    def readable(self, condition: str, level: str) -> bool:
        """Return whether anything can be read that tells whether a level is in force."""
        part = self.levels[condition, level]
        return bool(part.expect or part.needs)

    def limits(self, cell: Cell) -> tuple[Limit, ...]:
        """Return the limits in force for *cell*: the plan's and its levels'."""
        own = (limit for pair in cell.levels for limit in self.levels[pair].limits)
        return (*(self.plan.limits or ()), *own)


@dataclass(slots=True)
class RunState:
    """Everything the records say. Only ``apply`` writes it."""

    grid: Grid = field(compare=False, repr=False)
    run: str = ""
    phase: Phase = Phase.NEW
    progress: dict[str, Progress] = field(default_factory=dict)
    # fingerprint
    group: int = 0
    fields: dict[str, str] = field(default_factory=dict)
    accepted: dict[str, str] = field(default_factory=dict)  #: changed fields a release accepts
    # where in the order
    next_block: int = 0
    stay: int = 0  #: counts the blocks that were opened, the same one again too
    block: int | None = None
    left: dict[str, None] = field(default_factory=dict)  #: cells the block still owes passes
    round: int = 0
    queue: deque[str] = field(default_factory=deque)  #: cells whose turn is to come
    turn_passes: int = 0
    turn_faults: int = 0
    fault: str | None = None  #: the fault that the last cells in a row had
    faulty: tuple[str, ...] = ()  #: those cells
    # hardware
    levels: dict[str, str] = field(default_factory=dict)  #: verified since the last start or hold
    believed: dict[str, str] = field(default_factory=dict)  #: levels a person confirmed
    level_faults: int = 0
    put_back: dict[str, str] = field(default_factory=dict)  #: condition -> level to be undone
    put_back_first: bool = False
    not_put_back: dict[str, str] = field(default_factory=dict)  #: condition -> what went wrong
    ordered: LevelOrdered | None = None
    settle_due: bool = False
    # a person
    step: StepAsked | None = None
    step_why: str = ""
    steps: int = 0
    hold: RigHeld | None = None
    holds: int = 0
    last_request: int = 0
    # the pass in progress
    passing: PassStarted | None = None
    ended: PassEnded | None = None
    # totals
    closed: dict[CellState, int] = field(default_factory=dict)

    #: The run's frozen plan.
    plan: Plan = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Take the plan out of the grid, where everything asks for it."""
        self.plan = self.grid.plan


def begin(plan: Plan | Grid) -> RunState:
    """Return the state of a run of *plan* before its first record.

    Its grid may be handed in instead, where it was made before.
    """
    grid = plan if isinstance(plan, Grid) else Grid.of(plan)
    return RunState(grid=grid, progress={key: Progress() for key in grid.cells})


def owed(state: RunState, key: str) -> bool:
    """Return whether a visit, the open one or the next, owes passes to the cell *key*.

    Of the wanted visits, the first that give a cell counted passes owe it their share of the
    kept passes wanted, rounded up, and of the ceiling; the last owes what is left. A cell
    that begins anew (a new group, a rerun) begins with its first visit again.
    """
    progress = state.progress[key]
    if progress.state is not CellState.OPEN:
        return False
    passes, visits = state.plan.passes, state.plan.order.visits
    within = state.block is not None and progress.last_stay == state.stay
    visit = progress.stays + (not within)
    if visit >= visits:
        return True
    keep = -(-passes.keep * visit // visits)
    ceiling = -(-passes.at_most * visit // visits)
    return len(progress.kept) < keep and progress.counted < ceiling


def warm_up_due(state: RunState, key: str) -> bool:
    """Return whether the next pass of the cell *key* is a warm-up pass."""
    return state.progress[key].warm_ups < state.plan.passes.warm_up.passes


def passes_a_turn(state: RunState) -> int:
    """Return how many counted passes a cell gets in one round."""
    passes, order = state.plan.passes, state.plan.order
    if order.rounds is None or (passes.look_first and state.round <= 1):
        return 1
    return max(1, -(-passes.keep // (order.rounds * order.visits)))
