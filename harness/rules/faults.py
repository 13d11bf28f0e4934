"""The faults: every name that a verdict, a hold or a level may carry, and what to do.

Pure. The one table: messages, the story of a pass and the documentation read it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One line of the table.

    Args:
        name: Kebab-case, stable: it is kept in records.
        means: What happened, in one sentence without a full stop.
        do: What a person does about it, one sentence or two without a last full stop.
    """

    name: str
    means: str
    do: str


_COOL = (
    "let hot parts cool; before you open the case shut down, switch off and unplug, hold the "
    "power button, and discharge yourself"
)


def _f(name: str, means: str, do: str) -> Fault:
    return Fault(name=name, means=means, do=do)


#: Every fault, by name.
FAULTS: Mapping[str, Fault] = MappingProxyType(
    {
        fault.name: fault
        for fault in (
            # a command that did not do its work
            _f(
                "not-found",
                "the program of a command is not there",
                "install the program or correct its name in the plan; a path is looked up from "
                "the folder the run was started in",
            ),
            _f(
                "not-executable",
                "the program of a command is there and may not be carried out",
                "make the file executable, or name the interpreter first in the command",
            ),
            _f(
                "not-started",
                "the operating system refused to start a command",
                "read the system's own word in the reason; free memory, processes or disk",
            ),
            _f(
                "exited",
                "a command ended with an exit status other than 0",
                "read the last lines of its output with harness trace CELL-ATTEMPT",
            ),
            _f(
                "signal",
                "a command was ended by a signal",
                "read its output and the system's log; a crash of the title is a finding too",
            ),
            _f(
                "timed-out",
                "a command ran into its time limit, and its whole tree was ended",
                "raise time_limit in the plan if the scene needs longer, else see what it waited "
                "for in its output",
            ),
            _f(
                "prepare-failed",
                "a prepare step failed, so the title was not started",
                "run the step by hand; read its output with harness trace CELL-ATTEMPT",
            ),
            _f(
                "tidy-failed",
                "a tidy step failed, so the rig may not be as the plan wants it",
                "run the step by hand; read its output with harness trace CELL-ATTEMPT",
            ),
            # the pass as a whole
            _f(
                "interrupted",
                "the runner was gone before the pass had ended",
                "nothing now: the pass does not count and is carried out again",
            ),
            _f(
                "stopped",
                "the runner was told to stop during the pass",
                "nothing now: the pass does not count, and the same command goes on",
            ),
            _f(
                "slept",
                "the machine was suspended during the pass",
                "forbid sleep while a run is on (power settings of the system)",
            ),
            _f(
                "guard",
                "a guard did not hold during the pass",
                "nothing now: the pass is carried out again as far as at_most allows; if it comes "
                "back, put the cause right rather than widening the guard",
            ),
            _f(
                "gate-gave-up",
                "a gate did not hold within its time",
                "see what keeps the reading out of its bound (other load, room, fans); then "
                "release the rig with harness release",
            ),
            _f(
                "limit",
                "a safety limit was passed, or its reading was lost",
                f"{_COOL}; find out why (fans, dust, air paths, a lost sensor), then release the "
                "rig with harness release",
            ),
            # the capture
            _f(
                "no-capture",
                "the command left no capture",
                "check the frames and collect entries of the title and where it writes its file",
            ),
            _f(
                "stale-capture",
                "the capture is older than the pass",
                "make the title write a new file into {captures} in every pass",
            ),
            _f(
                "unreadable-capture",
                "the capture cannot be taken as it is",
                "read it by itself with harness figures, which says line and reason",
            ),
            _f(
                "short-capture",
                "the capture does not cover the stretch that is to be measured",
                "check cut in the plan against the length of the scene",
            ),
            _f(
                "no-figure",
                "a figure that the title must report was not measured",
                "check the figures entries of the title against its output",
            ),
            # the rig
            _f(
                "rig-not-quiet",
                "processes of a command could not be ended",
                "end the processes named in the reason, or restart the machine; then release the "
                "rig with harness release",
            ),
            _f(
                "level-not-met",
                "a level could not be brought about, or a reading says otherwise",
                "bring the level about by hand and read it with harness sensors; then release the "
                "rig with harness release",
            ),
            _f(
                "not-put-back",
                "what a level had changed could not be put back",
                "put it back by hand before anything else runs; then release the rig with harness "
                "release",
            ),
            _f(
                "fingerprint-changed",
                "the rig is not what it was: something no level is meant to change has changed",
                "undo the change, or accept it: after harness release what comes is a new group, "
                "never averaged with what was measured before",
            ),
            _f(
                "held",
                "the rig is held, by this run or another",
                "put right what the reason says; then release the rig with harness release",
            ),
        )
    }
)


def means(fault: str) -> str:
    """Return what *fault* means, one sentence without a full stop; KeyError: no such fault."""
    return FAULTS[fault].means


def what_to_do(fault: str) -> str:
    """Return what a person does about *fault*; KeyError: no such fault."""
    return FAULTS[fault].do
