"""pick(state) -> the one instruction that is due. The next step is chosen, not listed.

Pure. Blocks (one state of the hardware each) hold rounds, rounds hold cells. A block is
left only when each of its cells has what this visit owes it or is closed; only then is a
person asked for the next.
"""

from __future__ import annotations

from datetime import datetime
from itertools import chain
from typing import assert_never

from harness.plan.document import By, Person
from harness.plan.order import round_order
from harness.rig.tasks import LevelTask
from harness.run import instructions as i
from harness.run import records as r
from harness.run.after_limit import proof
from harness.run.attendance import attendance_step
from harness.run.reference import reference_due
from harness.run.reuse import taken_now
from harness.run.state import RunState, owed, warm_up_due
from harness.run.transitions import Phase
from harness.run.warming import gates_due

#: Why it is asked whether something is still so.
STILL = "a runner has started since it was confirmed, and no reading tells whether it is still so"
#: What is said with it where the case was opened for it.
PUT_RIGHT = (
    "If it is still so, touch nothing. If it is not, put it right with every caution of an opened "
    "case (shut down, switch off, unplug), and confirm it with --attending: the first pass is "
    "attended again."
)


def pick(state: RunState, *, local_minute: int = 0, now: datetime | None = None) -> i.Instruction:
    """Return what is to be done next in *state*.

    Args:
        state: The run.
        local_minute: Minute of the local day, 0 to 1439; asked only for a person's hours.
        now: The instant; asked only for the reference cell.
    """
    match state.phase:
        case Phase.IDLE:
            return _idle(state, local_minute, now)
        case Phase.PASS:
            assert state.passing is not None
            started = state.passing
            cell = state.grid.cells[started.cell]
            return i.CarryOut(
                cell=started.cell,
                attempt=started.attempt,
                warm_up=started.warm_up,
                limits=state.grid.limits(cell),
                reference=started.reference,
            )
        case Phase.LEVEL:
            assert state.ordered is not None
            return _set_level(state, state.ordered.condition, state.ordered.level)
        case Phase.STEP:
            assert state.step is not None
            return i.AwaitPerson(step=state.step)
        case Phase.HELD:
            hold = state.to_prove
            if hold is not None and hold.limit is not None:
                return i.AwaitProof(gate=proof(state, hold.limit), reading=hold.limit.reading)
            return _put_back(state) or i.Leave(outcome=i.Outcome.HELD)
        case Phase.PAUSED:
            return _put_back(state) or i.Leave(outcome=i.Outcome.PAUSED)
        case Phase.FINISHED:
            return _put_back(state) or i.Leave(outcome=i.Outcome.FINISHED)
        case Phase.NEW | Phase.ENDED:
            raise AssertionError(f"nothing is ever due in phase {state.phase.value}")
        case _:
            assert_never(state.phase)


def due(state: RunState, *, boot: str = "", now: datetime | None = None) -> r.Record | None:
    """Return the record that is due in phase IDLE before anything is done, or None.

    That a block opens or closes, that a person must be asked, that a level's command is
    about to run, that all is done: each is on record before it has any effect.
    """
    if state.block is None:
        block = next_block(state)
        if block is not None:
            return r.BlockOpened(block=block)
        closed = state.closed
        return r.RunFinished(
            accepted=closed.get(r.CellState.ACCEPTED, 0),
            short=closed.get(r.CellState.SHORT, 0),
            failed=closed.get(r.CellState.FAILED, 0),
        )
    reference = reference_due(state, now)
    if not state.left and reference is None:
        return r.BlockClosed(block=state.block)
    asked = _person_step(state, boot=boot)
    if asked is not None:
        # Nobody is called to the rig for a reference pass alone.
        return asked if state.left else r.BlockClosed(block=state.block)
    pair = _open_level(state, reference or upcoming(state)[0])
    if pair is not None and state.grid.levels[pair].command is not None:
        return r.LevelOrdered(condition=pair[0], level=pair[1])
    return None


def next_block(state: RunState) -> int | None:
    """Return the next block that owes passes, or None where none does."""
    count = len(state.grid.blocks)
    # After the last comes the first again: a cell that begins anew wants all its visits.
    for number in chain(range(state.next_block, count), range(min(state.next_block, count))):
        if any(owed(state, key) for key in state.grid.blocks[number].cells):
            return number
    return None


def upcoming(state: RunState) -> tuple[str, r.RoundStarted | None]:
    """Return the cell in turn, and the record of a new round where one begins with it.

    Called only while the open block owes passes.
    """
    for key in state.queue:
        if key in state.left:
            return key, None
    assert state.block is not None and state.left
    block, order = state.grid.blocks[state.block], state.plan.order
    number = state.round + 1
    cells = round_order(
        tuple(state.grid.cells[key] for key in block.cells if key in state.left),
        by=order.by,
        seed=order.seed,
        visit=block.visit,
        round_no=number,
    )
    keys = tuple(cell.key for cell in cells)
    return keys[0], r.RoundStarted(round=number, cells=keys)


