"""Which time zones this system knows, for the check of a plan.

Touches disk, where the system keeps its zones; nothing is imported for a plan without one.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Collection


def zones_instead(name: str) -> Collection[str] | None:
    """Return None where this system knows the time zone *name*, else the names of all it knows."""
    from harness.errors import AskedError
    from harness.rig.clock import zone_named

    try:
        zone_named(name)
    except AskedError:
        from zoneinfo import available_timezones

        return sorted(available_timezones())
    return None
