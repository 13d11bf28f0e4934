"""Whether a run was left in the middle of something by a runner that is gone.

Touches nothing itself; of a run between two passes it asks the store for the last record. Light:
`harness status` shows it and must start quickly.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Callable

    from harness.rig.locks import Owner
    from harness.store.sqlite import Store
    from harness.store.standing import RunLine

_AT_WORK = ("new", "idle", "level", "pass", "ended")  # a runner leaves no run in these
_ANSWERED = (["step-confirmed"], ["request-answered"])  # kept without a runner, too


def interrupted(
    line: RunLine, owner: Owner | None, *, store: Store, node: Callable[[], str]
) -> bool | None:
    """Return whether the runner of a run went without leaving it; None: not to be seen here.

    A run that waits for a person, is paused or is finished was left as it should be, and so was
    one whose step was confirmed while no runner was at work.

    Args:
        line: The run.
        owner: The runner at work on this rig; None: none is.
        store: Where the run is kept.
        node: Gives the name of this machine, as runs have it.
    """
    if line.standing.phase not in _AT_WORK:
        return False
    if owner is not None:
        # A runner that has not yet said which run it carries out may be that of this one.
        ours = owner.carries_out(line.run, store=store.folder)
        if ours is not False:
            return False if ours else None
    if line.rig != node():
        return None  # that rig's runner holds a lock of that rig
    if line.standing.phase != "idle":
        return True
    last = [row.kind for row in store.rows(line.run, after=line.standing.seq - 1)]
    return last not in _ANSWERED


def phase_words(line: RunLine, gone: bool | None) -> str:
    """Return the phase of a run, and that it was interrupted in it where it was (*gone*)."""
    return f"interrupted, {line.standing.phase}" if gone else line.standing.phase
