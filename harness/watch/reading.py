"""Plans and stores as the watch sees them: read when something is due, never in a pass.

Touches disk.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

from harness.errors import HarnessError, StoreError
from harness.plan.canonical import plan_hash
from harness.plan.document import Plan
from harness.rig.clock import zone_named
from harness.store.sqlite import Store, open_store
from harness.store.standing import RunLine
from harness.watch.due import Hours
from harness.watch.notices import SPEAKING, Kept
from harness.watch.ports import PlanFacts, RunSeen


class PlanFiles:
    """Reads plan files, each again only when it has changed.

    Args:
        checked: Reads and checks one.
    """

    def __init__(self, checked: Callable[[str], Plan]) -> None:
        self._checked = checked
        self._known: dict[str, tuple[tuple[int, int], PlanFacts | str]] = {}

    def facts(self, path: str) -> PlanFacts | str:
        """Return what a plan says, or in words why it cannot be used."""
        try:
            state = Path(path).stat()
        except OSError as error:
            return f"the plan cannot be read: {error.strerror}"
        stamp = (state.st_mtime_ns, state.st_size)
        known = self._known.get(path)
        if known is None or known[0] != stamp:
            known = self._known[path] = (stamp, self._read(path))
        return known[1]

    def _read(self, path: str) -> PlanFacts | str:
        try:
            plan = self._checked(path)
            zone = zone_named(plan.night.zone) if plan.night is not None else None
        except HarnessError as error:
            first = error.problems[0]
            return f"the plan cannot be used: {first.what}"
        if plan.limits_none:
            return "the plan says limits: none, which is for attended runs only"
        return PlanFacts(
            name=plan.name,
            hash=plan_hash(plan),
            hours=Hours(night=plan.night, zone=zone),
            longest_s=longest_s(plan),
        )


def longest_s(plan: Plan) -> float:
    """Return the longest time limit of any command of *plan*, seconds."""
    commands = [
        command for title in plan.titles for command in (title.command, *title.prepare, *title.tidy)
    ]
    return max(command.time_limit_s for command in commands)


class StoreFiles:
    """Reads the stores that the queue names.

    Args:
        rig: Only runs of this rig are seen.
    """

    def __init__(self, rig: str) -> None:
        self._rig = rig

    def runs(self, store: str) -> Sequence[RunSeen]:
        """Return the runs of this rig in *store*, the latest first; none where it is not there."""
        try:
            with open_store(Path(store), write=False) as found:
                return [_seen(found, line) for line in found.runs() if line.rig == self._rig]
        except StoreError:
            return []

    def records(self, store: str, run: str, *, after: int) -> Sequence[Kept]:
        """Return the records of *run* that a notice can come from, after number *after*."""
        try:
            with open_store(Path(store), write=False) as found:
                return [
                    Kept(seq=row.seq, kind=row.kind, body=row.body)
                    for row in found.rows(run, after=after)
                    if row.kind in SPEAKING
                ]
        except StoreError:
            return []


def _seen(store: Store, line: RunLine) -> RunSeen:
    standing = line.standing
    waits = json.loads(standing.waits) if standing.waits else {}
    why, step = str(waits.get("reason", "")), ""
    if standing.phase == "step":
        step = f"step {waits.get('step')}: {' '.join(waits.get('say', ()))}"
    if standing.phase == "paused":
        rows = store.rows(line.run, after=standing.seq - 20)
        paused = [row.body for row in rows if row.kind == "run-paused"]
        why = json.loads(paused[-1])["reason"] if paused else ""
    return RunSeen(
        run=line.run,
        plan_name=line.plan_name,
        plan_hash=line.plan_hash,
        phase=standing.phase,
        why=why,
        step=step,
    )
