"""The steps of one pass, in order: prepare, the title's own command, tidy.

Touches processes. A step before the title that fails ends the pass before the title starts;
tidy steps are carried out whatever happened before them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from harness.plan.document import Command
from harness.rig.attempt import AttemptFolder
from harness.rig.command import Commands, Onlooker
from harness.rig.placeholders import filled
from harness.rig.tasks import CommandEnd, EndedBy, PassTask

Interrupt = Callable[[], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsEnd:
    """How the steps ended: the end that counts, and whose it is where not the title's."""

    end: CommandEnd
    failed_step: str | None = None


def carry_out_steps(
    task: PassTask,
    *,
    folder: AttemptFolder,
    commands: Commands,
    values: Mapping[str, str],
    token: str,
    stop: Interrupt,
    onlooker: Onlooker,
) -> StepsEnd:
    """Carry out all steps of *task*; the first that failed is the end that counts."""

    def step(command: Command, name: str, stop: Interrupt, watch: Onlooker | None) -> CommandEnd:
        return commands.carry_out(
            filled(command.argv, values),
            time_limit_s=command.time_limit_s,
            token=token,
            stdout=folder.output(f"{name}.stdout" if name else "stdout"),
            stderr=folder.output(f"{name}.stderr" if name else "stderr"),
            stop=stop,
            onlooker=watch,
        )

    counts: StepsEnd | None = None
    for number, command in enumerate(task.title.prepare, start=1):
        end = step(command, f"prepare-{number}", stop, None)
        if not succeeded(end):
            counts = StepsEnd(end=end, failed_step=f"prepare {number}")
            break
    if counts is None:
        counts = StepsEnd(end=step(task.title.command, "", stop, onlooker))
    for number, command in enumerate(task.title.tidy, start=1):
        if counts.end.survivors:
            break  # nothing is started beside what could not be ended
        end = step(command, f"tidy-{number}", _hurry(commands), None)
        if succeeded(counts.end) and not succeeded(end):
            counts = StepsEnd(end=end, failed_step=f"tidy {number}")
        elif end.survivors:
            counts = replace(counts, end=replace(counts.end, survivors=end.survivors))
    return counts


def succeeded(end: CommandEnd) -> bool:
    """Return whether a command ended by itself, well, and left nothing behind."""
    return end.by is EndedBy.EXIT and end.status == 0 and not end.survivors


def _hurry(commands: Commands) -> Interrupt:
    """Return when a tidy step is broken off: it is carried out on a stop, not on a second one."""
    flag = commands.flag
    return lambda: flag is not None and flag.in_a_hurry
