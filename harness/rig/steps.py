"""The steps of one pass, in order: files put, prepare, recorder and title, tidy, files given back.

Touches processes and disk. A step before the title that fails ends the pass before the title
starts; tidy steps are carried out whatever happened before them, and then every file is given
back.

The recorder is started before the title and told to end after it: it then misses nothing, and
what it records of the time around is cut away with ``cut``.

Limits hold in every step: a breach ends the step's tree at once, and after one in prepare the
title is not started. The steps that still follow a breach are tidy's, and no limit ends them:
what they put back is what lets the rig cool, and only their time limit ends them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from harness.plan.document import Command
from harness.rig.attempt import AttemptFolder
from harness.rig.command import Commands, Onlooker
from harness.rig.crossings import LimitBreached
from harness.rig.originals import FileTrouble, Originals
from harness.rig.placeholders import filled
from harness.rig.recorder import Recording, record
from harness.rig.tasks import CommandEnd, EndedBy, PassTask
from harness.rig.title_files import TitleFiles
from harness.rig.ways import PLAIN, Ways

Interrupt = Callable[[], bool]


class LimitOnlooker(Onlooker, Protocol):
    """An onlooker that says which limit was passed. Used for one command."""

    @property
    def limit(self) -> LimitBreached | None:
        """Return the breach, its time counted from the start of the command it watched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsEnd:
    """How the steps ended: the end that counts, and whose it is where not the title's.

    ``limit`` is the first breach, ``limit_step`` the step it was in (empty: the title).
    """

    end: CommandEnd
    failed_step: str | None = None
    limit: LimitBreached | None = None
    limit_step: str = ""
    recorder: CommandEnd | None = None
    changed_files: tuple[str, ...] = ()
    not_given_back: tuple[str, ...] = ()


