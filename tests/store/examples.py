"""Records, readings and files that the store's tests keep: our own scenario."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from harness.rig.readings import measured, not_measured
from harness.rig.tasks import CommandEnd, EndedBy, Member
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.ports import Journal
from harness.store.made_despite import CellOfSide, MadeDespite

AT = datetime(2026, 11, 2, 22, 30, 0, 125_000, tzinfo=UTC)
BOOT = "0b6f1c9a"
CELL, OTHER = "5d41402abc4b", "7d793037a076"

READINGS = (
    measured("gpu.temperature", 61.5),
    measured("gpu.link.width", 16),
    not_measured("room.temperature", "no such sensor on this rig"),
)


def started(
    attempt: int, cell: str = CELL, *, warm_up: bool = False, group: int = 1
) -> r.PassStarted:
    return r.PassStarted(
        cell=cell,
        attempt=attempt,
        warm_up=warm_up,
        group=group,
        block=0,
        round=1,
        waited_s=12.5,
        readings=READINGS,
    )


def ended(attempt: int, cell: str = CELL, bundle: r.BundleRef | None = None) -> r.PassEnded:
    return r.PassEnded(
        cell=cell,
        attempt=attempt,
        end=CommandEnd(argv=("lantern-quay", "--bench"), by=EndedBy.EXIT, wall_s=61.2, status=0),
        bundle=bundle,
        figures=(
            Figure(name="average_fps", value=144.2, unit="fps", definition="frames-over-time/1"),
        ),
        frames=8640,
    )


def judged(
    attempt: int,
    verdict: Verdict = Verdict.KEPT,
    cell: str = CELL,
    reason: str = "nothing against it",
) -> r.PassJudged:
    return r.PassJudged(cell=cell, attempt=attempt, verdict=verdict, reason=reason)


BEGINNING: tuple[r.Record, ...] = (
    r.RunStarted(
        run="two-slots-1",
        plan='{"plan":"two-slots"}',
        plan_hash="9f" * 32,
        plan_file="plans/two-slots.yaml",
        rig="bench-3",
        harness="0.1.0",
    ),
    r.RunnerStarted(),
    r.GroupOpened(group=1, fields=(("gpu.driver", "580.10"),)),
    r.BlockOpened(block=0),
    r.RoundStarted(round=1, cells=(CELL, OTHER)),
)


def keep_pass(
    journal: Journal, attempt: int, files: tuple[Member, ...], *, cell: str = CELL
) -> r.BundleRef:
    """Keep one pass as the loop does: start, bundle, end with verdict; then rest."""
    later = AT + timedelta(minutes=attempt)
    journal.append((started(attempt, cell),), at=later, boot=BOOT)
    ref = journal.keep(f"{cell}-{attempt:03d}", files)
    journal.append((ended(attempt, cell, ref), judged(attempt, cell=cell)), at=later, boot=BOOT)
    journal.rest()
    return ref


def frame_log(folder: Path, *, rows: int = 400, name: str = "frames.csv") -> Member:
    """Write a small frame log; return it as a member of a bundle."""
    path = folder / name
    lines = (f"{6.9 + (i * 37 % 11) / 10:.4f}\r\n" for i in range(rows))
    path.write_bytes("".join(["frame_ms\r\n", *lines]).encode())
    return Member(name=f"captures/{name}", path=path)


def despite(
    *, run: str, cell: str = CELL, by: str = "Ines", reason: str = "the same scene"
) -> MadeDespite:
    """A comparison of one cell with another, made although the driver differs."""
    return MadeDespite(
        by=by,
        harness="0.1.0",
        reason=reason,
        asked={"figure": None, "selections": {"base": {"run": [run]}}},
        differences=({"kind": "fingerprint", "name": "gpu.driver", "base": "1", "against": "2"},),
        cells=(
            CellOfSide(row=1, side="base", run=run, group=1, cell=cell),
            CellOfSide(row=1, side="against", run=run, group=2, cell=cell),
        ),
        rows=({"label": "Lantern Quay", "margin": 0.1, "word": "faster"},),
    )
