"""Runs over nights on rigs, as records: a reference cell, and cells measured in between."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from harness.plan.canonical import freeze, plan_hash
from harness.plan.cells import cells
from harness.plan.document import Command, Compare, Frames, Plan, Reference, Setting, Title
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.run.records import CellState
from harness.store.sqlite import open_store

FIRST_NIGHT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
BETWEEN_PASSES = timedelta(minutes=10)
FINGERPRINT = {"gpu.driver": "572.10", "os.build": "26200.1"}

#: One pass: which cell, its value, and whether it is a reference pass.
Step = tuple[str, float, bool]


def plan(*, band: float = 0.03, reference: bool = True, argument: str = "--bench") -> Plan:
    title = Title(
        title="Lantern Quay",
        scene="harbour loop",
        settings=("fhd", "uhd"),
        command=Command(argv=("lantern-quay", argument), time_limit_s=60.0),
        frames=Frames(file="f.csv", column="frame_ms", unit="ms"),
    )
    cell = Reference(title="Lantern Quay", scene="harbour loop", setting="fhd")
    return Plan(
        name="long-watch",
        titles=(title,),
        settings=tuple(
            Setting(name=name, values=(("size", size),))
            for name, size in (("fhd", "1920x1080"), ("uhd", "3840x2160"))
        ),
        compare=Compare(band=band),
        reference=cell if reference else None,
    )


FHD, UHD = (cell.key for cell in cells(plan()))


def figure(value: float | None) -> Figure:
    return Figure(name="average_fps", value=value, unit="fps", definition="frames-over-time/1")


def references(values: Sequence[float]) -> list[Step]:
    return [(FHD, value, True) for value in values]


def counted(values: Sequence[float], *, cell: str = UHD) -> list[Step]:
    return [(cell, value, False) for value in values]


def entries(
    steps: Sequence[Step],
    *,
    run: str = "long-watch-1",
    rig: str = "north-2",
    of: Plan | None = None,
    at: datetime = FIRST_NIGHT,
    changes: Mapping[int, Mapping[str, str]] | None = None,
    fields: Mapping[str, str] = FINGERPRINT,
) -> list[Entry]:
    """Return the entries of one run; *changes* are of the fingerprint, by the step they precede."""
    asked = of or plan()
    found: list[Entry] = []

    def keep(record: r.Record, when: datetime) -> None:
        found.append(Entry(seq=len(found) + 1, at=when, boot="b", record=record))

    started = r.RunStarted(
        run=run, plan=freeze(asked), plan_hash=plan_hash(asked), plan_file="long-watch.yaml",
        rig=rig, harness="0.1.0",
    )  # fmt: skip
    group, now = 1, dict(fields)
    keep(started, at)
    keep(r.GroupOpened(group=group, fields=tuple(now.items())), at)
    keep(r.BlockOpened(block=0), at)
    attempts: dict[str, int] = {}
    for place, (cell, value, reference) in enumerate(steps):
        when = at + place * BETWEEN_PASSES
        if changes and place in changes:
            group += 1
            now |= changes[place]
            keep(r.GroupOpened(group=group, fields=tuple(now.items())), when)
        attempt = attempts[cell] = attempts.get(cell, 0) + 1
        for record in _pass(cell, attempt, value, group=group, reference=reference):
            keep(record, when)
    for cell in dict.fromkeys(cell for cell, _, reference in steps if not reference):
        closed = r.CellClosed(cell=cell, state=CellState.ACCEPTED, group=group, kept=(), reason="")
        keep(closed, at + len(steps) * BETWEEN_PASSES)
    return found


def _pass(
    cell: str, attempt: int, value: float, *, group: int, reference: bool
) -> Iterator[r.Record]:
    yield r.PassStarted(
        cell=cell, attempt=attempt, warm_up=False, group=group, block=0, round=attempt,
        waited_s=0.0, readings=(), reference=reference,
    )  # fmt: skip
    yield r.PassEnded(cell=cell, attempt=attempt, end=None, figures=(figure(value),))
    yield r.PassJudged(cell=cell, attempt=attempt, verdict=Verdict.KEPT, reason="")


def keep(folder: Path, runs: Sequence[Sequence[Entry]]) -> Path:
    """Keep *runs* in a store in *folder*."""
    with open_store(folder, write=True) as store:
        for run in runs:
            started = run[0].record
            assert isinstance(started, r.RunStarted)
            journal = store.create_run(
                started.run, plan_name="long-watch", plan_hash=started.plan_hash, rig=started.rig,
                cells=2, at=run[0].at,
            )  # fmt: skip
            for entry in run:
                journal.append([entry.record], at=entry.at, boot=entry.boot)
    return folder


def nights_of(
    values: Sequence[Sequence[float]],
    *,
    rig: str = "north-2",
    reference: bool = True,
    since: datetime = FIRST_NIGHT,
    fields: Mapping[str, str] = FINGERPRINT,
) -> list[list[Entry]]:
    """Return one run for each night of *values*."""
    make = references if reference else counted
    return [
        entries(
            make(night), run=f"{rig}-{number}", rig=rig, at=since + timedelta(days=number - 1),
            fields=fields,
        )
        for number, night in enumerate(values, start=1)
    ]  # fmt: skip


def marked(entry: Entry) -> Entry:
    """Return *entry*, the verdict of a pass, with a mark."""
    assert isinstance(entry.record, r.PassJudged)
    return replace(entry, record=replace(entry.record, marks=("gate gave up",)))
