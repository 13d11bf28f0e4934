"""A flag that says the runner is to stop, and wakes whoever waits.

Touches a pipe. A signal handler may raise it at any moment: raising takes no lock.
"""

from __future__ import annotations

import contextlib
import os


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

    def __call__(self) -> bool:
        """Return whether it was raised."""
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
