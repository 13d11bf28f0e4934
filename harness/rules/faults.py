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


_OPEN = (
    "before you open the case shut down, switch off and unplug, hold the power button, wait until "
    "board lights are out and hot parts are cool, and discharge yourself"
)
_HOT = (
    f"let hot parts cool; find out why (fans, dust, air paths, a lost sensor); {_OPEN}; then "
    "release the rig with harness release"
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
            _f(
                "silent",
                "a command wrote nothing to its output for too long, and its whole tree was ended",
                "see what it waited for in its output; a program that gathers its output before "
                "it writes needs a longer silent_after, or none",
            ),
            _f(
                "still",
                "no capture of a command grew for too long, and its whole tree was ended",
                "see what it waited for; a title that writes its file only at the end needs a "
                "longer still_after, or none",
            ),
            _f(
                "never-alive",
                "a launcher ended, and the program that should go on was not seen",
                "compare alive with the name that the system lists for the running title; one "
                "that is started by a service of the system cannot be followed",
            ),
            _f(
                "recorder-failed",
                "the recorder failed, so nothing of the pass was recorded",
                "read its output with harness trace CELL-ATTEMPT; run it by hand beside the title",
            ),
            _f(
                "files-failed",
                "a file of the title could not be put in place or watched",
                "put right what the reason says of the file, or correct files in the plan",
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
                "device-lost",
                "a device of the rig no longer answers",
                "read the system's log for its errors, and start the machine anew; where it comes "
                f"back and is lost again, look at its power plugs and its seat: {_OPEN}; then "
                "release the rig with harness release",
            ),
            _f(
                "slept",
                "the machine was suspended during the pass",
                "forbid sleep while a run is on (power settings of the system)",
            ),
            _f(
                "clock-jumped",
                "the clock of the day jumped during the pass, from which a title may take times",
                "nothing now: the pass is carried out again as far as at_most allows; let a time "
                "service set the clock before the night, and keep it by small steps",
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
                "a safety limit was passed",
                "find out why the reading went outside its limit, and put it right; then release "
                "the rig with harness release",
            ),
            _f(
                "sensor-lost",
                "a reading that a safety limit or a gate needs was lost",
                "see with harness sensors what can be read, and why that is gone (driver, cable, "
                "another program at the sensor); then release the rig with harness release",
            ),
            _f(
                "level-under-load",
                "under load a reading is not what the level expects of it",
                "see whether the card or a cable sits badly or something shares its lanes; "
                f"{_OPEN}; then release the rig with harness release",
            ),
            _f(
                "settings-changed",
                "a watched file of the title changed during the pass",
                "see what wrote to it (the title itself, or a patch); a file the title rewrites "
                "in every pass belongs into put, not into watch alone",
            ),
            _f(
                "setting-differs",
                "the title used another value than was asked for",
                "see why the title did not take it (its own limits, scaling of the screen, a "
                "settings file); correct the setting or the pattern in reports",
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
                "files-not-given-back",
                "a file that a pass had put in place could not be given back",
                "let the file be written and release the rig: it is given back before anything "
                "else; or put it right by hand from its original, in the rig's folder",
            ),
            _f(
                "fingerprint-changed",
                "the rig is not what it was: something no level is meant to change has changed",
                "undo the change, or accept it: after harness release what comes is a new group, "
                "never averaged with what was measured before",
            ),
            _f(
                "disk-low",
                "too little room is left where the store lies for another pass",
                "then release the rig with harness release; nothing that was kept is in danger",
            ),
            _f(
                "store-refused",
                "the store could not keep what was to be kept, and the runner left",
                "put right what the store's own error says, then release the rig with harness "
                "release; everything kept before is safe",
            ),
            _f(
                "held",
                "the rig is held, by this run or another",
                "put right what the reason says; then release the rig with harness release",
            ),
        )
    }
)


#: Faults that the same command will have again, until a person has done something: these
#: are not tried again.
LASTING = frozenset({"not-found", "not-executable"})

#: Faults of a capture: they make a pass void, and in every cell they are a fault of the bench.
OF_CAPTURE = frozenset({"no-capture", "stale-capture", "unreadable-capture", "short-capture"})

#: Faults that reading the same capture again may undo: every other is of what happened then.
OF_READING = OF_CAPTURE | {"no-figure", "setting-differs"}


def means(fault: str) -> str:
    """Return what *fault* means, one sentence without a full stop; KeyError: no such fault."""
    return FAULTS[fault].means


def what_to_do(fault: str) -> str:
    """Return what a person does about *fault*; KeyError: no such fault."""
    return FAULTS[fault].do


def after_a_limit(unit: str) -> str:
    """Return what a person does after a limit on a reading in *unit*: heat is a case of its own."""
    return _HOT if unit == "°C" else what_to_do("limit")
