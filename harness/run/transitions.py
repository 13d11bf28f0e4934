"""The one table of transitions: which record may come in which phase, and where it leads.

Pure. The table is the law: a record that is not listed for a phase is a bug in the
harness, never a thing to be patched over. Its picture in DEVELOPERS.md is drawn from it.

A run is in exactly one phase. What is true of single cells (how many passes, which
verdicts) is kept per cell and never changes the phase.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from harness.run import records as r


class Phase(enum.Enum):
    """What the run is about."""

    NEW = "new"  #: no record yet
    IDLE = "idle"  #: nothing runs; the next step is to be chosen
    LEVEL = "level"  #: a level's command was ordered
    STEP = "step"  #: a person's step is open; nothing starts
    PASS = "pass"  #: a pass was started
    ENDED = "ended"  #: a pass has ended and waits for its verdict
    HELD = "held"  #: nothing more until a person releases the rig
    PAUSED = "paused"  #: the runner was told to stop
    FINISHED = "finished"  #: every cell is closed

    # Members are singletons: their identity is hash enough, and Enum's own hash is a
    # Python function, which a fold over a million records would feel.
    __hash__ = object.__hash__


_SAME_IN_IDLE: tuple[type[r.Record], ...] = (
    r.RunnerStarted,
    r.GroupOpened,
    r.BlockOpened,
    r.BlockClosed,
    r.RoundStarted,
    r.RigSettled,
    r.LevelVerified,
    r.LevelNotMet,
    r.LevelPutBack,
    r.PassSkipped,
    r.PassDiscarded,
    r.CellWarmedUp,
    r.CellClosed,
    r.CellReopened,
    r.ReuseOffered,
    r.ReuseTurnedDown,
    r.CellReused,
    r.CellSized,
    r.RequestAnswered,
    r.ClockJumped,
)

TRANSITIONS: Mapping[Phase, Mapping[type[r.Record], Phase]] = MappingProxyType(
    {
        Phase.NEW: {r.RunStarted: Phase.IDLE},
        Phase.IDLE: {
            **dict.fromkeys(_SAME_IN_IDLE, Phase.IDLE),
            r.LevelOrdered: Phase.LEVEL,
            r.StepAsked: Phase.STEP,
            r.PassStarted: Phase.PASS,
            r.RigHeld: Phase.HELD,
            r.RunPaused: Phase.PAUSED,
            r.RunFinished: Phase.FINISHED,
        },
        Phase.LEVEL: {
            r.LevelVerified: Phase.IDLE,
            r.LevelNotMet: Phase.IDLE,
            r.RunnerStarted: Phase.IDLE,  # the runner was gone in the middle of the command
        },
        Phase.STEP: {
            r.RunnerStarted: Phase.STEP,
            r.ClockJumped: Phase.STEP,
            r.GroupOpened: Phase.STEP,
            r.RequestAnswered: Phase.STEP,
            r.CellReopened: Phase.STEP,
            r.StepConfirmed: Phase.IDLE,
            r.RigHeld: Phase.HELD,
        },
        Phase.PASS: {r.PassEnded: Phase.ENDED},
        Phase.ENDED: {r.PassJudged: Phase.IDLE},
        Phase.HELD: {
            r.RunnerStarted: Phase.HELD,
            r.ClockJumped: Phase.HELD,
            r.LimitCleared: Phase.HELD,
            r.AlarmRaised: Phase.HELD,
            r.LevelPutBack: Phase.HELD,
            r.RequestAnswered: Phase.HELD,
            r.CellReopened: Phase.HELD,
            r.RigReleased: Phase.IDLE,
        },
        Phase.PAUSED: {
            r.RunnerStarted: Phase.IDLE,
            r.ClockJumped: Phase.PAUSED,
            r.LevelPutBack: Phase.PAUSED,
            r.RigHeld: Phase.HELD,  # what a level had changed could not be put back
        },
        Phase.FINISHED: {
            r.RunnerStarted: Phase.FINISHED,
            r.ClockJumped: Phase.FINISHED,
            r.LevelPutBack: Phase.FINISHED,
            r.RequestAnswered: Phase.FINISHED,
            r.CellReopened: Phase.IDLE,
            r.RigHeld: Phase.HELD,
        },
    }
)


def led_to(phase: Phase, records: Iterable[r.Record]) -> Phase:
    """Return the phase after *records*; IllegalTransition where the table does not allow one."""
    for record in records:
        try:
            phase = TRANSITIONS[phase][type(record)]
        except KeyError:
            raise IllegalTransition(phase, record) from None
    return phase


class IllegalTransition(Exception):
    """A record came in a phase that does not allow it: a bug in the harness."""

    def __init__(self, phase: Phase, record: r.Record) -> None:
        allowed = ", ".join(kind.__name__ for kind in TRANSITIONS[phase])
        super().__init__(
            f"{type(record).__name__} in phase {phase.value!r}, "
            f"which allows only {allowed}: {record}"
        )
        self.phase = phase
        self.record = record
