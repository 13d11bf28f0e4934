"""Where things are kept on this machine: the store, and the rig's own state.

Touches the environment. ``HARNESS_STORE`` and ``HARNESS_RIG`` name the folders; else the
platform's usual places are used.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

_NAME = "bench-harness"
#: Names the descriptor of :func:`telling`.
TELL = "HARNESS_TELL"
#: Names the process of :func:`daemon_of_page`.
DAEMON = "HARNESS_DAEMON"


def store_folder(given: str | None) -> Path:
    """Return the store's folder: *given*, else ``HARNESS_STORE``, else the user's data folder."""
    if given:
        return Path(given)
    named = os.environ.get("HARNESS_STORE")
    return Path(named) if named else _data_folder() / "store"


def rig_folder() -> Path:
    """Return the folder of the rig's own state: locks and holds, which bind every store."""
    named = os.environ.get("HARNESS_RIG")
    return Path(named) if named else _state_folder() / "rig"


def unattended() -> bool:
    """Return whether a daemon started this runner: nobody need be near the rig."""
    return TELL in os.environ


def telling() -> int | None:
    """Return the descriptor on which the runner is to tell what it keeps; None: nobody asked.

    A daemon that starts a runner names it in ``HARNESS_TELL``; it is taken out of the
    environment, so that no command of a plan sees it.
    """
    named = os.environ.pop(TELL, "")
    return int(named) if named.isdecimal() else None


def daemon_of_page() -> int | None:
    """Return the number of the daemon that started this page; None: a person did."""
    named = os.environ.pop(DAEMON, "")
    return int(named) if named.isdecimal() else None


def _data_folder() -> Path:
    return _folder("XDG_DATA_HOME", ".local/share")


def _state_folder() -> Path:
    return _folder("XDG_STATE_HOME", ".local/state")


def _folder(variable: str, usual: str) -> Path:
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA")
        return (Path(local) if local else Path.home() / "AppData" / "Local") / _NAME
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / _NAME
    named = os.environ.get(variable)
    # The XDG base directory specification: a relative path is to be ignored.
    base = Path(named) if named and Path(named).is_absolute() else Path.home() / usual
    return base / _NAME
