"""Makes the notices of what is kept, each once: they are kept before anybody is told.

Touches nothing but through the journal and the ports.
"""

from __future__ import annotations

from harness.watch import events as e
from harness.watch.journal import WatchJournal
from harness.watch.notices import NoticeKind, of_event, of_records
from harness.watch.ports import Rig, Stores


def settled(notice: e.Noticed, *, stores: Stores, rig: Rig) -> str:
    """Return why nobody need be told of *notice* any more, in words; empty: it is still so.

    Only what is seen to be settled is: a store that cannot be read says nothing.
    """
    if not notice.open:
        return ""
    match NoticeKind(notice.about):
        case NoticeKind.HELD if rig.is_released(notice.open):
            return "the hold has been released"
        case NoticeKind.PERSON:
            for run in stores.runs(notice.store):
                if run.run == notice.run and not run.step.startswith(f"step {notice.open}:"):
                    return "the step is not open any more"
        case _:
            pass
    return ""


class Noticing:
    """The notices of one rig."""

    def __init__(self, journal: WatchJournal, stores: Stores, rig: Rig) -> None:
        self._journal, self._stores, self._rig = journal, stores, rig

    def keep(self, event: e.Started | e.Left | e.Missed) -> None:
        """Keep *event* and, with it, the notice that it is worth."""
        plan = self._journal.standing.queued[event.entry].plan
        notice = of_event(event, rig=self._rig.name, plan=plan)
        at = self._rig.now().isoformat()
        self._journal.keep(event, *([notice.as_event(at)] if notice is not None else []))

    def look_at(self, entry: e.Queued, run: str) -> None:
        """Make the notices of what *run* has kept since it was last looked at."""
        standing = self._journal.standing
        after = standing.looked.get(run, 0)
        records = self._stores.records(entry.store, run, after=after)
        found = of_records(run, records, rig=self._rig.name, store=entry.store)
        at = self._rig.now().isoformat()
        events = [each.as_event(at) for each in found if each.key not in standing.notices]
        if events:
            self._journal.keep(*events)
