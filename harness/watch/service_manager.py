"""Tells systemd how the daemon is: ready, going on, stopping.

Touches a socket. After sd_notify(3) and sd_watchdog_enabled(3): one datagram of ``NAME=value``
lines to the socket that ``NOTIFY_SOCKET`` names (``@`` begins an abstract one). Where the
variable is not set nothing happens. ``WATCHDOG=1`` is sent by the loop that looks, and by
nothing else: a daemon that hangs must be seen to.
"""

from __future__ import annotations

import contextlib
import os
import socket


class ServiceManager:
    """The service manager that started this process, if one did."""

    def __init__(self) -> None:
        # Taken out of the environment: neither is a runner's, nor a title's.
        self._address = os.environ.pop("NOTIFY_SOCKET", "")
        usec = os.environ.pop("WATCHDOG_USEC", "")
        asked = os.environ.pop("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        #: How often it is to hear that the loop goes on, seconds; None: it does not ask.
        self.every_s = int(usec) / 3e6 if usec.isdecimal() and asked and int(usec) else None

    def tell(self, *lines: str) -> None:
        """Send *lines*. A manager that does not listen costs nothing."""
        if not self._address:
            return
        name = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with (
            contextlib.suppress(OSError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as post,
        ):
            post.setblocking(False)
            post.sendto("\n".join(lines).encode(), name)
