"""Earlier cells instead of measuring again: which are taken, and when that is decided.

Pure. Called by ``decide`` only. An offer is taken only where the rig is, in the fields of
the fingerprint that the plan names, what it was; where the plan asks for it, only after the
first reference pass of the run agrees with the reference cell's own history. Whatever is
not taken is on record with its reason, and is measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.run import records as r
from harness.run.state import RunState

Records = tuple[r.Record, ...]


def offered(
    state: RunState, offers: Sequence[r.Offer], fingerprint: Mapping[str, str]
) -> r.ReuseOffered | None:
    """Return the record of the *offers* that fit the rig as it is; None where there are none.

    Args:
        state: The run, before anything was measured in it.
        offers: What earlier runs have of the plan's cells, one a cell at most.
        fingerprint: Every field that can be read now, of the titles too.
    """
    if not offers:
        return None
    taken, refused = [], []
    for offer in offers:
        differs = [
            f"{name} was {before!r}, is {fingerprint.get(name, 'not read')!r}"
            for name, before in offer.fields
            if fingerprint.get(name) != before
        ]
        if offer.missing:
            differs += [f"{name} was not read then" for name in offer.missing]
        if differs:
            refused.append((offer.cell, f"run {offer.run}: " + "; ".join(differs)))
        else:
            taken.append(offer)
    return r.ReuseOffered(offers=tuple(taken), refused=tuple(refused))


def taken_now(state: RunState) -> Records:
    """Return the records that take every standing offer, or turn them down, where it is time."""
    if not state.offers:
        return ()
    reuse = state.plan.reuse
    if reuse is None or not reuse.check_reference:
        return _taken(state, "")
    return ()


def after_reference(state: RunState, ended: r.PassEnded) -> Records:
    """Return what the first kept reference pass of a run means for the standing offers."""
    reuse = state.plan.reuse
    if not state.offers or reuse is None or not reuse.check_reference:
        return ()
    usual = next((offer.usual for offer in state.offers if offer.usual is not None), None)
    if usual is None:
        return (_turned_down(state, "the reference cell has no history to be held against"),)
    value = next((f.value for f in ended.figures if f.name == usual.figure), None)
    if value is None:
        return (_turned_down(state, f"the reference pass gave no {usual.figure}"),)
    told = (
        f"the reference cell gives {usual.figure} {value:.4g}, and by its last "
        f"{usual.values} values it lies between {usual.low:.4g} and {usual.high:.4g}"
    )
    if usual.low <= value <= usual.high:
        return _taken(state, told)
    return (_turned_down(state, told),)


def gave_up_reference(state: RunState) -> Records:
    """Return what it means for the standing offers that no reference pass could be kept."""
    reuse = state.plan.reuse
    if not state.offers or reuse is None or not reuse.check_reference:
        return ()
    return (_turned_down(state, "no reference pass was kept"),)


def _taken(state: RunState, checked: str) -> Records:
    return tuple(
        r.CellReused(
            cell=offer.cell,
            group=state.group,
            run=offer.run,
            run_group=offer.group,
            kept=offer.kept,
            measured_at=offer.measured_at,
            reason=checked,
        )
        for offer in state.offers
        if state.progress[offer.cell].state is r.CellState.OPEN
        and not state.progress[offer.cell].counted
    )


def _turned_down(state: RunState, reason: str) -> r.ReuseTurnedDown:
    return r.ReuseTurnedDown(cells=tuple(offer.cell for offer in state.offers), reason=reason)
