"""The passes of one cell as the page shows them: figures, verdict, reason, files kept.

Pure. Made from the cell's story: nothing is judged again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from harness.plan.document import Title
from harness.rules.believable import believed
from harness.rules.judge import end_words
from harness.rules.judgement import Figure, HarnessCost, ReadingSummary
from harness.run import records as r
from harness.run.ports import Entry
from harness.run.state import Grid
from harness.views.story import sentence

SCHEMA = "harness.page.cell/1"
IN_PROGRESS = "in progress"


@dataclass(slots=True, kw_only=True)
class PassRow:
    """One pass. ``verdict`` is ``in progress`` until it is judged."""

    attempt: int
    what: str
    group: int
    at: str
    waited_s: float | None = None
    verdict: str = IN_PROGRESS
    reason: str = ""
    superseded: bool = False
    ended: str = ""
    wall_s: float | None = None
    frames: int | None = None
    figures: tuple[Figure, ...] = ()
    marks: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    readings: tuple[ReadingSummary, ...] = ()
    bundle: r.BundleRef | None = None
    discards: list[str] = field(default_factory=list)
    harness_share: float | None = None  #: of the pass's time, the harness's processor time
    harness_cost: HarnessCost | None = None  #: what looking at the rig cost the frames

    def figure(self, name: str) -> Figure | None:
        """Return the figure called *name*."""
        return next((each for each in self.figures if each.name == name), None)


def pass_rows(story: Iterable[Entry]) -> tuple[PassRow, ...]:
    """Return the passes that the story of a cell tells of, in the order of their attempts."""
    rows: dict[int, PassRow] = {}
    for entry in story:
        record = entry.record
        match record:
            case r.PassStarted():
                rows[record.attempt] = PassRow(
                    attempt=record.attempt,
                    what=_what(record),
                    group=record.group,
                    at=entry.at.isoformat(),
                    waited_s=record.waited_s,
                    marks=record.marks,
                )
            case r.PassSkipped():
                rows[record.attempt] = PassRow(
                    attempt=record.attempt,
                    what="warm-up pass" if record.warm_up else "pass",
                    group=record.group,
                    at=entry.at.isoformat(),
                    verdict="failed",
                    reason=record.reason,
                    ended="not carried out",
                )
            case r.PassEnded() if record.attempt in rows:
                _ended(rows[record.attempt], record)
            case r.PassJudged() if record.attempt in rows:
                row = rows[record.attempt]
                row.verdict, row.reason = record.verdict.value, record.reason
                row.marks = tuple(dict.fromkeys((*row.marks, *record.marks)))
            case r.PassDiscarded() if record.attempt in rows:
                _discarded(rows[record.attempt], record)
            case r.CellReopened():
                for attempt in record.superseded:
                    if attempt in rows and rows[attempt].what != "reference pass":
                        rows[attempt].superseded = True
            case _:
                pass  # tells nothing of one pass
    return tuple(rows[attempt] for attempt in sorted(rows))


def _what(record: r.PassStarted) -> str:
    if record.reference and not record.warm_up:
        return "reference pass"
    if record.preload:
        return "preload pass"
    return "warm-up pass" if record.warm_up else "pass"


def _ended(row: PassRow, record: r.PassEnded) -> None:
    row.ended = end_words(record.end) if record.end is not None else "nobody saw it end"
    row.wall_s = None if record.end is None else record.end.wall_s
    row.frames, row.figures, row.flags = record.frames, believed(record.figures), record.flags
    row.notes, row.readings, row.bundle = record.notes, record.readings, record.bundle
    row.harness_cost = record.harness_cost
    if row.wall_s:
        row.harness_share = record.harness_cpu_s / row.wall_s


def _discarded(row: PassRow, record: r.PassDiscarded) -> None:
    verb = "discarded" if record.discarded else "marked"
    row.discards.append(
        f"{verb} by {record.rule} on {record.on}: {record.reason} (statistic "
        f"{record.statistic:.6g}, critical {record.critical:.6g}, {record.passes} passes)"
    )
    if record.discarded:
        row.verdict, row.reason = "discarded", record.reason


def shown_figures(rows: Sequence[PassRow], *, low: str) -> tuple[str, ...]:
    """Return the names of the figures that the table of passes has columns for.

    The average and the 1 % low by the definition that the plan shows; a title without frames
    has its own figures, three at most.
    """
    names = dict.fromkeys(each.name for row in rows for each in row.figures)
    usual = [name for name in ("average_fps", low) if name in names]
    return tuple(usual or list(names)[:3])


def capture_of(row: PassRow, title: Title) -> tuple[str, str, int] | None:
    """Return (name, SHA-256, size) of the capture that the frames were read from; None: none."""
    if row.bundle is None or title.frames is None:
        return None
    wanted = f"captures/{title.frames.file}"
    return next((member for member in row.bundle.members if member[0] == wanted), None)


def as_json(
    run: str, key: str, grid: Grid, story: Sequence[Entry], rows: Sequence[PassRow]
) -> dict[str, Any]:
    """Return the object of ``/api/runs/RUN/cells/CELL``."""
    cell = grid.cells[key]
    return {
        "schema": SCHEMA,
        "run": run,
        "cell": key,
        "label": cell.label,
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "conditions": dict(cell.levels),
        "passes": [pass_json(row) for row in rows],
        "story": [
            {"seq": each.seq, "at": each.at.isoformat(), "what": sentence(each.record, grid)}
            for each in story
        ],
    }


def pass_json(row: PassRow) -> dict[str, Any]:
    """Return one pass as the API shows it."""
    return {
        "attempt": row.attempt,
        "what": row.what,
        "group": row.group,
        "at": row.at,
        "waited_s": row.waited_s,
        "verdict": row.verdict,
        "reason": row.reason,
        "superseded": row.superseded,
        "ended": row.ended,
        "wall_s": row.wall_s,
        "frames": row.frames,
        "figures": {
            each.name: {
                "value": each.value,
                "unit": each.unit,
                "definition": each.definition,
                "why": each.why,
                "thin": each.thin,
            }
            for each in row.figures
        },
        "marks": list(row.marks),
        "flags": list(row.flags),
        "notes": list(row.notes),
        "discards": list(row.discards),
        "readings": [
            {
                "name": each.name,
                "unit": each.unit,
                "mean": each.mean,
                "least": each.least,
                "most": each.most,
                "measured": each.measured,
                "samples": each.samples,
                "why": each.why,
            }
            for each in row.readings
        ],
        "files": []
        if row.bundle is None
        else [
            {"name": name, "sha256": sha256, "bytes": count}
            for name, sha256, count in row.bundle.members
        ],
        "harness_share": row.harness_share,
        "harness_cost": None if row.harness_cost is None else asdict(row.harness_cost),
    }
