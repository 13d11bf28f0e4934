"""Check a plan: all its problems at once, or what it amounts to.

Nothing is started and nothing is kept. With errors the exit status is 2. Where the store has
passes of the same cells, the expected time is taken from them, and so is whether the plan's
band can be told with so many passes.
"""

from __future__ import annotations

import argparse
import gc
import sys
from functools import partial
from itertools import chain

from harness.errors import AskedError, Exit, Problem, render
from harness.plan import fields as f
from harness.plan.check import Checked, check
from harness.plan.outlook import Outlook, outlook
from harness.plan.read import read_plan
from harness.settings import rig_folder, store_folder
from harness.views.grid import as_text, earlier_lines
from harness.wiring import vocabulary

TYPE_CHECKING = False  # as typing has it: no check needs it to run
if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import TextIO

    from harness.errors import StoreError
    from harness.plan.kinds import Values
    from harness.plan.source import Source
    from harness.summary.earlier import Earlier
    from harness.summary.reusable import Reusable


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", nargs="?", help="the plan file")
    parser.add_argument("--json", action="store_true", help="print JSON, schema harness.check/1")
    parser.add_argument(
        "--rig", action="store_true", help="hold it against this rig too, which takes a second"
    )
    parser.add_argument("--store", metavar="FOLDER", help="where earlier passes are looked for")
    parser.add_argument(
        "--schema", action="store_true", help="print the JSON Schema of plans, for editors"
    )


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Check the plan; return 2 where it has errors."""
    if args.schema:
        _print_schema(out)
        return Exit.WELL
    if args.plan is None:
        raise AskedError(
            Problem(
                code="plan-needed",
                what="no plan is named",
                do="write harness check PLAN, or harness check --schema",
            )
        )
    # A large plan is many small objects that live until the end: there is nothing to collect.
    collecting = gc.isenabled()
    gc.disable()
    try:
        source = read_plan(args.plan)
        checked = check(source, vocabulary())
        problems, seen = [*checked.problems], None
        if checked.values is not None:
            seen = _seen(checked, source, store_folder(args.store), problems)
            if args.rig:
                problems += _on_this_rig(checked, source, store_folder(args.store))
            problems.sort(key=_position)
        earlier = _earlier_work(checked, store_folder(args.store))
        lengths = seen.lengths if seen is not None else None
        size = outlook(checked.values, earlier=lengths) if checked.values is not None else None
        passes = seen.passes if seen is not None else 0
        if args.json:
            lines = iter((_as_json(problems, size, passes, earlier),))
        else:
            lines = _as_words(args.plan, checked.values, problems, size, seen)
            if earlier is not None:
                lines = chain(lines, earlier_lines(earlier))
        out.writelines(line + "\n" for line in lines)
    finally:
        if collecting:
            gc.enable()
    return Exit.WELL if checked.values is not None else Exit.ASKED_WRONGLY


def _seen(
    checked: Checked, source: Source, folder: Path, problems: list[Problem]
) -> Earlier | None:
    """Return what the store knows of the plan's cells, and add what there is to warn of."""
    if not folder.is_dir():
        return None  # and nothing of the store is imported
    import platform

    from harness.errors import StoreError
    from harness.store.history import has_records, open_history
    from harness.summary.earlier import earlier
    from harness.views.foresight import band_not_resolved

    if not has_records(folder):
        return None
    plan, values = checked.accepted(), checked.values
    assert values is not None
    try:
        with open_history(folder) as history:
            plans = history.plans(rig=platform.node())
            found = earlier(
                plan,
                ((hash_, text, partial(history.passes, run)) for run, hash_, text in plans),
            )
    except StoreError as error:
        problems.append(_unread(folder, error))
        return None
    warning = band_not_resolved(plan, values, source, found)
    problems += [warning] if warning is not None else []
    return found


def _earlier_work(checked: Checked, folder: Path) -> Reusable | None:
    """Return what earlier runs have of the plan's cells, where the plan speaks of them."""
    values = checked.values
    if values is None or not {"reuse", "extends"} & values.nodes.keys() or not folder.is_dir():
        return None
    import platform

    from harness.rig.clock import MachineClock
    from harness.store.history import has_records
    from harness.store.sqlite import open_store
    from harness.wiring import earlier_work

    if not has_records(folder):
        return None
    with open_store(folder, write=False) as store:
        now = MachineClock().now()
        return earlier_work(store, checked.accepted(), rig=platform.node(), now=now)