def _idle(state: RunState, local_minute: int, now: datetime | None) -> i.Instruction:
    if state.put_back_first:
        back = _put_back(state)
        if back is not None:
            return back
    if state.settle_due:
        return i.Settle(seconds=state.plan.rig.settle_s)
    if taken_now(state):
        return i.GoOn()
    reference = reference_due(state, now)
    if state.block is None or not (state.left or reference):
        return i.GoOn()
    if _person_step(state, boot="") is not None:
        if not state.left:
            return i.GoOn()
        back = _put_back(state)  # the rig may be off next: nothing is left changed
        if back is not None:
            return back
        wait = minutes_to(state.plan.person, local_minute)
        return i.AwaitHours(seconds=60.0 * wait) if wait else i.GoOn()
    key = reference or upcoming(state)[0]
    pair = _open_level(state, key)
    if pair is not None:
        ordered = state.grid.levels[pair].command is not None
        return i.GoOn() if ordered else _set_level(state, *pair)
    return i.AwaitGates(
        cell=key,
        warm_up=warm_up_due(state, key),
        gates=gates_due(state),
        limits=state.grid.limits(state.grid.cells[key]),
        reference=reference is not None,
    )


def minutes_to(person: Person | None, local_minute: int) -> int:
    """Return the minutes until a person may be asked; hours may go over midnight."""
    if person is None:
        return 0
    day = 24 * 60
    into = (local_minute - person.from_minute) % day
    length = (person.to_minute - person.from_minute) % day or day
    return 0 if into < length else day - into


def _person_step(state: RunState, *, boot: str) -> r.StepAsked | None:
    """Return the step a person must do before the open block can go on, or None."""
    assert state.block is not None
    wanted = [
        (name, level)
        for name, level in state.grid.blocks[state.block].levels
        if state.grid.conditions[name].by is By.OPERATOR
        and state.levels.get(name) != level
        # One that was confirmed before and can be read is read again, not asked again.
        and not (state.believed.get(name) == level and state.grid.readable(name, level))
    ]
    if not wanted:
        return attendance_step(state, boot=boot)
    changed = [(name, level) for name, level in wanted if state.believed.get(name) != level]
    if not changed:
        return _still_step(state, wanted, boot=boot)
    wanted = changed
    conditions = [state.grid.conditions[name] for name, _ in wanted]
    return r.StepAsked(
        step=state.steps + 1,
        levels=tuple(wanted),
        say=tuple(state.grid.levels[pair].say for pair in wanted),
        opens_case=any(condition.opens_case for condition in conditions),
        reboot=any(condition.reboot for condition in conditions),
        boot=boot,
        why=state.step_why,
    )


def _still_step(state: RunState, wanted: list[tuple[str, str]], *, boot: str) -> r.StepAsked:
    """Return the step that asks whether what a person confirmed is so still.

    No reading tells of it, and a runner has started since. Nobody is sent to do it again.
    """
    opens = [pair for pair in wanted if state.grid.conditions[pair[0]].opens_case]
    say = [f"See that this is still so: {state.grid.levels[pair].say}" for pair in wanted]
    return r.StepAsked(
        step=state.steps + 1,
        levels=tuple(wanted),
        say=(*say, *((PUT_RIGHT,) if opens else ())),
        opens_case=False,
        reboot=False,
        boot=boot,
        why=STILL,
        still=True,
        reopens=bool(opens),
    )


def _open_level(state: RunState, key: str) -> tuple[str, str] | None:
    """Return the next level of the cell in turn, *key*, that is not known to be in force."""
    assert state.block is not None
    for pair in state.grid.blocks[state.block].levels:
        if _is_open(state, pair):
            return pair
    for pair in state.grid.cells[key].levels:
        if _is_open(state, pair):
            return pair
    return None


def _is_open(state: RunState, pair: tuple[str, str]) -> bool:
    name, level = pair
    if state.levels.get(name) == level:
        return False
    # A level with neither a command nor anything to read is only a word in the title's
    # own command line: it is in force as soon as it is handed over.
    return state.grid.levels[pair].command is not None or state.grid.readable(name, level)


def _set_level(state: RunState, condition: str, level: str) -> i.SetLevel:
    part = state.grid.levels[condition, level]
    ordered = state.phase is Phase.LEVEL
    return i.SetLevel(
        task=LevelTask(
            condition=condition,
            level=level,
            command=part.command if ordered else None,
            expect=(*part.expect, *part.needs),
        )
    )


def _put_back(state: RunState) -> i.PutBack | None:
    for condition, level in state.put_back.items():
        if condition in state.not_put_back:
            continue
        command = state.grid.levels[condition, level].put_back
        assert command is not None
        return i.PutBack(condition=condition, level=level, command=command)
    return None
