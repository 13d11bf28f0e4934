"""What one pass left -> what was measured: figures, flags, notes, or the fault.

Touches disk and processes. Nothing is believed because a command exited with 0: the capture
must be there, be inside the attempt's own folder, hold something, be newer than the attempt,
and be read strictly. Whatever is wrong becomes part of the answer; no file makes this raise.
"""

from __future__ import annotations

import json
import math
import os
import stat
from pathlib import Path

from harness.plan.document import Cut, FigureFrom, FigureSpec, Frames, Report
from harness.rig.captures.assembly import Part
from harness.rig.captures.declared import declared
from harness.rig.captures.read import read_capture
from harness.rig.tasks import PassReport, PassTask
from harness.rules import pointer
from harness.rules.believable import believed, why_unbelievable
from harness.rules.figures import figures
from harness.rules.flags import flags
from harness.rules.judgement import Figure, Measured
from harness.rules.observer import harness_cost, not_told
from harness.rules.printed import NotFound, number_printed, shown, texts_printed
from harness.rules.reported import Reported, reported

#: Frames may last a little longer than the command: clocks differ, and a recorder starts early.
WALL_SHARE = 1.02
WALL_SLACK_S = 0.25


class Fault(Exception):
    """Something that leaves the pass without figures: the fault's name, and what was found."""

    def __init__(self, fault: str, problem: str) -> None:
        super().__init__(problem)
        self.fault = fault
        self.problem = problem


def measure(task: PassTask, report: PassReport) -> Measured:
    """Return what was measured in one pass."""
    title = task.title
    folder = report.folder
    if folder is None:
        return Measured(fault="no-capture", problem="the pass has no folder, so nothing was kept")
    why = "the title leaves no frames" if title.frames is None else "no frames could be read"
    found = Measured(harness_cost=not_told(why))
    try:
        used = Reported()
        if title.reports:
            used = reported(
                title.reports, asked=task.fill, said=lambda each: _said(each, folder, report)
            )
        if used.differs:
            raise Fault("setting-differs", "; ".join(used.differs))
        if title.frames is not None:
            found = _from_frames(title.frames, title.cut, folder, report)
        made = tuple(_from_spec(spec, folder, report) for spec in title.figures)
    except Fault as fault:
        return Measured(
            fault=fault.fault,
            problem=fault.problem,
            frames=found.frames,
            notes=found.notes,
            harness_cost=found.harness_cost,
        )
    if found.problem is not None:
        return found
    return Measured(
        figures=found.figures + made,
        flags=found.flags + used.flags,
        notes=found.notes + used.notes,
        frames=found.frames,
        harness_cost=found.harness_cost,
    )


def part_of(cut: Cut) -> Part | None:
    """Return the part of a capture that *cut* leaves; None: all of it."""
    if cut.from_s == 0.0 and cut.length_s is None:
        return None
    return Part(
        from_ms=cut.from_s * 1000.0,
        length_ms=None if cut.length_s is None else cut.length_s * 1000.0,
        tolerance=cut.tolerance,
    )


# -------------------------------------------------------------------------------- the frames


def _from_frames(frames: Frames, cut: Cut, folder: Path, report: PassReport) -> Measured:
    path = _capture(frames.file, folder, report)
    capture = read_capture(os.fspath(path), declared(frames), part=part_of(cut))
    if capture.troubles:
        trouble = capture.troubles[0]
        where = f"{frames.file}:{trouble.line}" if trouble.line else frames.file
        others = len(capture.troubles) - 1
        more = f"; and {others} more" if others else ""
        return Measured(
            fault="short-capture" if trouble.code == "short-capture" else "unreadable-capture",
            problem=f"{where}: {trouble.what} ({trouble.code}){more}",
            notes=capture.notes,
            frames=capture.frames or None,
            harness_cost=not_told("the capture cannot be taken"),
        )
    times = capture.times
    assert times is not None, "a capture without frames has a trouble"
    whole_s = capture.whole_ms / 1000.0
    wall_s = report.end.wall_s
    if whole_s > wall_s * WALL_SHARE + WALL_SLACK_S:
        raise Fault(
            "unreadable-capture",
            f"{frames.file}: the frames last {whole_s:.4g} s and the command ran {wall_s:.4g} s, "
            f"a factor of {whole_s / max(wall_s, 1e-9):.3g}: check the unit ({frames.unit}), and "
            "whether the file is of this pass (longer-than-pass)",
        )
    raised = flags(times)
    return Measured(
        figures=believed(
            Figure(
                name=each.name,
                value=each.value,
                unit=each.unit,
                definition=each.definition,
                why=each.why,
                thin=each.thin,
            )
            for each in figures(times)
        ),
        flags=tuple(flag.name for flag in raised),
        notes=capture.notes
        + tuple(
            f"{flag.name}{f' ({flag.where})' if flag.where else ''}: {flag.what}" for flag in raised
        ),
        frames=times.count,
        harness_cost=harness_cost(
            times, report.sampling, wall_s=wall_s, slept=report.slept_s > 0.0
        ),
    )


