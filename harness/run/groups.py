"""What a fingerprint leads to: nothing, a new group of passes, or a hold.

Pure. Called by ``decide`` only. Passes of two groups are never averaged together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from harness.run import records as r
from harness.run.closing import held
from harness.run.state import RunState

Records = tuple[r.Record, ...]
_NONE: Mapping[str, str] = MappingProxyType({})
#: What a field is called in a hold, and accepted as, when it was lost. No field's text is empty.
LOST = ""


def fixed(state: RunState, fields: Mapping[str, str]) -> dict[str, str]:
    """Return the fields that make a group: those that no level is meant to change."""
    return {name: text for name, text in fields.items() if name not in state.grid.free_fields}


def changes(state: RunState, fields: Mapping[str, str]) -> dict[str, str]:
    """Return what differs from the group's fingerprint, of the fields read now."""
    known, free = state.fields, state.grid.free_fields
    return {
        name: text
        for name, text in fields.items()
        if known.get(name, text) != text and name not in free
    }


def lost(state: RunState, unread: Mapping[str, str]) -> dict[str, str]:
    """Return which fields of the group cannot be read any more, and why.

    A driver that no longer answers is a change of the rig, not the lack of one.
    """
    free = state.grid.free_fields
    return {n: why for n, why in unread.items() if n in state.fields and n not in free}


def group_for(
    state: RunState,
    fields: Mapping[str, str],
    *,
    accepted: Mapping[str, str],
    unread: Mapping[str, str] = _NONE,
) -> Records:
    """Return what a fingerprint leads to: nothing, a group of its own, or a hold.

    A release accepts the changes that its hold has named, and no other.

    Args:
        state: The run.
        fields: The fingerprint now.
        accepted: Changes that a person has accepted, as the hold has them.
        unread: Why fields could not be read.
    """
    unread = {name: why for name, why in unread.items() if name not in fields}
    if state.group == 0:
        return (_opened(state, 1, fixed(state, fields), unread),)
    gone = lost(state, unread)
    changed = changes(state, fields) | dict.fromkeys(gone, LOST)
    if not changed:
        return ()
    words = tuple(
        f"{n} was {state.fields[n]!r}, "
        + (f"cannot be read now: {gone[n]}" if n in gone else f"is {changed[n]!r}")
        for n in sorted(changed)
    )
    if changed.items() <= accepted.items():
        new = {**state.fields, **fixed(state, fields)}
        new = {name: text for name, text in new.items() if name not in gone}
        return (_opened(state, state.group + 1, new, unread, changed=words),)
    hold = held(state, "fingerprint-changed", "; ".join(words))
    return (replace(hold, changed=tuple(sorted(changed.items()))),)


def _opened(
    state: RunState,
    group: int,
    fields: Mapping[str, str],
    unread: Mapping[str, str],
    *,
    changed: tuple[str, ...] = (),
) -> r.GroupOpened:
    return r.GroupOpened(
        group=group,
        fields=tuple(sorted(fields.items())),
        changed=changed,
        unread=tuple(sorted(fixed(state, unread).items())),
    )
