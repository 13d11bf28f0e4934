"""Who gave this command at a terminal, and so is with the rig.

Touches the process's own standard input and environment. What a daemon, a service, a scheduler
or a pipe starts has no terminal to be asked at: nobody is known to be there. Nor is who came over
the network: ssh(1) says so in the environment.
"""

from __future__ import annotations

import getpass
import os
import sys


def person_at_terminal() -> str:
    """Return the login name of who started this process at a terminal; empty: nobody did."""
    try:
        if "SSH_CONNECTION" in os.environ or sys.stdin is None or not sys.stdin.isatty():
            return ""
    except (OSError, ValueError):  # input is closed
        return ""
    return login_name()


def login_name() -> str:
    """Return the login name of whoever started this process; empty where the system has none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a service, a container, a system without logins
        return ""