def _unread(folder: Path, error: StoreError) -> Problem:
    """Return the warning for a store that cannot be read: the plan itself can still be checked."""
    first = error.problems[0]
    return Problem(
        code="history-not-read",
        severity="warning",
        what=f"earlier passes are not looked at: {first.what}",
        where=first.where or (str(folder),),
        do=first.do,
    )


def _on_this_rig(checked: Checked, source: Source, folder: Path) -> tuple[Problem, ...]:
    """Return why the plan could not start on this rig as it is now, as warnings."""
    from harness.commands.sensors import WINDOW_S
    from harness.rig.clock import MachineClock
    from harness.rig.sensors.registry import machine_sensors
    from harness.run.ready import relied_on
    from harness.views.foresight import not_here, not_there

    plan = checked.accepted()
    names = relied_on(plan)
    clock = MachineClock()
    sensors = machine_sensors(store=folder, clock=clock, gpu=plan.rig.gpu, rig=rig_folder())
    sensors.sample()
    clock.pause(WINDOW_S)  # rates need two looks
    readings = dict(zip(names, sensors.read(names), strict=True))
    problems = not_here(plan, readings, source)
    if sys.platform != "linux":
        return problems  # where programs are looked for elsewhere is not built yet
    from pathlib import Path

    from harness.rig.survey_linux import LinuxSurveyor
    from harness.run.preflight_plan import wanted

    looking = LinuxSurveyor(state=rig_folder(), folder=Path.cwd(), sensors=sensors)
    return (*problems, *not_there(looking.looked_for(wanted(plan)), source))


def _position(problem: Problem) -> tuple[int, int]:
    place = problem.place
    return (place.line or 0, place.column or 0) if place is not None else (0, 0)


def _print_schema(out: TextIO) -> None:
    import json

    from harness.plan.schema import schema

    json.dump(schema(vocabulary()), out, ensure_ascii=False, indent=2)
    out.write("\n")


def _as_json(
    problems: list[Problem], size: Outlook | None, passes: int, earlier: Reusable | None
) -> str:
    import json

    answer = {
        "schema": "harness.check/1",
        "ok": size is not None,
        "problems": [_problem(problem) for problem in problems],
        "cells": size.cells if size is not None else None,
        "passes": size.counted if size is not None else None,
        "reference_passes": size.references if size is not None else None,
        "person_steps": len(size.steps) if size is not None else None,
        "seconds": size.seconds if size is not None else None,
        "seconds_from": _came_from(size, passes) if size is not None else None,
        "reusable": None if earlier is None else [offer.cell for offer in earlier.offers],
        "stale": None
        if earlier is None
        else [{"cell": each.cell.key, "differs": list(each.differs)} for each in earlier.stale],
    }
    return json.dumps(answer, ensure_ascii=False)


def _came_from(size: Outlook, passes: int) -> dict[str, object]:
    return {
        "earlier_passes": passes,
        "titles": {
            "earlier_passes": len(size.seen),
            "scene_lengths": size.scenes,
            "time_limits": len(size.bounded),
        },
    }


def _problem(problem: Problem) -> dict[str, object]:
    place = problem.place
    return {
        "code": problem.code,
        "severity": problem.severity,
        "message": problem.what,
        "line": place.line if place is not None else None,
        "column": place.column if place is not None else None,
        "do": problem.do,
    }


def _as_words(
    file: str,
    plan: Values | None,
    problems: list[Problem],
    size: Outlook | None,
    seen: Earlier | None,
) -> Iterator[str]:
    for problem in problems:
        yield render(problem)
        yield ""
    errors = sum(problem.severity == "error" for problem in problems)
    count = " and ".join(
        f"{number} {noun}{'s' if number != 1 else ''}"
        for number, noun in ((errors, "error"), (len(problems) - errors, "warning"))
        if number
    )
    if size is None or plan is None:
        yield f"{file}: {count}. The plan cannot be carried out as it is."
        return
    name = plan.need(f.PLAN)
    yield f"{file}: the plan {name} is in order" + (f", {count}" if count else "") + "."
    yield ""
    if seen is None:
        yield from as_text(plan, size)
    else:
        yield from as_text(plan, size, earlier=seen.lengths, passes=seen.passes)
