"""Keep the rig from going to sleep while a runner is at work.

Touches processes. On Linux the login service is asked through ``systemd-inhibit`` (its manual:
the lock lasts as long as the program it was given). That program is ``cat``, reading from a pipe
which only the runner holds: however the runner ends, the pipe closes and the lock is given back.
On Windows the runner's own thread says so (``SetThreadExecutionState``); written for review.
"""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress

from harness.values import Value

#: Asks that neither a timer nor an idle session sends the machine to sleep.
INHIBIT = ("systemd-inhibit", "--what=sleep:idle", "--mode=block", "--who=Bench Harness")
#: How long the login service may take to answer; it does so in some milliseconds.
_ANSWER_S = 5.0
_CONTINUOUS, _SYSTEM_REQUIRED = 0x80000000, 0x00000001  # winbase.h


class Awake(Value):
    """Whether sleep is held off. ``how`` says by what, or why it is not."""

    held: bool
    how: str

    def sentence(self) -> str:
        """Return it as a person reads it."""
        return (
            f"sleep is held off by {self.how}"
            if self.held
            else f"sleep is not held off: {self.how}"
        )

    def note(self) -> str:
        """Return a line for whoever starts the runner; empty where sleep is held off."""
        return "" if self.held else f"note: {self.sentence()}; see to it that it does not sleep\n"


@contextmanager
def kept_awake(*, why: str, inhibit: Sequence[str] = INHIBIT) -> Iterator[Awake]:
    """Hold sleep off until the block ends, where this system lets a program do so.

    Args:
        why: Shown by the system to whoever asks what keeps it awake.
        inhibit: What is asked on Linux, with all but the reason and the program to run.
    """
    if sys.platform == "win32":
        try:
            yield _by_windows()
        finally:
            _let_windows_go()
        return
    try:
        child = subprocess.Popen(
            [*inhibit, f"--why={why}", "cat"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
    except OSError as error:
        yield Awake(held=False, how=f"{inhibit[0]} cannot be started: {error.strerror}")
        return
    try:
        yield _answer(child, inhibit[0])
    finally:
        _let_go(child)


def _answer(child: subprocess.Popen[bytes], name: str) -> Awake:
    """Return whether the lock was given: only then does the program run and echo."""
    assert child.stdin is not None
    assert child.stdout is not None
    assert child.stderr is not None
    try:
        child.stdin.write(b".")
        child.stdin.flush()
    except BrokenPipeError:
        pass  # it has left already: its output says why
    ready, _, _ = select.select([child.stdout], [], [], _ANSWER_S)
    if ready and child.stdout.read(1) == b".":
        return Awake(held=True, how=name)
    try:
        child.wait(_ANSWER_S if ready else 0)
    except subprocess.TimeoutExpired:
        _end(child)  # nor does it get the lock later, unsaid
        return Awake(held=False, how=f"{name} did not answer within {_ANSWER_S:g} s")
    os.set_blocking(child.stderr.fileno(), False)  # something else may hold it open still
    said = (child.stderr.read() or b"").decode("utf-8", "replace").strip().splitlines()
    return Awake(held=False, how=f"{name} says: {said[0]}" if said else f"{name} failed")


def _end(child: subprocess.Popen[bytes]) -> None:
    """End what was asked, with whatever it has started; it leads a group of its own."""
    os.killpg(child.pid, signal.SIGKILL)
    child.wait()


def _let_go(child: subprocess.Popen[bytes]) -> None:
    assert child.stdin is not None
    with suppress(BrokenPipeError):
        child.stdin.close()
    try:
        child.wait(_ANSWER_S)
    except subprocess.TimeoutExpired:
        _end(child)
    for stream in (child.stdout, child.stderr):
        if stream is not None:
            stream.close()


def _by_windows() -> Awake:  # pragma: no cover
    import ctypes

    kernel = ctypes.windll.kernel32  # type: ignore[attr-defined,unused-ignore]
    if kernel.SetThreadExecutionState(_CONTINUOUS | _SYSTEM_REQUIRED):
        return Awake(held=True, how="SetThreadExecutionState")
    return Awake(held=False, how="SetThreadExecutionState failed")


def _let_windows_go() -> None:  # pragma: no cover
    import ctypes

    ctypes.windll.kernel32.SetThreadExecutionState(_CONTINUOUS)  # type: ignore[attr-defined,unused-ignore]
