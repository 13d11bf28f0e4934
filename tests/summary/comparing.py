"""Sides for tests of comparisons: cells with the passes that a test needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.plan.canonical import procedure
from harness.plan.cells import Cell
from harness.plan.document import (
    Better,
    Bound,
    By,
    Command,
    Compare,
    Condition,
    FigureFrom,
    FigureSpec,
    Frames,
    Level,
    Order,
    Plan,
    Setting,
    Title,
)
from harness.rules.judgement import Figure, ReadingSummary
from harness.run.records import CellState
from harness.summary.sides import KeptPass, SideCell


def title(name: str = "Lantern Quay", *, argument: str = "--bench", **more: object) -> Title:
    return Title(
        title=name,
        scene="harbour loop",
        settings=("fhd", "uhd"),
        command=Command(argv=("title", argument), time_limit_s=60.0),
        frames=Frames(file="f.csv", column="frame_ms", unit="ms"),
        **more,  # type: ignore[arg-type]
    )


TIMED = Title(
    title="Basalt Run",
    scene="export",
    settings=("fhd",),
    command=Command(argv=("basalt-run",), time_limit_s=60.0),
    figures=(
        FigureSpec(name="export", source=FigureFrom.WALL_TIME, better=Better.LOWER, unit="s"),
    ),
)


def level(name: str, *, width: int | None = None) -> Level:
    if width is None:
        return Level(name=name, say="…")
    expect = (
        Bound(reading="gpu.link.generation", unit="", at_least=4.0),
        Bound(reading="gpu.link.width", unit="", equals=float(width)),
    )
    return Level(name=name, say="…", expect=expect)


def plan(
    *titles: Title,
    by: By = By.COMMAND,
    levels: Sequence[Level] = (Level(name="stock"), Level(name="quiet")),
    compare: Compare | None = None,
    order: Order | None = None,
    changes: tuple[str, ...] = (),
    revision: str = "1",
    settings: tuple[str, ...] = ("fhd", "uhd"),
) -> Plan:
    return Plan(
        name="two-ways",
        titles=titles or (title(),),
        settings=tuple(Setting(name=name, values=(("size", name),)) for name in settings),
        conditions=(Condition(name="way", by=by, levels=tuple(levels), changes=changes),),
        compare=compare or Compare(),
        order=order or Order(),
        procedure=revision,
    )


def several(selection: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """A selection; values of one key are written with blanks between them."""
    return {key: tuple(values.split()) for key, values in selection.items()}


def a_pass(
    value: float | None,
    attempt: int,
    *,
    name: str = "average_fps",
    unit: str = "fps",
    definition: str = "frames-over-time/1",
    stay: int = 1,
    round_no: int | None = None,
    marks: tuple[str, ...] = (),
    thin: bool = False,
    readings: dict[str, float] | None = None,
) -> KeptPass:
    figure = Figure(
        name=name,
        value=value,
        unit=unit,
        definition=definition,
        thin=thin,
        why=None if value is not None else "too few frames",
    )
    return KeptPass(
        attempt=attempt,
        stay=stay,
        round=attempt if round_no is None else round_no,
        figures={name: figure},
        readings={
            key: ReadingSummary(
                name=key, unit="", samples=9, measured=9, mean=each, least=each, most=each
            )
            for key, each in (readings or {}).items()
        },
        marks=marks,
    )


def side(
    way: str,
    passes: Sequence[KeptPass | float],
    *,
    of: Plan | None = None,
    run: str = "two-ways-1",
    rig: str = "north-2",
    name: str = "Lantern Quay",
    setting: str = "fhd",
    group: int = 1,
    current: bool = True,
    state: CellState = CellState.ACCEPTED,
    fingerprint: dict[str, str] | None = None,
    visits: dict[int, dict[str, int]] | None = None,
) -> SideCell:
    asked = of or plan()
    scene = next(each.scene for each in asked.titles if each.title == name)
    cell = Cell(title=name, scene=scene, setting=setting, levels=(("way", way),))
    return SideCell(
        run=run,
        rig=rig,
        plan=asked,
        cell=cell,
        group=group,
        current=current,
        state=state,
        kept=tuple(
            each if isinstance(each, KeptPass) else a_pass(each, n)
            for n, each in enumerate(passes, start=1)
        ),
        procedure=procedure(asked, cell, definitions=""),
        fingerprint=fingerprint if fingerprint is not None else {"os.build": "1"},
        visits=visits or {1: {}},
    )
