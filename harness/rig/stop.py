"""A flag that says the runner is to stop, and wakes whoever waits.

Touches a pipe and signals. A signal handler may raise it at any moment: raising takes no lock.
"""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Callable, Iterator


class StopFlag:
    """Raised by a signal handler, asked by the loop and the bench, waited on by both.

    It is an ``Interrupt``: calling it says whether it was raised. Raised a second time, it
    says that there is no time left for a grace period.
    """

    def __init__(self) -> None:
        self._read_fd, self._write_fd = os.pipe()
        os.set_blocking(self._read_fd, False)
        os.set_blocking(self._write_fd, False)
        self.times = 0  #: how often it was raised
        self.reason = ""  #: of the first time
        #: Called whenever it is asked: between steps, and once a second in a wait.
        self.asked: Callable[[], None] = lambda: None

    def __call__(self) -> bool:
        """Return whether it was raised."""
        self.asked()
        return self.times > 0

    @property
    def in_a_hurry(self) -> bool:
        """Return whether it was raised more than once."""
        return self.times > 1

    def raise_for(self, reason: str) -> None:
        """Raise it; safe in a signal handler."""
        self.reason = self.reason or reason
        self.times += 1
        # A full pipe already wakes everybody.
        with contextlib.suppress(BlockingIOError):
            os.write(self._write_fd, b"!")

    def fileno(self) -> int:
        """Return the descriptor that becomes readable when it is raised."""
        return self._read_fd

    def drain(self) -> None:
        """Take note: the descriptor is readable again only when it is raised again."""
        with contextlib.suppress(BlockingIOError):
            while os.read(self._read_fd, 512):
                pass

    def close(self) -> None:
        """Give the pipe back."""
        os.close(self._read_fd)
        os.close(self._write_fd)


@contextlib.contextmanager
def signals(flag: StopFlag) -> Iterator[None]:
    """Let Ctrl-C, SIGTERM and SIGHUP ask the runner to stop, cleanly."""
    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]

    def stop(number: int, frame: object) -> None:
        flag.raise_for(f"told to stop by {signal.Signals(number).name}")

    before = {name: signal.signal(getattr(signal, name), stop) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