def _capture(name: str, folder: Path, report: PassReport) -> Path:
    """Return the capture called *name*, or raise the fault that it is none."""
    captures = folder / "captures"
    path = captures / name
    real, inside = os.path.realpath(path), os.path.realpath(captures)
    if os.path.commonpath((real, inside)) != inside or real == inside:
        raise Fault("no-capture", f"{name} lies outside the attempt's own folder")
    try:
        state = path.lstat()
    except OSError:
        raise Fault("no-capture", f"{name} is not there{_instead(captures)}") from None
    if not stat.S_ISREG(state.st_mode):
        raise Fault("no-capture", f"{name} is not a plain file")
    if state.st_size == 0:
        raise Fault("no-capture", f"{name} is there and has 0 bytes")
    made_ns = report.folder_made_ns
    if made_ns is not None and state.st_mtime_ns < made_ns:
        age_s = (made_ns - state.st_mtime_ns) / 1e9
        raise Fault(
            "stale-capture",
            f"{name} was last written {age_s:.3g} s before the attempt began: it is of an earlier "
            "pass",
        )
    return path


def _instead(captures: Path) -> str:
    """Return what lies there instead, the newest first."""
    try:
        found = sorted(
            (entry.stat(follow_symlinks=False).st_mtime_ns, entry.name)
            for entry in os.scandir(captures)
        )
    except OSError:
        return "; the folder for captures is not there either"
    if not found:
        return "; the command left no file at all"
    others = f" and {len(found) - 1} more" if len(found) > 1 else ""
    return f"; the newest file found instead is {found[-1][1]!r}{others}"


# ------------------------------------------------------------------------ what a title says


def _said(report_: Report, folder: Path, report: PassReport) -> tuple[str, ...]:
    """Return the texts a title gave for one report; none where it said nothing of it."""
    if report_.source is FigureFrom.OUTPUT:
        assert report_.pattern is not None, "a report from output has a pattern"
        try:
            return tuple(filter(None, texts_printed(report_.pattern, folder)))
        except NotFound as error:
            raise Fault("no-figure", f"report {report_.name!r}: {error}") from None
    assert report_.file is not None and report_.pointer is not None, "a report from JSON has both"
    try:
        value = pointer.look_up(
            _capture(report_.file, folder, report).read_bytes(), report_.pointer
        )
    except (Fault, OSError, pointer.NotThere):
        return ()
    return (value,) if isinstance(value, str) else (json.dumps(value),)


# ------------------------------------------------------------------------ figures of a title


def _from_spec(spec: FigureSpec, folder: Path, report: PassReport) -> Figure:
    match spec.source:
        case FigureFrom.WALL_TIME:
            return _figure(spec, report.end.wall_s, unit=spec.unit or "s", definition="wall-time/1")
        case FigureFrom.OUTPUT:
            return _figure(
                spec, _in_output(spec, folder), unit=spec.unit, definition="output-pattern/1"
            )
        case FigureFrom.JSON:
            return _figure(
                spec, _in_json(spec, folder, report), unit=spec.unit, definition="json-pointer/1"
            )


def _figure(spec: FigureSpec, value: float, *, unit: str, definition: str) -> Figure:
    why = why_unbelievable(value)
    if why is not None:
        raise Fault("no-figure", f"figure {spec.name!r}: {why}")
    return Figure(name=spec.name, value=value, unit=unit, definition=definition)


def _in_output(spec: FigureSpec, folder: Path) -> float:
    assert spec.pattern is not None, "a figure from output has a pattern"
    try:
        return number_printed(spec.pattern, folder)
    except NotFound as error:
        raise Fault("no-figure", f"figure {spec.name!r}: {error}") from None


def _in_json(spec: FigureSpec, folder: Path, report: PassReport) -> float:
    assert spec.file is not None and spec.pointer is not None, "a figure from JSON names both"
    path = _capture(spec.file, folder, report)
    try:
        value = pointer.look_up(path.read_bytes(), spec.pointer)
    except OSError as error:
        raise Fault(
            "unreadable-capture", f"{spec.file} cannot be read: {error.strerror or error}"
        ) from error
    except pointer.NotThere as error:
        raise Fault("no-figure", f"figure {spec.name!r}: {spec.file}: {error}") from error
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Fault(
            "no-figure",
            f"figure {spec.name!r}: {shown(value)} at {spec.pointer} in {spec.file} is not a "
            "number",
        )
    try:
        return float(value)
    except OverflowError:  # a whole number of JSON may have any number of digits
        return math.inf if value > 0 else -math.inf
