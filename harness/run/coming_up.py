"""What a runner looks at when it takes a run up.

Touches nothing but through the ports of ``harness.run.ports``.
"""

from __future__ import annotations

from collections.abc import Sequence

from harness.rig.tasks import Leftovers, Member, attempt_name
from harness.run.ports import Bench, Journal
from harness.run.records import BundleRef, Offer
from harness.run.state import RunState


def whole_fingerprint(state: RunState, bench: Bench, offers: Sequence[Offer]) -> dict[str, str]:
    """Return the rig's fingerprint, with the builds of the titles whose cells are offered."""
    fields = dict(bench.fingerprint(None, full=True))
    titles = {state.grid.titles[offer.cell].title for offer in offers}
    for title in state.plan.titles:
        if title.title in titles:
            fields |= bench.fingerprint(title, full=False)
    return fields


def left_behind(state: RunState, journal: Journal, left: Leftovers) -> BundleRef | None:
    """Keep what the interrupted attempt left, as evidence; never as a result."""
    started = state.passing
    if started is None:
        return None
    name = attempt_name(started.cell, started.attempt)
    members: tuple[Member, ...] = (left.attempts or {}).get(name, ())
    return journal.keep(name, members) if members else None
