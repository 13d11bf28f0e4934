"""What is known of a run: the fold of its records.

Pure. ``RunState`` is changed by ``harness.run.apply`` and by nothing else. It is kept per
cell, so that an event costs the same in a grid of ten cells and of ten thousand.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from harness.plan.cells import Cell, cells
from harness.plan.document import Bound, Condition, Level, Limit, Plan, Setting, Title
from harness.plan.order import Block, blocks, reference_cells
from harness.rig.fingerprint_fields import fields_meant
from harness.rules.judgement import KeptPass
from harness.rules.under_load import under_load
from harness.run.records import (
    CellState,
    Clocks,
    LevelOrdered,
    Offer,
    PassEnded,
    PassStarted,
    RigHeld,
    StepAsked,
)
from harness.run.transitions import Phase


@dataclass(slots=True, kw_only=True)
class Progress:
    """Where one cell stands. Counts are of the open group. Only ``apply`` writes it."""

    state: CellState = CellState.OPEN
    attempts: int = 0  #: last attempt number given; never reused
    superseded: int = 0  #: the last attempt whose place a rerun took; 0: none did
    counted: int = 0  #: counted passes that used up ``at_most``
    kept: tuple[KeptPass, ...] = ()
    discards: tuple[tuple[str, int], ...] = ()  #: (rule, how many passes it has discarded)
    warm_ups: int = 0  #: since the last thing that asked for a warm-up
    warm_up_faults: int = 0  #: failed ones since the last counted pass
    warm_up_figures: tuple[float | None, ...] = ()  #: of those, where they go on until steady
    warmed: bool = False  #: until steady: they are over
    unsteady: str = ""  #: why its passes are marked: the warm-up never became steady
    stays: int = 0  #: visits that gave it counted passes
    last_stay: int = 0  #: the latest of them, by ``RunState.stay``
    wanted: int | None = None  #: kept passes wanted; None: as the plan says for every cell


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
    references: tuple[str | None, ...]  #: the key of the reference cell of each block

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
            references=reference_cells(plan, in_order),
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

    def under_load(self, cell: Cell) -> tuple[Bound, ...]:
        """Return what the levels of *cell* expect of readings that a pass alone can judge."""
        return under_load(tuple(e for pair in cell.levels for e in self.levels[pair].expect))


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
    offers: tuple[Offer, ...] = ()  #: earlier cells that may yet be taken
    # the reference cell
    reference_stay: int = 0  #: the stay in which it was measured last
    reference_at: str = ""  #: the instant at which that pass began, RFC 3339
    reference_faults: int = 0
    since_reference: int = 0  #: counted passes since
    fault: str | None = None  #: the fault that the last cells in a row had
    faulty: tuple[str, ...] = ()  #: those cells
    # hardware
    levels: dict[str, str] = field(default_factory=dict)  #: verified since the last start or hold
    believed: dict[str, str] = field(default_factory=dict)  #: levels a person confirmed
    said: dict[str, str] = field(default_factory=dict)  #: of those, while no runner was at work
    said_in: str = ""  #: the start of the machine at which that was
    had_it_last: bool = False  #: no other run's runner had the rig before the one that is at work
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
    opened: int = 0  #: the step that may have opened the case; 0: none, or a pass is over since
    attended_by: str = ""  #: who stays with the rig meanwhile; empty: nobody is known to
    # preload passes before the pass that is due
    preloads: int = 0
    preload_s: float = 0.0
    to_prove: RigHeld | None = None  #: a hold by a limit whose reading has yet to come back
    hold: RigHeld | None = None
    holds: int = 0
    refusals: int = 0  #: of those, how many the store could not keep at the time
    last_request: int = 0
    clocks: Clocks | None = None  #: as the last runner found them, with every jump seen since
    # the pass in progress
    passing: PassStarted | None = None
    ended: PassEnded | None = None
    # totals
    largest_pass_bytes: int = 0  #: of the files that a pass has left
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


def wanted_passes(state: RunState, progress: Progress) -> int:
    """Return how many kept passes the cell of *progress* wants."""
    return state.plan.passes.keep if progress.wanted is None else progress.wanted


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
    wanted = wanted_passes(state, progress)
    within = state.block is not None and progress.last_stay == state.stay
    visit = progress.stays + (not within)
    if visit >= visits:
        return True
    keep = -(-wanted * visit // visits)
    ceiling = -(-passes.at_most * visit // visits)
    return len(progress.kept) < keep and progress.counted < ceiling


def warm_up_due(state: RunState, key: str) -> bool:
    """Return whether the next pass of the cell *key* is a warm-up pass."""
    progress, warm_up = state.progress[key], state.plan.passes.warm_up
    if warm_up.within is None:
        return progress.warm_ups < warm_up.passes
    return not progress.warmed and progress.warm_ups < warm_up.at_most


def warm_ups_left(state: RunState, key: str) -> int:
    """Return how many more warm-up passes are due, the fewest where they go on until steady."""
    if not warm_up_due(state, key):
        return 0
    progress, warm_up = state.progress[key], state.plan.passes.warm_up
    wanted = warm_up.passes if warm_up.within is None else 2
    return max(1, wanted - progress.warm_ups)


def passes_a_turn(state: RunState) -> int:
    """Return how many counted passes a cell gets in one round."""
    passes, order = state.plan.passes, state.plan.order
    if order.rounds is None or (passes.look_first and state.round <= 1):
        return 1
    return max(1, -(-passes.keep // (order.rounds * order.visits)))
