"""Carry out one command to its end, and to the proof that nothing of it is left.

Touches processes. While the command runs the runner sleeps (``harness.rig.watching``): it is
woken by the end of the command, by a stop, by a limit that was passed, or when a time is up.
"""

from __future__ import annotations

import errno
import os
import re
import signal
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from harness.rig.clock import MachineClock
from harness.rig.ending import Tree, end_left_over
from harness.rig.living_on import LivingOn
from harness.rig.locks import RigLock
from harness.rig.nets import Net, Nets
from harness.rig.output import OutputFiles
from harness.rig.process import TOKEN, Inherited, NotStarted, Started, start
from harness.rig.stop import StopFlag
from harness.rig.tasks import CommandEnd, EndedBy
from harness.rig.tree import ProcessId, described, holding_open
from harness.rig.watching import Growth, Watching
from harness.rig.watching import Onlooker as Onlooker
from harness.rig.ways import PLAIN, Ways
from harness.rig.ways import Patience as Patience

Interrupt = Callable[[], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A command that was started, with what is needed to end it."""

    argv: tuple[str, ...]
    started: Started
    output: OutputFiles
    net: Net | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Commands:
    """Starts commands on a rig, one at a time.

    Args:
        lock: The rig lock, handed over to each command.
        clock: For time limits.
        given: Affinity and niceness of a command.
        folder: Where commands run, and what relative paths in a plan are relative to.
        patience: How long to wait for what.
        flag: Wakes the runner when it is to stop; None: the stop is asked again and again.
        strangers: Children of the runner that are none of ours.
        nets: Makes the operating system's own net for a command; None: it has none.
    """

    lock: RigLock
    clock: MachineClock
    given: Inherited
    folder: Path
    patience: Patience = field(default_factory=Patience)
    flag: StopFlag | None = None
    strangers: frozenset[ProcessId] = frozenset()
    nets: Nets | None = None

    def carry_out(
        self,
        argv: Sequence[str],
        *,
        time_limit_s: float,
        token: str,
        stdout: Path,
        stderr: Path,
        stop: Interrupt,
        onlooker: Onlooker | None = None,
        environment: Mapping[str, str] | None = None,
        ways: Ways = PLAIN,
        held: int | None = None,
    ) -> CommandEnd:
        """Carry one filled command out; return how it ended.

        Never raises for what a command does. ``wall_s`` is from the start of the command
        itself to its own end; ``survivors`` is empty only where quiet was proved. Beside
        another command (``held`` is a descriptor of the rig lock that both hold) the proof is
        that one's: nothing is quiet while it runs.
        """
        running = self.begin(
            argv, token=token, stdout=stdout, stderr=stderr, environment=environment, held=held
        )
        if isinstance(running, CommandEnd):
            return running
        started = running.started
        strangers = {*self.strangers, *(() if ways.beside is None else (ways.beside.id,))}
        tree = Tree(
            clock=self.clock,
            strangers=strangers,
            net=running.net,
            since_ticks=started.id.started_ticks,
        )
        watching = self.watching(
            deadline_s=started.started_s + time_limit_s,
            stop=stop,
            onlooker=onlooker,
            output=running.output,
            ways=ways,
        )
        end = CommandEnd(argv=running.argv, by=EndedBy.NOT_STARTED, wall_s=0.0)
        try:
            if onlooker is not None:
                onlooker.begin(started, each_tick=running.output.trim)
            end = self._to_its_end(end, started, tree, watching, token, ways)
        finally:
            # Also when something of ours failed: a command is never left running.
            tree.end(grace_s=0.0)
            os.close(started.descriptor)
            if onlooker is not None:
                onlooker.finish()
        survivors = () if held is not None else end_left_over(tree, token=token, lock=self.lock)
        if running.net is not None:
            running.net.close()
        return replace(end, survivors=survivors, dropped_output_bytes=running.output.close())

    def begin(
        self,
        argv: Sequence[str],
        *,
        token: str,
        stdout: Path,
        stderr: Path,
        environment: Mapping[str, str] | None = None,
        held: int | None = None,
    ) -> Running | CommandEnd:
        """Start one filled command, and return it; or return why it was not started."""
        end = CommandEnd(argv=tuple(argv), by=EndedBy.NOT_STARTED, wall_s=0.0)
        handed_over = self.lock.take() if held is None else os.dup(held)
        if handed_over is None:
            who = tuple(described(each) for each in holding_open(self.lock.path))
            return replace(
                end,
                detail="an earlier command is still running on this rig",
                survivors=who or ("a process that cannot be seen from here",),
            )
        name = re.sub(r"[^0-9A-Za-z-]+", "-", f"{os.getpid()}-{stdout.name}")
        net = self.nets.make(name) if self.nets is not None else None
        started = start(
            argv,
            folder=self.folder,
            environment={**(environment if environment is not None else os.environ), TOKEN: token},
            stdout=stdout,
            stderr=stderr,
            handed_over=handed_over,
            given=self.given,
            entrance=net.entrance if net is not None else "",
        )
        if isinstance(started, NotStarted):
            if net is not None:
                net.close()
            return _refused(end, started, self.folder)
        return Running(
            argv=end.argv, started=started, output=OutputFiles((stdout, stderr)), net=net
        )

    def watching(
        self,
        *,
        deadline_s: float,
        stop: Interrupt,
        onlooker: Onlooker | None,
        output: OutputFiles,
        ways: Ways = PLAIN,
    ) -> Watching:
        """Return what may end a command beside itself, its times counted from now."""
        watching = Watching(
            clock=self.clock,
            deadline_s=deadline_s,
            stop=stop,
            ask_every_s=self.patience.ask_every_s,
            flag=self.flag,
            onlooker=onlooker,
            trim=output.trim,
            growths=tuple(
                Growth(paths=paths, within_s=within_s, by=by)
                for paths, within_s, by in ways.growing
            ),
            beside=ways.beside,
        )
        watching.begin()
        return watching

    def _to_its_end(
        self,
        end: CommandEnd,
        started: Started,
        tree: Tree,
        watching: Watching,
        token: str,
        ways: Ways,
    ) -> CommandEnd:
        living = None
        if ways.alive is None:
            by = watching.until_ended(started.descriptor)
        else:
            appear_s = self.patience.appear_s
            living = LivingOn(program=ways.alive, token=token, tree=tree, appear_s=appear_s)
            by = living.follow(started, watching)
        wall_s = self.clock.steady_s() - started.started_s
        if by is not None and by is not EndedBy.EXIT:
            grace_s = 0.0 if by is EndedBy.LIMIT else self.patience.grace_s
            sent = tree.end(grace_s=grace_s, hurry=self._in_a_hurry)
            wall_s = self.clock.steady_s() - started.started_s
            tree.status_of(started.id.pid)
            return replace(end, by=by, wall_s=wall_s, detail=_silence(by, ways, sent))
        note = ""
        if living is not None and living.seen:
            status = living.status if living.status is not None else 0
            if living.status is None:
                note = f"how {living.program} itself ended cannot be seen from here"
        else:
            status = tree.status_of(started.id.pid)
        end = replace(end, wall_s=wall_s)
        if os.WIFSIGNALED(status):
            end = replace(end, by=EndedBy.SIGNAL, signal=signal_name(os.WTERMSIG(status)))
        elif living is not None and not living.seen and status == 0:
            note = f"no process called {living.program} was seen in {living.appear_s:g} s after it"
            end = replace(end, by=EndedBy.NEVER_ALIVE)
        else:
            end = replace(end, by=EndedBy.EXIT, status=os.WEXITSTATUS(status))
        after = self.after_it(tree, watching.broken_off)
        return replace(end, detail="; ".join(filter(None, (note, after))))

    def after_it(self, tree: Tree, enough: Interrupt) -> str:
        """Let what the command left behind end by itself, for a while; say if it did not."""
        left = tree.wait_until_gone(self.patience.linger_s, broken_off=enough)
        if not left:
            return ""
        names = ", ".join(described(each) for each in left)
        sent = tree.end(grace_s=self.patience.grace_s, hurry=enough)
        return f"left behind and ended: {names}; {sent}"

    def _in_a_hurry(self) -> bool:
        return self.flag is not None and self.flag.in_a_hurry


def _silence(by: EndedBy, ways: Ways, sent: str) -> str:
    """Return what is said of a command that was ended: how long it was silent, what was sent."""
    for _, within_s, name in ways.growing:
        if name is by:
            return f"{'; '.join(filter(None, (f'for {within_s:g} s', sent)))}"
    return sent


def _refused(end: CommandEnd, refused: NotStarted, folder: Path) -> CommandEnd:
    """Return how a command ended that was never started."""
    word = os.strerror(refused.errno) if refused.errno else "the launcher ended without a word"
    if refused.stage == "folder":
        return replace(end, detail=f"the folder it should run in cannot be used: {word}: {folder}")
    if refused.stage != "start":
        return replace(end, detail=f"{word} (at the step: {refused.stage})")
    match refused.errno:
        case errno.ENOENT | errno.ENOTDIR:
            by = EndedBy.NOT_FOUND
            where = f"PATH: {os.environ.get('PATH', '')}" if "/" not in end.argv[0] else str(folder)
            word = f"{word}: {end.argv[0]} (looked in {where})"
        case errno.EACCES | errno.ENOEXEC | errno.EPERM:
            by = EndedBy.NOT_EXECUTABLE
            word = f"{word}: {end.argv[0]}"
        case _:
            by = EndedBy.NOT_STARTED
    return replace(end, by=by, detail=word)


def signal_name(number: int) -> str:
    """Return what a signal is called; one without a name has its number.

    >>> signal_name(9)
    'SIGKILL'
    """
    try:
        return signal.Signals(number).name
    except ValueError:
        first = getattr(signal, "SIGRTMIN", None)
        if first is not None and first < number < signal.SIGRTMAX:
            return f"SIGRTMIN+{number - first}"
        return str(number)
