"""How a runner left: by the run's records where they can say it, else by its exit status.

Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.errors import Exit
from harness.run.night_end import REASON
from harness.watch.events import Leaving


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is seen of a runner that is gone.

    ``status`` is its exit status, negative where a signal ended it, None where nobody could
    see it; ``phase`` where its run stands, empty where there is none yet, and ``why`` the
    reason of its pause; ``told`` whether the daemon had told it to stop; ``held`` whether a
    hold of the rig stands; ``owes`` whether the run has yet to put something back.
    """

    status: int | None
    phase: str
    told: bool
    held: bool
    why: str = ""
    owes: bool = False


def how_it_left(seen: Seen) -> Leaving:
    """Return how a runner left that was not stuck."""
    match seen.status:
        case Exit.WELL | Exit.NOT_ALL_ACCEPTED:
            return Leaving.FINISHED
        case Exit.RIG_NOT_READY:
            return Leaving.HELD if seen.held or seen.phase == "held" else Leaving.REFUSED
        case Exit.ASKED_WRONGLY | Exit.STORE:
            return Leaving.REFUSED
        case Exit.STOPPED if not seen.told:
            return Leaving.STEP if seen.phase == "step" else Leaving.PAUSED
        case _ if seen.told:
            return Leaving.STOPPED
        case None if seen.phase == "paused" and not seen.why.startswith(REASON):
            return Leaving.STOPPED  # with the machine or the session: the night is not over
        case None if seen.phase == "finished" and seen.owes:
            return Leaving.GONE  # while it put back
        case None:
            by_phase = {
                "finished": Leaving.FINISHED,
                "held": Leaving.HELD,
                "step": Leaving.STEP,
                "paused": Leaving.PAUSED,
            }
            return by_phase.get(seen.phase, Leaving.GONE)
        case _:
            return Leaving.GONE
