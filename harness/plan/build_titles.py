"""Titles that were read and agree -> their part of the frozen plan.

Pure.
"""

from __future__ import annotations

from yaml.nodes import Node

from harness.plan import document as d
from harness.plan import fields as f
from harness.plan import title_fields as t
from harness.plan.kinds import Field, Values
from harness.plan.mappings import Named


def titles(plan: Values) -> tuple[d.Title, ...]:
    """Return the plan's titles, in its order."""
    return tuple(map(_title, plan.need(f.TITLES)))


def step(given: tuple[str, ...] | Values | None, node: Node) -> d.Command | None:
    """Return a command beside a title's own, or None where none is given."""
    if given is None:
        return None
    if isinstance(given, tuple):
        return d.Command(argv=given, time_limit_s=t.STEP_LIMIT_S, at=_at(node))
    return d.Command(
        argv=given.need(t.STEP_COMMAND),
        time_limit_s=given.of(t.STEP_LIMIT, t.STEP_LIMIT_S),
        at=_at(given.place(t.STEP_COMMAND)),
    )


def _at(node: Node) -> d.At:
    return d.At(node.start_mark.line + 1, node.start_mark.column + 1)


def _steps(
    values: Values, field: Field[tuple[tuple[str, ...] | Values, ...]]
) -> tuple[d.Command, ...]:
    nodes = values.place(field).value
    made = (step(one, node) for one, node in zip(values.of(field, ()), nodes, strict=False))
    return tuple(command for command in made if command is not None)


def _title(values: Values) -> d.Title:
    build = values.get(t.BUILD)
    cut = values.get(t.CUT)
    frames = values.get(t.FRAMES)
    alive = values.get(t.ALIVE)
    return d.Title(
        title=values.need(t.TITLE),
        scene=values.need(t.SCENE),
        settings=values.need(t.TITLE_SETTINGS),
        command=d.Command(
            argv=values.need(t.COMMAND),
            time_limit_s=values.of(t.TIME_LIMIT, t.TITLE_LIMIT_S),
            at=_at(values.place(t.COMMAND)),
        ),
        prepare=_steps(values, t.PREPARE),
        tidy=_steps(values, t.TIDY),
        collect=values.of(t.COLLECT, ()),
        build_files=build.of(t.BUILD_FILES, ()) if build is not None else (),
        build_command=(
            step(build.get(t.BUILD_COMMAND), build.place(t.BUILD_COMMAND))
            if build is not None
            else None
        ),
        cut=_cut(cut) if cut is not None else d.Cut(),
        frames=_frames(frames) if frames is not None else None,
        figures=_figures(values.get(t.FIGURES)),
        bytes_per_frame=_sizes(values.get(t.BYTES_PER_FRAME)),
        files=_files(values.get(t.FILES)),
        alive=alive.need(t.ALIVE_PROGRAM) if alive is not None else None,
        recorder=_recorder(values),
        reports=_reports(values.get(t.REPORTS)),
        silent_after_s=values.get(t.SILENT_AFTER),
        still_after_s=values.get(t.STILL_AFTER),
        at=_at(values.node),
    )


def _sizes(given: float | Named[float] | None) -> float | tuple[tuple[str, float], ...] | None:
    return tuple(given.parts) if isinstance(given, Named) else given


def _files(values: Values | None) -> d.Files | None:
    if values is None:
        return None
    put = values.get(t.FILES_PUT)
    return d.Files(
        put=tuple(put.parts) if put is not None else (),
        watch=values.of(t.FILES_WATCH, ()),
        give_back=values.of(t.FILES_GIVE_BACK, True),
        at=_at(values.node),
    )


def _recorder(values: Values) -> d.Command | None:
    given = values.get(t.RECORDER)
    if isinstance(given, Values):
        return d.Command(
            argv=given.need(t.STEP_COMMAND),
            time_limit_s=given.of(t.RECORDER_LIMIT, t.RECORDER_LIMIT_S),
            at=_at(given.place(t.STEP_COMMAND)),
        )
    if given is None:
        return None
    return d.Command(argv=given, time_limit_s=t.RECORDER_LIMIT_S, at=_at(values.place(t.RECORDER)))


def _reports(named: Named[Values] | None) -> tuple[d.Report, ...]:
    if named is None:
        return ()
    return tuple(
        d.Report(
            name=name,
            source=d.FigureFrom(values.need(t.REPORT_FROM)),
            pattern=values.get(t.FIGURE_PATTERN),
            file=values.get(t.FIGURE_FILE),
            pointer=values.get(t.FIGURE_AT),
            at=_at(named.keys[name]),
        )
        for name, values in named.parts
    )


def _cut(values: Values) -> d.Cut:
    return d.Cut(
        from_s=values.of(t.CUT_FROM, 0.0),
        length_s=values.get(t.CUT_LENGTH),
        tolerance=values.of(t.CUT_TOLERANCE, 0.0),
        at=_at(values.node),
    )


def _frames(values: Values) -> d.Frames:
    where = values.get(t.FRAMES_WHERE)
    kinds = values.get(t.FRAMES_KINDS)
    return d.Frames(
        file=values.need(t.FRAMES_FILE),
        column=values.need(t.FRAMES_COLUMN),
        unit=values.need(t.FRAMES_UNIT),
        values=values.of(t.FRAMES_VALUES, "durations"),
        delimiter=values.get(t.FRAMES_DELIMITER),
        decimal=values.get(t.FRAMES_DECIMAL),
        thousands=values.get(t.FRAMES_THOUSANDS),
        encoding=values.get(t.FRAMES_ENCODING),
        header=values.get(t.FRAMES_HEADER),
        footer=values.get(t.FRAMES_FOOTER),
        where=tuple(where.parts) if where is not None else (),
        kinds_column=kinds.need(t.KINDS_COLUMN) if kinds is not None else None,
        kinds=kinds.need(t.KINDS_COUNT) if kinds is not None else (),
        counter=values.get(t.FRAMES_COUNTER),
        at=_at(values.node),
    )


def _figures(named: Named[Values] | None) -> tuple[d.FigureSpec, ...]:
    if named is None:
        return ()
    return tuple(
        d.FigureSpec(
            name=name,
            source=d.FigureFrom(values.need(t.FIGURE_FROM)),
            better=d.Better(values.need(t.FIGURE_BETTER)),
            unit=values.of(t.FIGURE_UNIT, _unit(values)),
            pattern=values.get(t.FIGURE_PATTERN),
            file=values.get(t.FIGURE_FILE),
            pointer=values.get(t.FIGURE_AT),
            at=_at(named.keys[name]),
        )
        for name, values in named.parts
    )


def _unit(values: Values) -> str:
    return "s" if values.get(t.FIGURE_FROM) == "wall_time" else ""
