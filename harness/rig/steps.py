"""The steps of one pass, in order: prepare, the title's own command, tidy.

Touches processes. A step before the title that fails ends the pass before the title starts;
tidy steps are carried out whatever happened before them.

Limits hold in every step: a breach ends the step's tree at once, and after one in prepare the
title is not started. The steps that still follow a breach are tidy's, and no limit ends them:
what they put back is what lets the rig cool, and only their time limit ends them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Protocol

from harness.plan.document import Command
from harness.rig.attempt import AttemptFolder
from harness.rig.command import Commands, Onlooker
from harness.rig.crossings import LimitBreached
from harness.rig.placeholders import filled
from harness.rig.tasks import CommandEnd, EndedBy, PassTask

Interrupt = Callable[[], bool]


class LimitOnlooker(Onlooker, Protocol):
    """An onlooker that says which limit was passed. Used for one command."""

    @property
    def limit(self) -> LimitBreached | None:
        """Return the breach, its time counted from the start of the command it watched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsEnd:
    """How the steps ended: the end that counts, and whose it is where not the title's.

    ``limit`` is the first breach, in whichever step it was.
    """

    end: CommandEnd
    failed_step: str | None = None
    limit: LimitBreached | None = None


def carry_out_steps(
    task: PassTask,
    *,
    folder: AttemptFolder,
    commands: Commands,
    values: Mapping[str, str],
    token: str,
    stop: Interrupt,
    onlooker: LimitOnlooker,
    of_step: Callable[[], LimitOnlooker | None],
) -> StepsEnd:
    """Carry out all steps of *task*; the first that failed is the end that counts.

    Args:
        task: The pass.
        folder: Where the output of every step goes.
        commands: Carries the commands out.
        values: For the ``{…}`` of the commands.
        token: Names the pass in the environment of the commands.
        stop: Whether the runner is to stop.
        onlooker: Watches the title's own command, guards and all.
        of_step: Makes an onlooker for one prepare or tidy step, which it watches for the
            limits alone; None where there is nothing to watch for.
    """

    def step(
        command: Command, name: str, stop: Interrupt, watch: LimitOnlooker | None
    ) -> tuple[CommandEnd, LimitBreached | None]:
        end = commands.carry_out(
            filled(command.argv, values),
            time_limit_s=command.time_limit_s,
            token=token,
            stdout=folder.output(f"{name}.stdout" if name else "stdout"),
            stderr=folder.output(f"{name}.stderr" if name else "stderr"),
            stop=stop,
            onlooker=watch,
        )
        if watch is None:
            return end, None
        watch.finish()  # one that never began, since the command was refused, lets go here
        return end, watch.limit

    counts: StepsEnd | None = None
    for number, command in enumerate(task.title.prepare, start=1):
        end, limit = step(command, f"prepare-{number}", stop, of_step())
        if limit is not None or not succeeded(end):
            counts = StepsEnd(end=end, failed_step=f"prepare {number}", limit=limit)
            break
    if counts is None:
        end, limit = step(task.title.command, "", stop, onlooker)
        counts = StepsEnd(end=end, limit=limit)
    for number, command in enumerate(task.title.tidy, start=1):
        if counts.end.survivors:
            break  # nothing is started beside what could not be ended
        watch = of_step() if counts.limit is None else None
        end, limit = step(command, f"tidy-{number}", _hurry(commands), watch)
        well = counts.limit is None and succeeded(counts.end)
        if well and (limit is not None or not succeeded(end)):
            counts = StepsEnd(end=end, failed_step=f"tidy {number}", limit=limit)
            continue
        if end.survivors:
            counts = replace(counts, end=replace(counts.end, survivors=end.survivors))
        counts = replace(counts, limit=counts.limit or limit)
    return counts


def succeeded(end: CommandEnd) -> bool:
    """Return whether a command ended by itself, well, and left nothing behind."""
    return end.by is EndedBy.EXIT and end.status == 0 and not end.survivors


def _hurry(commands: Commands) -> Interrupt:
    """Return when a tidy step is broken off: it is carried out on a stop, not on a second one."""
    flag = commands.flag
    return lambda: flag is not None and flag.in_a_hurry
