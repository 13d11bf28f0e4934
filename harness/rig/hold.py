"""A hold of the rig, and its release.

Pure. A command that only asks whether the rig is held imports nothing of plans and tasks.
"""

from __future__ import annotations

from harness.values import Value


class Hold(Value):
    """Why the rig does nothing more, and what a person must do."""

    id: str
    run: str
    reason: str
    do: str
    at: str  #: UTC, RFC 3339


class Release(Value):
    """Who has put the rig right."""

    hold: str
    by: str
    note: str
    at: str
