"""Check a plan: all its problems at once, or what it amounts to.

Nothing is started and nothing is kept. With errors the exit status is 2.
"""

from __future__ import annotations

import argparse
import gc
from collections.abc import Iterable, Iterator

from harness.errors import AskedError, Exit, Problem, render
from harness.plan import fields as f
from harness.plan import title_fields as t
from harness.plan.check import Checked, check
from harness.plan.kinds import Values
from harness.plan.outlook import Outlook, outlook
from harness.plan.read import read_plan
from harness.units import span
from harness.wiring import vocabulary

TYPE_CHECKING = False  # as typing has it: no check needs it to run
if TYPE_CHECKING:
    from typing import TextIO

_MOST_ROWS = 20  # of titles and of steps: a longer list tells a reader nothing more


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", nargs="?", help="the plan file")
    parser.add_argument("--json", action="store_true", help="print JSON, schema harness.check/1")
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
        checked = check(read_plan(args.plan), vocabulary())
        size = outlook(checked.values) if checked.values is not None else None
        lines = [_as_json(checked, size)] if args.json else _as_text(args.plan, checked, size)
        out.writelines(line + "\n" for line in lines)
    finally:
        if collecting:
            gc.enable()
    return Exit.WELL if checked.values is not None else Exit.ASKED_WRONGLY


def _print_schema(out: TextIO) -> None:
    import json

    from harness.plan.schema import schema

    json.dump(schema(vocabulary()), out, ensure_ascii=False, indent=2)
    out.write("\n")


def _as_json(checked: Checked, size: Outlook | None) -> str:
    import json

    answer = {
        "schema": "harness.check/1",
        "ok": size is not None,
        "problems": [_problem(problem) for problem in checked.problems],
        "cells": size.cells if size is not None else None,
        "passes": size.counted if size is not None else None,
        "person_steps": len(size.steps) if size is not None else None,
        "seconds": size.seconds if size is not None else None,
    }
    return json.dumps(answer, ensure_ascii=False)


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


def _as_text(file: str, checked: Checked, size: Outlook | None) -> Iterator[str]:
    for problem in checked.problems:
        yield render(problem)
        yield ""
    errors, warnings = len(checked.errors), len(checked.warnings)
    count = " and ".join(
        f"{number} {noun}{'s' if number != 1 else ''}"
        for number, noun in ((errors, "error"), (warnings, "warning"))
        if number
    )
    if size is None or checked.values is None:
        yield f"{file}: {count}. The plan cannot be carried out as it is."
        return
    plan = checked.values
    yield (
        f"{file}: the plan {plan.need(f.PLAN)} is in order" + (f", {count}" if count else "") + "."
    )
    yield ""
    yield from _numbers(size)
    yield ""
    yield from _titles(plan.need(f.TITLES))
    yield ""
    yield from _settings(plan)
    if size.steps:
        yield ""
        yield from _steps(size)
    if f.NIGHT.name in plan.nodes:
        from harness.views.safety import UNATTENDED

        yield ""
        yield from UNATTENDED


def _numbers(size: Outlook) -> Iterator[str]:
    parts = [f"{size.titles} titles" if size.titles != 1 else "1 title"]
    parts.append(f"{size.settings} settings" if size.settings != 1 else "1 setting")
    parts.append(f"{size.levels} combinations of levels" if size.levels != 1 else "no level varies")
    yield f"  cells           {size.cells:>7}   {', '.join(parts)}"
    yield f"  counted passes  {size.counted:>7}   if every pass is kept"
    yield f"  warm-up passes  {size.warm_ups:>7}   if the runner is started once"
    yield f"  person's steps  {len(size.steps):>7}"
    yield f"  expected time   {span(size.seconds):>7}   {_what_time_holds(size)}"


def _what_time_holds(size: Outlook) -> str:
    beside = "starting titles, waiting at gates and repeated passes come on top"
    if not size.bounded:
        return f"of measuring; {beside}"
    if len(size.bounded) == size.titles:
        return "at most, by the titles' time limits: no cut says how long a scene is"
    return (
        f"{len(size.bounded)} of {size.titles} titles, which have no cut.length, "
        f"count with their time limits; {beside}"
    )


def _titles(titles: tuple[Values, ...]) -> Iterator[str]:
    rows = [("title", "scene", "settings", "a pass")]
    for title in titles[:_MOST_ROWS]:
        cut = title.get(t.CUT)
        length = cut.get(t.CUT_LENGTH) if cut is not None else None
        if cut is not None and length is not None:
            a_pass = span(cut.of(t.CUT_FROM, 0.0) + length)
        else:
            a_pass = "at most " + span(title.of(t.TIME_LIMIT, t.TITLE_LIMIT_S))
        names = ", ".join(title.need(t.TITLE_SETTINGS))
        rows.append((title.need(t.TITLE), title.need(t.SCENE), names, a_pass))
    yield from _table(rows)
    if len(titles) > _MOST_ROWS:
        yield f"  … and {len(titles) - _MOST_ROWS} more"


def _settings(plan: Values) -> Iterator[str]:
    rows = [("setting", "what is handed to titles, as text")]
    for name, part in plan.need(f.SETTINGS).parts[:_MOST_ROWS]:
        rows.append((name, ", ".join(f"{key} = {value}" for key, value in part.parts)))
    yield from _table(rows)


def _steps(size: Outlook) -> Iterator[str]:
    yield "  a person's steps, in order"
    for number, levels in enumerate(size.steps[:_MOST_ROWS], start=1):
        yield f"  {number:>3}. " + ", ".join(f"{name}: {level}" for name, level in levels)
    if len(size.steps) > _MOST_ROWS:
        yield f"  … and {len(size.steps) - _MOST_ROWS} more"
    if size.opens_case:
        from harness.views.safety import OPENED_CASE

        times = "once" if size.opens_case == 1 else f"{size.opens_case} times"
        yield ""
        yield f"  The case is opened {times}. Each time:"
        yield from (f"    - {words}" for words in OPENED_CASE)


def _table(rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    """Yield *rows* in columns, the first being the head; a long cell is cut."""
    cut = [tuple(cell if len(cell) <= 48 else cell[:47] + "…" for cell in row[:-1]) for row in rows]
    last = [row[-1] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cut, strict=True)]
    for row, end in zip(cut, last, strict=True):
        cells = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        yield f"  {cells}  {end}".rstrip()
