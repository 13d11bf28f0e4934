"""The watch over one rig: looks, and does what is due. How it is woken is not its business.

Touches nothing but through the ports of ``harness.watch.ports`` and the journal. Each look is
whole in itself: it may come late, twice or after a crash. A start is kept before it is made;
what a runner left is read from the run's records.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from harness.watch import events as e
from harness.watch.clock_jumps import ClockJumps
from harness.watch.due import Due, Hours, Opening, due
from harness.watch.journal import WatchJournal
from harness.watch.leaving import Seen, how_it_left
from harness.watch.noticing import Noticing
from harness.watch.ports import Line, Log, PlanFacts, Plans, Rig, Runner, Runners, RunSeen, Stores

#: A runner that shows no sign of going on for so long, and for longer than its plan's longest
#: time limit by ``MARGIN_S``, is stuck; seconds awake.
STUCK_S, MARGIN_S = 600.0, 120.0


@dataclass(slots=True, kw_only=True)
class AtWork:
    """The runner at work, and when it last showed a sign of going on."""

    runner: Runner
    entry: e.Queued
    night: str
    stuck_s: float
    beat: int = -1
    beat_awake_s: float = 0.0
    cell: str | None = None
    attempt: int | None = None
    told: bool = False  #: to stop, by this daemon
    in_pass: bool = False


@dataclass(slots=True, kw_only=True)
class NightWatch:
    """One daemon's watch. ``stuck_s`` replaces what follows from the plan, where it is given."""

    journal: WatchJournal
    runners: Runners
    plans: Plans
    stores: Stores
    rig: Rig
    log: Log
    stuck_s: float | None = None
    at_work: AtWork | None = None
    last: Due | None = None
    heard: dict[str, int] = field(default_factory=dict)  #: records told of, by kind
    _jumps: ClockJumps = field(init=False)
    _notices: Noticing = field(init=False)
    _waits: dict[int, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Begin to watch the clocks, and make what makes the notices."""
        self._jumps = ClockJumps(self.rig)
        self._notices = Noticing(self.journal, self.stores, self.rig)

    # ------------------------------------------------------------ looking

    def look(self) -> None:
        """Take note of what has happened, and do what is due."""
        self.journal.refresh()
        for text, more in self._jumps.look():
            self.log.warning(text, **more)
        if self.at_work is None:
            self._find_earlier()
        if self.at_work is not None:
            self._look_at(self.at_work)
        if self.at_work is None:
            self._start_due()

    def hours(self) -> dict[int, Hours]:
        """Return when each entry of the queue may run, as far as its plan can be read."""
        found = {entry.entry: self.plans.facts(entry.plan) for entry in self._entries()}
        return {n: facts.hours for n, facts in found.items() if isinstance(facts, PlanFacts)}

    def _entries(self) -> tuple[e.Queued, ...]:
        return self.journal.standing.entries

    def _start_due(self) -> None:
        now, hours, holds = self.rig.now(), self.hours(), self.rig.holds()
        found = due(
            self.journal.standing,
            hours,
            now,
            busy=self.runners.at_work(),
            holds=holds,
            steps=self._open_steps(),
            runs=self._own_runs() if any(held.debt_of for held in holds) else {},
        )
        self.last = found
        for missed in found.missed:
            self.log.warning("missed", entry=missed.entry, night=missed.night, why=missed.why)
            self._notices.keep(missed)
        for entry, why in found.waits.items():
            if self._waits.get(entry) != why:
                self.log.info("not started", entry=entry, plan=self._plan(entry), why=why)
        self._waits = dict(found.waits)
        if found.start is not None:
            self._start(found.start, now)

    def _open_steps(self) -> dict[int, str]:
        """Return the open steps of all stores that the queue names, by the entry they belong to.

        One of a run that is not on the queue stands under a number below zero.
        """
        found: dict[int, str] = {}
        for store in dict.fromkeys(entry.store for entry in self._entries()):
            for run in self.stores.runs(store):
                if run.phase == "step":
                    entry = next((x for x in self._entries() if self._is_of(run, x)), None)
                    number = entry.entry if entry is not None else -1 - len(found)
                    found[number] = f"{run.run}: {run.step}"
        return found

    def _own_runs(self) -> dict[int, list[str]]:
        """Return the runs of each entry's plan, also those that were started by hand."""
        return {
            entry.entry: [
                run.run for run in self.stores.runs(entry.store) if self._is_of(run, entry)
            ]
            for entry in self._entries()
        }

    def _is_of(self, run: RunSeen, entry: e.Queued) -> bool:
        facts = self.plans.facts(entry.plan)
        return isinstance(facts, PlanFacts) and run.plan_hash == facts.hash

    # ------------------------------------------------------------ starting

    def _start(self, opening: Opening, now: datetime) -> None:
        late_s = (now - opening.start) / timedelta(seconds=1)
        started = e.Started(
            at=now.isoformat(),
            entry=opening.entry.entry,
            night=opening.night,
            planned=opening.start.isoformat(),
            late_s=round(late_s, 3),
            boot=self.rig.boot,
        )
        self._notices.keep(started)
        try:
            runner = self.runners.start(opening)
        except OSError as error:
            why = f"its runner could not be started: {error}"
            self._left(opening.entry, opening.night, e.Leaving.REFUSED, run="", why=why)
            return
        self.log.info(
            "started",
            entry=opening.entry.entry,
            plan=opening.entry.plan,
            night=opening.night,
            planned=started.planned,
            late_s=started.late_s,
            until=opening.end.isoformat() if opening.end is not None else None,
            runner=runner.described,
        )
        self._take(runner, opening.entry, opening.night)

    def _take(self, runner: Runner, entry: e.Queued, night: str) -> None:
        facts = self.plans.facts(entry.plan)
        longest_s = facts.longest_s if isinstance(facts, PlanFacts) else 0.0
        stuck_s = max(STUCK_S, longest_s + MARGIN_S) if self.stuck_s is None else self.stuck_s
        self.at_work = AtWork(
            runner=runner,
            entry=entry,
            night=night,
            stuck_s=stuck_s,
            beat_awake_s=self.rig.awake_s(),
        )

    def _find_earlier(self) -> None:
        """Take over a runner that an earlier daemon started, or note that it is gone."""
        open_start = self.journal.standing.open_start
        if open_start is None:
            return
        started = open_start.started
        entry = self.journal.standing.queued[started.entry]
        runner = self.runners.take_over(entry)
        if runner is not None:
            self.log.info("taken over", entry=entry.entry, runner=runner.described)
            self._take(runner, entry, started.night)
            return
        if self.runners.at_work():
            return  # it has the rig, and has not said yet which plan it carries out
        seen = self._run_of(entry, "")
        how = how_it_left(
            Seen(
                status=None,
                phase=seen.phase if seen else "",
                told=False,
                owes=seen is not None and seen.run in {x.debt_of for x in self.rig.holds()},
                held=False,
                why=seen.why if seen else "",
            )
        )
        again = "" if started.boot == self.rig.boot else " with the machine, which was started anew"
        why = f"it went{again} while no daemon was running" if how is e.Leaving.GONE else ""
        self._left(entry, started.night, how, run=seen.run if seen else "", why=why)

    # ------------------------------------------------------------ watching

    def _look_at(self, work: AtWork) -> None:
        over = work.runner.is_over()  # asked first: what it told before it went is read after
        for line in work.runner.lines():
            self._hear(work, line)
        if over:
            self._over(work)
            return
        if not work.runner.tells:
            self._ask_store(work)
        beat, now_s = work.runner.beat(), self.rig.awake_s()
        if beat != work.beat:
            work.beat, work.beat_awake_s = beat, now_s
        elif now_s - work.beat_awake_s > work.stuck_s:
            silent_s = round(now_s - work.beat_awake_s)
            why = f"it showed no sign of going on for {silent_s} s"
            where = {"cell": work.cell, "attempt": work.attempt}
            self.log.warning("stuck", entry=work.entry.entry, silent_s=silent_s, **where)
            run = work.runner.run
            work.runner.end()
            self.at_work = None
            self._left(work.entry, work.night, e.Leaving.STUCK, run=run, why=why)

    def _hear(self, work: AtWork, line: Line) -> None:
        work.cell = line.cell or work.cell
        work.attempt = line.attempt or work.attempt
        self.heard[line.kind] = self.heard.get(line.kind, 0) + 1
        work.in_pass = line.kind in ("pass-started", "pass-ended")
        self.log.info("kept", run=line.run, kind=line.kind, cell=line.cell, attempt=line.attempt)
        if line.kind in ("step-asked", "rig-held"):
            self._notices.look_at(work.entry, line.run)

    def _ask_store(self, work: AtWork) -> None:
        """See where the run of a runner stands that was taken over: it tells nothing."""
        seen = self._run_of(work.entry, work.runner.run)
        work.in_pass = seen is not None and seen.phase == "pass"
        if seen is not None and seen.phase in ("step", "held"):
            self._notices.look_at(work.entry, seen.run)

    def _over(self, work: AtWork) -> None:
        status = work.runner.end()
        self.at_work = None
        seen = self._run_of(work.entry, work.runner.run)
        how = how_it_left(
            Seen(
                status=status,
                phase=seen.phase if seen else "",
                told=work.told,
                held=any(not held.debt_of for held in self.rig.holds()),
            )
        )
        why = seen.why if seen and how in (e.Leaving.PAUSED, e.Leaving.HELD) else ""
        if how is e.Leaving.REFUSED:
            why = work.runner.last_words()
        if how is e.Leaving.GONE:
            why = f"exit status {status}: {work.runner.last_words()}"
        self._left(work.entry, work.night, how, run=seen.run if seen else "", why=why)

    def _run_of(self, entry: e.Queued, run: str) -> RunSeen | None:
        """Return the run called *run*, or else the latest of the entry's plan."""
        runs = self.stores.runs(entry.store)
        known = [each for each in runs if each.run == run] if run else []
        return next(iter(known or [x for x in runs if self._is_of(x, entry)]), None)

    # ------------------------------------------------------------ leaving

    def ask_to_stop(self) -> None:
        """Ask the runner at work to stop; asked again, it is in a hurry."""
        if self.at_work is not None:
            self.at_work.told = True
            self.at_work.runner.stop()

    def end(self) -> None:
        """End the runner at work, if it has not left by itself."""
        if self.at_work is not None:
            self._over(self.at_work)

    def _left(self, entry: e.Queued, night: str, how: e.Leaving, *, run: str, why: str) -> None:
        at = self.rig.now().isoformat()
        left = e.Left(at=at, entry=entry.entry, night=night, how=how, run=run, why=why)
        level = self.log.info if how in _AS_IT_SHOULD else self.log.warning
        level("left", entry=entry.entry, plan=entry.plan, how=how.value, run=run, why=why)
        self._notices.keep(left)
        if run:
            self._notices.look_at(entry, run)

    def _plan(self, entry: int) -> str:
        return self.journal.standing.queued[entry].plan


_AS_IT_SHOULD = (e.Leaving.FINISHED, e.Leaving.PAUSED, e.Leaving.STOPPED, e.Leaving.STEP)
