"""A store with one night in it, and the page over it: our own scenario, times and all."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from harness.commands.page import asked
from harness.plan import document as d
from harness.plan.canonical import freeze, plan_hash
from harness.plan.cells import cells
from harness.rig.locks import RunnerLock
from harness.rig.readings import measured
from harness.rig.tasks import CommandEnd, EndedBy, Member
from harness.rules.judgement import Figure, HarnessCost, ReadingSummary, Verdict
from harness.run import records as r
from harness.store.sqlite import open_store
from harness.store.sqlite_journal import SqliteJournal
from harness.views.page.actions import PlanFile, Queue, QueuedPlan
from harness.views.page.ahead import Ahead
from harness.views.page.app import make_app
from harness.views.page.desk import Ask, Desk
from harness.views.page.door import Door, door
from harness.views.page.page import Page
from harness.views.page.visitors import Visitors

AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
NODE, BOOT, RUN = "bench-3", "0b6f1c9a", "two-slots-1"
TOKEN = "a-token-of-more-than-twenty"
HOST = "127.0.0.1:8017"
ORIGIN = f"http://{HOST}"
#: Pictures for the README are taken of the same night, with names as people give them.
PICTURES = os.environ.get("HARNESS_PICTURES")
#: A title as nobody should call one; every page that shows it is looked at.
NASTY = "Basalt Run" if PICTURES else "Basalt <script>alert('run')</script> \"Run\" {{ 7*7 }}"


def nasty(text: str) -> str:
    """Return *text* with its angle brackets; without them for a picture."""
    return re.sub(r"</?(b>)?|>", "", text) if PICTURES else text


FRAMES_MS = [6.5 + (n * 37 % 11) / 10 for n in range(400)]


def the_plan() -> d.Plan:
    frames = d.Frames(file="frames.csv", column="frame_ms", unit="ms")
    return d.Plan(
        name="two slots",
        about=nasty("What does the second slot cost <b>this</b> card?"),
        conditions=(
            d.Condition(
                name="slot",
                by=d.By.OPERATOR,
                opens_case=True,
                levels=(
                    d.Level(name="alone", say="Second slot empty."),
                    d.Level(name="shared", say="Storage card in the second slot."),
                ),
            ),
        ),
        settings=(d.Setting(name="fhd", values=(("size", "1920x1080"),)),),
        titles=tuple(
            d.Title(
                title=name,
                scene="loop",
                settings=("fhd",),
                command=d.Command(argv=("lantern-quay",), time_limit_s=90.0),
                frames=frames,
            )
            for name in ("Lantern Quay", NASTY)
        ),
        passes=d.Passes(keep=2, at_most=3, warm_up=d.WarmUp(passes=0)),
        limits=(),
    )


PLAN = the_plan()
KEYS = {(cell.title, dict(cell.levels)["slot"]): cell.key for cell in cells(PLAN)}
QUAY = KEYS["Lantern Quay", "alone"]
FAILED = KEYS[NASTY, "alone"]


@dataclass
class Place:
    """A folder with a store, a rig and the page; ``client`` asks as a browser on this machine."""

    folder: Path
    steady_s: float = 0.0
    queued: list[tuple[str, str]] = field(default_factory=list)
    way: Door = field(
        default_factory=lambda: door(host="127.0.0.1", port=8017, names=(), tls=False, proxy=False)
    )

    @property
    def store(self) -> Path:
        return self.folder / "store"

    @property
    def rig(self) -> Path:
        return self.folder / "rig"

    def page(self, *, ask: Ask = asked) -> Page:
        def put(plan: PlanFile, by: str) -> str:
            self.queued.append((plan.name, by))
            return f"{plan.name} is queued"

        desk = Desk(
            store=self.store,
            rig=self.rig,
            node=NODE,
            now=lambda: AT + timedelta(hours=8),
            ask=ask,
        )
        return Page(
            desk=desk,
            ahead=Ahead(desk),
            door=self.way,
            visitors=Visitors(TOKEN),
            queue=Queue(plans=lambda: (PlanFile(name="night.yaml"),), put=put, queued=self.entries),
            steady_s=lambda: self.steady_s,
        )

    def entries(self) -> tuple[QueuedPlan, ...]:
        return tuple(
            QueuedPlan(
                entry=number,
                plan=plan,
                by=by,
                at=AT.isoformat(),
                start="",
                end="",
                last="",
                elsewhere=by == "Ana",
            )
            for number, (plan, by) in enumerate(self.queued, start=1)
        )

    def client(self, page: Page | None = None, **more: Any) -> TestClient:
        app: Any = make_app(page or self.page())
        return TestClient(
            app, base_url=f"{self.way.scheme}://{sorted(self.way.hosts)[0]}",
            follow_redirects=False, **more,
        )  # fmt: skip

    def journal_of(self, records: Sequence[r.Record], *, minute: int = 30) -> None:
        with open_store(self.store, write=True) as store:
            journal = store.journal(RUN)
            journal.append(records, at=AT + timedelta(minutes=minute), boot=BOOT)


def come_in(client: TestClient, name: str = "Ines") -> str:
    """Show the token; return the word that forms of the session carry."""
    answer = client.post(
        "/session", data={"name": name, "token": TOKEN}, headers={"origin": origin(client)}
    )
    assert answer.status_code == 303, answer.text
    page = client.get("/session").text
    return page.split('name="csrf" value="')[1].split('"')[0]


def origin(client: TestClient) -> str:
    return str(client.base_url).rstrip("/")


def shown(client: TestClient) -> dict[str, str]:
    """Return the headers of a program that shows the token."""
    return {"authorization": f"Bearer {TOKEN}"}


def made(folder: Path) -> Place:
    """Return a place with a night of which half is done: one cell accepted, one failed."""
    place = Place(folder)
    place.rig.mkdir()
    hash_ = plan_hash(PLAN)
    with open_store(place.store, write=True) as store:
        journal = store.create_run(
            RUN,
            plan_name=PLAN.name,
            plan_hash=hash_,
            rig=NODE,
            cells=len(KEYS),
            at=AT,
            first=(
                r.RunStarted(
                    run=RUN, plan=freeze(PLAN), plan_hash=hash_, plan_file="plans/two-slots.yaml",
                    rig=NODE, harness="0.1.0",
                ),
                r.RunnerStarted(),
                r.GroupOpened(group=1, fields=(("gpu.driver", "580.10"),)),
                r.BlockOpened(block=0),
                r.StepAsked(
                    step=1, levels=(("slot", "alone"),), say=("Second slot empty.",),
                    opens_case=True, reboot=False, boot=BOOT,
                ),
                r.StepConfirmed(step=1, by="Ana", note="done", attending=True),
                r.RoundStarted(round=1, cells=(QUAY, FAILED)),
            ),
            boot=BOOT,
        )  # fmt: skip
        for attempt in (1, 2):
            keep_pass(journal, folder, attempt)
        closed = r.CellClosed(
            cell=QUAY, state=r.CellState.ACCEPTED, group=1, kept=(1, 2), reason="2 passes kept"
        )
        journal.append((closed,), at=AT + timedelta(minutes=10), boot=BOOT)
        for attempt in (1, 2, 3):
            fail_pass(journal, attempt)
        closed = r.CellClosed(
            cell=FAILED,
            state=r.CellState.FAILED,
            group=1,
            kept=(),
            reason=nasty("3 passes <failed>"),
        )
        journal.append((closed,), at=AT + timedelta(minutes=20), boot=BOOT)
    return place


def started(cell: str, attempt: int) -> r.PassStarted:
    return r.PassStarted(
        cell=cell, attempt=attempt, warm_up=False, group=1, block=0, round=attempt, waited_s=4.5,
        readings=(measured("gpu.temperature", 58.0),),
    )  # fmt: skip


def keep_pass(
    journal: SqliteJournal,
    folder: Path,
    attempt: int,
    *,
    frames_ms: Sequence[float] = FRAMES_MS,
    cell: str = QUAY,
) -> None:
    """Carry out one pass of Lantern Quay, with a capture and readings."""
    at = AT + timedelta(minutes=attempt)
    journal.append((started(cell, attempt),), at=at, boot=BOOT)
    log, samples = folder / "frames.csv", folder / "readings.jsonl"
    log.write_text(
        "".join(["frame_ms\n", *(f"{each:.4f}\n" for each in frames_ms)]), encoding="ascii"
    )
    samples.write_text("".join(json.dumps(each) + "\n" for each in SAMPLES), encoding="utf-8")
    bundle = journal.keep(
        f"{cell}-{attempt:03d}",
        (
            Member(name="captures/frames.csv", path=log),
            Member(name="readings.jsonl", path=samples),
        ),
    )
    rate = 1000 * len(frames_ms) / sum(frames_ms) + attempt / 10
    ended = r.PassEnded(
        cell=cell,
        attempt=attempt,
        end=CommandEnd(argv=("lantern-quay",), by=EndedBy.EXIT, wall_s=3.2, status=0),
        bundle=bundle,
        figures=(
            Figure(name="average_fps", value=rate, unit="fps", definition="frames-over-time/1"),
        ),
        frames=len(frames_ms),
        readings=(
            ReadingSummary(
                name="gpu.temperature", unit="°C", samples=3, measured=2, mean=61.0, least=58.0,
                most=64.0,
            ),
        ),
        harness_cpu_s=0.0032,
        harness_cost=HarnessCost(
            definition="frames-around-looks/1", looks=58, cost_ms=0.021, low_ms=-0.01,
            high_ms=0.052, share=0.000021, most_share=0.000052, laid="clock",
        ),
    )  # fmt: skip
    judged = r.PassJudged(
        cell=cell, attempt=attempt, verdict=Verdict.KEPT, reason="all checks passed"
    )
    journal.append((ended, judged), at=at + timedelta(seconds=4), boot=BOOT)


def fail_pass(journal: SqliteJournal, attempt: int) -> None:
    at = AT + timedelta(minutes=10 + attempt)
    journal.append((started(FAILED, attempt),), at=at, boot=BOOT)
    end = CommandEnd(argv=("basalt-run",), by=EndedBy.EXIT, wall_s=0.3, status=3)
    judged = r.PassJudged(
        cell=FAILED, attempt=attempt, verdict=Verdict.FAILED,
        reason=nasty("exited with <status> 3"),
        fault="exit-status",
    )  # fmt: skip
    journal.append((r.PassEnded(cell=FAILED, attempt=attempt, end=end), judged), at=at, boot=BOOT)


SAMPLES: tuple[Mapping[str, Any], ...] = (
    {"into_s": 0.0, "readings": {"gpu.temperature": {"value": 58.0, "unit": "°C"}}},
    {"into_s": 1.0, "readings": {"gpu.temperature": {"why": "lost", "unit": "°C"},
                                 "gpu.link.width": {"value": 16, "unit": ""}}},
    {"into_s": 2.0, "readings": {"gpu.temperature": {"value": 64.0, "unit": "°C"},
                                 "gpu.link.width": {"value": 16, "unit": ""},
                                 "power.source": {"value": "mains"},
                                 "gpu.limited.heat": {"value": False}}},
)  # fmt: skip

STEP = (
    r.BlockClosed(block=0),
    r.StepAsked(
        step=2, levels=(("slot", "shared"),), say=(nasty("Storage card in the <second> slot."),),
        opens_case=True, reboot=False, boot=BOOT,
    ),
)  # fmt: skip


@contextmanager
def pass_in_progress(place: Place) -> Iterator[None]:
    """Be the runner, in the middle of a pass of the run."""
    place.journal_of([started(KEYS["Lantern Quay", "shared"], 1)])
    with RunnerLock(place.rig, plan="plans/two-slots.yaml", now=AT) as lock:
        lock.note(run=RUN, store=place.store)
        yield
