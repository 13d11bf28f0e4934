"""A watch in simulated time: clocks, runners, plans, stores and a log, none of them real."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from harness.plan.document import Night
from harness.watch import events as e
from harness.watch.due import Held, Hours, Opening
from harness.watch.journal import WatchJournal
from harness.watch.night_watch import NightWatch
from harness.watch.notices import Kept
from harness.watch.ports import Line, PlanFacts, RunSeen

LISBON = ZoneInfo("Europe/Lisbon")
EVENING = datetime(2026, 11, 25, 20, 0, tzinfo=UTC)
NIGHT = Night(start_minute=22 * 60 + 30, end_minute=7 * 60, days=(), zone="Europe/Lisbon")


@dataclass
class FakeRig:
    name: str = "rig-a"
    boot: str = "boot-1"
    at: datetime = EVENING
    steady: float = 1000.0
    awake: float = 1000.0
    held: list[Held] = field(default_factory=list)
    released: set[str] = field(default_factory=set)

    def holds(self) -> Sequence[Held]:
        return self.held

    def is_released(self, hold: str) -> bool:
        return hold in self.released

    def now(self) -> datetime:
        return self.at

    def steady_s(self) -> float:
        return self.steady

    def awake_s(self) -> float:
        return self.awake

    def passes(self, seconds: float, *, asleep: bool = False) -> None:
        self.at += timedelta(seconds=seconds)
        self.steady += seconds
        self.awake += 0.0 if asleep else seconds

    def until(self, instant: str) -> None:
        self.passes((datetime.fromisoformat(instant) - self.at).total_seconds())


@dataclass
class FakeRunner:
    described: str = "process 7"
    tells: bool = True
    run: str = ""
    status: int | None = None
    over: bool = False
    beats: int = 0
    stops: int = 0
    ended: bool = False
    telling: list[Line] = field(default_factory=list)

    def descriptors(self) -> tuple[int, ...]:
        return ()

    def is_over(self) -> bool:
        return self.over

    def lines(self) -> Sequence[Line]:
        told, self.telling = self.telling, []
        return told

    def beat(self) -> int:
        return self.beats

    def stop(self) -> None:
        self.stops += 1

    def end(self) -> int | None:
        self.ended = True
        return self.status

    def last_words(self) -> str:
        return "error[rig-not-ready]: the link is not what it should be"

    def leaves(self, status: int | None, run: str = "run-1") -> None:
        self.over, self.status, self.run = True, status, run


@dataclass
class FakeRunners:
    started: list[tuple[Opening, FakeRunner]] = field(default_factory=list)
    busy: str = ""
    found: FakeRunner | None = None
    refuses: bool = False

    def start(self, opening: Opening) -> FakeRunner:
        if self.refuses:
            raise FileNotFoundError(2, "No such file or directory", opening.entry.folder)
        runner = FakeRunner()
        self.started.append((opening, runner))
        return runner

    def at_work(self) -> str:
        return self.busy

    def take_over(self, entry: e.Queued) -> FakeRunner | None:
        return self.found

    @property
    def last(self) -> FakeRunner:
        return self.started[-1][1]


@dataclass
class FakePlans:
    known: dict[str, PlanFacts | str] = field(default_factory=dict)

    def facts(self, path: str) -> PlanFacts | str:
        return self.known[path]


@dataclass
class FakeStores:
    seen: list[RunSeen] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)

    def runs(self, store: str) -> Sequence[RunSeen]:
        return self.seen

    def records(self, store: str, run: str, *, after: int) -> Sequence[Kept]:
        return [record for record in self.kept if record.seq > after]


@dataclass
class FakeLog:
    said: list[tuple[str, dict[str, object]]] = field(default_factory=list)

    def info(self, event: str, **more: object) -> None:
        self.said.append((event, more))

    def warning(self, event: str, **more: object) -> None:
        self.said.append((event, more))

    def words(self) -> list[str]:
        return [event for event, _ in self.said]


class Simulated:
    """A watch with fakes all round, and the journal in *folder*."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rig, self.runners, self.plans = FakeRig(), FakeRunners(), FakePlans()
        self.stores, self.log = FakeStores(), FakeLog()
        self.journal = WatchJournal(folder)
        self.watch = self.anew()

    def anew(self) -> NightWatch:
        """Return the watch of a daemon that has just been started."""
        self.journal.close()
        self.journal = WatchJournal(self.folder)
        self.watch = NightWatch(
            journal=self.journal,
            runners=self.runners,
            plans=self.plans,
            stores=self.stores,
            rig=self.rig,
            log=self.log,
        )
        return self.watch

    def queue(
        self,
        plan: str = "/plans/quay.yaml",
        *,
        night: Night | None = NIGHT,
        start: str = "",
        end: str = "",
        zone: tzinfo | None = LISBON,
    ) -> int:
        entry = self.journal.standing.next_entry
        hours = Hours(night=night, zone=zone)
        self.plans.known[plan] = PlanFacts(name=plan, hash=plan, hours=hours, longest_s=60.0)
        self.journal.keep(
            e.Queued(
                at=self.rig.at.isoformat(),
                entry=entry,
                plan=plan,
                store="/store",
                folder="/plans",
                start=start,
                end=end,
            )
        )
        return entry

    def look_at(self, instant: str) -> None:
        self.rig.until(instant)
        self.watch.look()

    def events(self, kind: type[e.Event]) -> list[e.Event]:
        lines = self.journal.path.read_text(encoding="utf-8").splitlines()
        found = (e.from_line(line) for line in lines)
        return [event for event in found if isinstance(event, kind)]
