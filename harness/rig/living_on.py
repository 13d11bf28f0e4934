"""The program that goes on when its launcher has ended: found by its name, followed to its end.

Touches processes. A process is the program's if it has that name and is of this pass: it
descends from the runner, or carries the pass's token in its environment. Until it is seen,
the small tree below the runner is looked at four times a second; from then on nothing is
looked at until it ends. A program may start itself anew: the end is that none is left.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from harness.rig.ending import Tree
from harness.rig.process import TOKEN, Started
from harness.rig.tasks import EndedBy
from harness.rig.tree import Process, having_in_environment
from harness.rig.watching import Watching

#: Until the program is seen, it is looked for so often.
LOOK_EVERY_S = 0.25
#: proc_pid_comm(5): the kernel keeps so many characters of a name.
_KERNEL_NAME = 15


@dataclass(slots=True, kw_only=True)
class LivingOn:
    """Follows one program through one pass.

    Args:
        program: Its name.
        token: The token of the pass.
        tree: The tree of the pass.
        appear_s: How long after the launcher's end the program may still appear.
    """

    program: str
    token: str
    tree: Tree
    appear_s: float
    status: int | None = None  #: the wait status of the last one that ended, where it is known
    seen: bool = False
    _watched: dict[int, Process] = field(default_factory=dict)

    def follow(self, launcher: Started, watching: Watching) -> EndedBy | None:
        """Sleep until the program has ended; None, or why it must be ended.

        The answer is ``EXIT`` where the launcher ended and the program was never seen, or the
        launcher failed: its own end then counts.
        """
        gone_s: float | None = None
        try:
            while True:
                why = watching.why()
                if why is not None:
                    return why
                if not self._watched:
                    # Looked for everywhere only where nothing below the runner is being started.
                    self._watch(everywhere=self.seen or gone_s is not None)
                if not self._watched and self.seen:
                    return None
                now_s = watching.clock.steady_s()
                if gone_s is not None and not self._watched:
                    failed = self.tree.statuses.get(launcher.id.pid, 0) != 0
                    if failed or now_s - gone_s >= self.appear_s:
                        return EndedBy.EXIT
                descriptors = set(self._watched)
                if gone_s is None and not self._watched:
                    descriptors.add(launcher.descriptor)
                most_s = float("inf") if self._watched else LOOK_EVERY_S
                for number in watching.sleep(descriptors, most_s=most_s):
                    if number == launcher.descriptor:
                        gone_s = watching.clock.steady_s()
                        self.tree.alive()  # takes note of its status
                    else:
                        self._ended(number)
        finally:
            for number in self._watched:
                os.close(number)
            self._watched.clear()

    def _watch(self, *, everywhere: bool) -> None:
        for each in self._there(everywhere=everywhere):
            with contextlib.suppress(OSError):  # it has ended in between
                self._watched[os.pidfd_open(each.id.pid)] = each
                self.seen = True

    def _ended(self, number: int) -> None:
        each = self._watched.pop(number)
        os.close(number)
        self.tree.alive()
        self.status = self.tree.statuses.get(each.id.pid)

    def _there(self, *, everywhere: bool) -> Iterator[Process]:
        found = {each.id: each for each in self.tree.alive()}
        if everywhere:
            marked = having_in_environment(TOKEN, lambda text: text == self.token)
            found |= {each.id: each for each in marked if not each.is_over}
        for each in found.values():
            if each.id not in self.tree.strangers and is_called(each, self.program):
                yield each


def is_called(each: Process, program: str) -> bool:
    """Return whether a process is the *program*: by the kernel's name, or by how it was called.

    The kernel keeps fifteen characters. What runs a program of another system is called by that
    program's whole path, with its own separators.
    """
    if len(program) <= _KERNEL_NAME and each.name == program:
        return True
    try:
        with open(f"/proc/{each.id.pid}/cmdline", "rb") as file:  # noqa: PTH123 - a quick look
            called = os.fsdecode(file.read(4096).split(b"\0", 1)[0])
    except OSError:
        return False
    return re.split(r"[/\\]", called)[-1] == program
