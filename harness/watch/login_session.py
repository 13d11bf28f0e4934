"""In which scope of systemd this process runs: one of a login ends with the login.

Pure.
"""

from __future__ import annotations

import re


def login_session(own: str) -> str:
    """Return the login session's scope that a process is in; empty: in none.

    Args:
        own: The text of ``/proc/self/cgroup`` (cgroups(7)).

    >>> login_session("0::/user.slice/user-1000.slice/session-3.scope")
    'session-3.scope'
    >>> login_session("0::/user.slice/user-1000.slice/user@1000.service/app.slice/x.service")
    ''
    """
    found = re.search(r"/(session-[^/\s]+\.scope)", own)
    return found[1] if found else ""