@dataclass(slots=True, kw_only=True)
class Steps:
    """The steps of one pass.

    Args:
        task: The pass.
        folder: Where the output of every step goes.
        commands: Carries the commands out.
        values: For the ``{…}`` of the commands.
        token: Names the pass in the environment of the commands.
        stop: Whether the runner is to stop.
        onlooker: Watches the title's own command, guards and all.
        of_step: Makes an onlooker for one step beside it, which it watches for the limits
            alone; None where there is nothing to watch for.
        originals: Keeps what lay where the title's files are put.
    """

    task: PassTask
    folder: AttemptFolder
    commands: Commands
    values: Mapping[str, str]
    token: str
    stop: Interrupt
    onlooker: LimitOnlooker
    of_step: Callable[[], LimitOnlooker | None]
    originals: Originals
    files: TitleFiles = field(init=False)

    def __post_init__(self) -> None:
        """Take the title's files up."""
        self.files = TitleFiles(
            self.task.title.files,
            folder=self.commands.folder,
            values=self.values,
            originals=self.originals,
            owner=f"{self.task.run}-{self.task.name}",
        )

    def carry_out(self) -> StepsEnd:
        """Carry all steps out; the first that failed is the end that counts."""
        counts: StepsEnd | None = None
        try:
            self.files.put()
            counts = self._prepare()
            if counts is None:
                self.files.look()
                counts = self._title()
        except FileTrouble as trouble:
            counts = StepsEnd(end=_no_file(self.task, str(trouble)), failed_step="files")
        finally:
            # Also when something of ours failed: no title's file stays changed.
            done = self._tidy(counts) if counts is not None else None
            paid = self.files.give_back()
        assert done is not None
        owed = tuple(f"{debt.target}: {why}" for debt, why in paid.unpaid)
        return replace(done, not_given_back=owed)

    def _prepare(self) -> StepsEnd | None:
        for number, command in enumerate(self.task.title.prepare, start=1):
            name = f"prepare {number}"
            end, limit = self._step(command, name, stop=self.stop, watch=self.of_step())
            if limit is not None or not succeeded(end):
                return StepsEnd(
                    end=end, failed_step=name, limit=limit, limit_step=name if limit else ""
                )
        return None

    def _title(self) -> StepsEnd:
        title = self.task.title
        if title.recorder is None:
            end, limit = self._step(
                title.command, "", stop=self.stop, watch=self.onlooker, ways=self._ways(None)
            )
            return StepsEnd(end=end, limit=limit, changed_files=self.files.changed())
        held = self.commands.lock.take()
        if held is None:  # the title's own start says who holds the lock
            return StepsEnd(end=self._step(title.command, "", stop=self.stop, watch=None)[0])
        return self._recorded(title.command, title.recorder, held)

    def _recorded(self, command: Command, recorder: Command, held: int) -> StepsEnd:
        """Carry the title out with its recorder beside it; both hold the rig lock, *held*."""
        recording = record(
            filled(recorder.argv, self.values),
            commands=self.commands,
            token=self.token,
            stdout=self.folder.output("recorder.stdout"),
            stderr=self.folder.output("recorder.stderr"),
            held=held,
        )
        if isinstance(recording, CommandEnd):
            os.close(held)
            return StepsEnd(end=recording, failed_step="recorder", recorder=recording)
        end, limit, watch = None, None, None
        try:
            end, limit = self._step(
                command,
                "",
                stop=self.stop,
                watch=self.onlooker,
                ways=self._ways(recording),
                held=held,
            )
        finally:
            os.close(held)  # from here on only the recorder holds it
            watch = self.of_step() if limit is None else None
            recorded = recording.finish(
                time_limit_s=recorder.time_limit_s if end is not None and limit is None else 0.0,
                stop=_hurry(self.commands),
                onlooker=watch,
            )
        if watch is not None:
            watch.finish()
        counts = StepsEnd(
            end=replace(end, survivors=recorded.survivors),
            limit=limit,
            recorder=recorded,
            changed_files=self.files.changed(),
        )
        after = watch.limit if watch is not None else None
        if end.by is EndedBy.RECORDER or (succeeded(end) and not succeeded(recorded)):
            counts = replace(counts, end=recorded, failed_step="recorder")
        if limit is None and after is not None:
            counts = replace(counts, limit=after, limit_step="recorder")
        return counts

    def _ways(self, recording: Recording | None) -> Ways:
        title = self.task.title
        growing: list[tuple[tuple[Path, ...], float, EndedBy]] = []
        if title.silent_after_s is not None:
            outputs = (self.folder.output("stdout"), self.folder.output("stderr"))
            growing.append((outputs, title.silent_after_s, EndedBy.SILENT))
        if title.still_after_s is not None:
            growing.append(((self.folder.captures,), title.still_after_s, EndedBy.STILL))
        return Ways(alive=title.alive, growing=growing, beside=recording)

    def _tidy(self, counts: StepsEnd) -> StepsEnd:
        for number, command in enumerate(self.task.title.tidy, start=1):
            if counts.end.survivors:
                break  # nothing is started beside what could not be ended
            name = f"tidy {number}"
            watch = self.of_step() if counts.limit is None else None
            end, limit = self._step(command, name, stop=_hurry(self.commands), watch=watch)
            well = counts.limit is None and succeeded(counts.end)
            if well and (limit is not None or not succeeded(end)):
                counts = replace(counts, end=end, failed_step=name)
            elif end.survivors:
                counts = replace(counts, end=replace(counts.end, survivors=end.survivors))
            if counts.limit is None and limit is not None:
                counts = replace(counts, limit=limit, limit_step=name)
        return counts

    def _step(
        self,
        command: Command,
        name: str,
        *,
        stop: Interrupt,
        watch: LimitOnlooker | None,
        ways: Ways = PLAIN,
        held: int | None = None,
    ) -> tuple[CommandEnd, LimitBreached | None]:
        of = name.replace(" ", "-")
        end = self.commands.carry_out(
            filled(command.argv, self.values),
            time_limit_s=command.time_limit_s,
            token=self.token,
            stdout=self.folder.output(f"{of}.stdout" if of else "stdout"),
            stderr=self.folder.output(f"{of}.stderr" if of else "stderr"),
            stop=stop,
            onlooker=watch,
            ways=ways,
            held=held,
        )
        if watch is None:
            return end, None
        watch.finish()  # one that never began, since the command was refused, lets go here
        return end, watch.limit


def _no_file(task: PassTask, trouble: str) -> CommandEnd:
    argv = task.title.command.argv
    return CommandEnd(argv=argv, by=EndedBy.NOT_STARTED, wall_s=0.0, detail=trouble)


def succeeded(end: CommandEnd) -> bool:
    """Return whether a command ended by itself, well, and left nothing behind."""
    return end.by is EndedBy.EXIT and end.status == 0 and not end.survivors


def _hurry(commands: Commands) -> Interrupt:
    """Return when a tidy step is broken off: it is carried out on a stop, not on a second one."""
    flag = commands.flag
    return lambda: flag is not None and flag.in_a_hurry
