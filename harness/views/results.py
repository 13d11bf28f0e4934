"""Results of runs: a row per cell as a table, and as the JSON other programs rely on.

Pure.
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import asdict

from harness.rules.figures import low_name
from harness.rules.reported import UNVERIFIED
from harness.run.records import CellState
from harness.summary.cells import MARKED, REUSED, THIN, WIDE, CellSummary
from harness.summary.cells_json import as_json as cell_json
from harness.summary.estimates import Estimate
from harness.views.numbers import number, with_interval

SCHEMA = "harness.results/1"


def as_json(summaries: Sequence[CellSummary]) -> dict[str, object]:
    """Return the object of ``results --json``; its shape is described in schemas.md."""
    cells = [
        {**cell_json(each), "cell": each.cell.key, "reason": each.reason} for each in summaries
    ]
    return {"schema": SCHEMA, "cells": cells}


def as_table(summaries: Sequence[CellSummary], *, low: str, store: str) -> list[str]:
    """Return one table for each run: cell, average, 1 % low, spread, passes by verdict.

    Args:
        summaries: Of one run or of several, in order.
        low: Which definition of the low figures the plan shows.
        store: The folder of the store, for the commands that a line names.
    """
    kept = f" --store {shlex.quote(store)}"
    lines: list[str] = []
    for run in dict.fromkeys(summary.run for summary in summaries):
        own = [summary for summary in summaries if summary.run == run]
        if lines:
            lines.append("")
        lines.append(f"run {run} on {own[0].rig}")
        lines.append("")
        lines += _table([_row(summary, low=low) for summary in own])
        lines += [
            f"{each.state.value}: {each.cell.label}: {each.reason} "
            f"(harness trace {each.cell.key} --run {run}{kept})"
            for each in own
            if each.reason and each.state is not CellState.ACCEPTED
        ]
        lines += [line for each in own for line in _superseded(each)]
        lines += ["", *_legend(own, low=low)]
    return lines


def _superseded(summary: CellSummary) -> list[str]:
    """Return what a cell had before it was measured again, one line for each rerun."""
    lines = []
    for earlier in summary.superseded:
        main = _main(earlier.figures)
        had = f"{earlier.state.value}, " if earlier.state is not CellState.OPEN else ""
        why = f": {earlier.reason}" if earlier.reason else ""
        attempts = ", ".join(map(str, earlier.attempts))
        value = f"average {_value(main)}, " if main is not None else ""
        lines.append(
            f"superseded: {summary.cell.label}: {had}{value}attempts {attempts}; "
            f"measured again, asked by {earlier.by}{why}"
        )
    return lines


_HEAD = ("cell", "state", "average", "1 % low", "spread", "passes", "flags")


def _row(summary: CellSummary, *, low: str) -> tuple[str, ...]:
    main = _main(summary.figures)
    lowest = summary.figure(low_name("low_1pct_fps", low))
    state = summary.state.value
    if "group-left" in summary.flags:
        state = f"{state} (group {summary.group}, left)"
    return (
        summary.cell.label,
        state,
        _value(main),
        _value(lowest) if lowest is not None or main is None else "-",
        _spread(main),
        _passes(summary),
        ", ".join(_flag(summary, flag) for flag in summary.flags if flag != "group-left"),
    )


def _flag(summary: CellSummary, flag: str) -> str:
    if flag == REUSED and summary.reused is not None:
        return f"reused (run {summary.reused.run}, {summary.reused.measured_at[:10]})"
    return flag


def _main(figures: Sequence[Estimate]) -> Estimate | None:
    """Return the figure that stands in the column of averages: the frame rate, else the first."""
    rates = (each for each in figures if each.name == "average_fps")
    return next(rates, None) or next(iter(figures), None)


def _value(estimate: Estimate | None) -> str:
    """Return the mean with its interval, to the digits the interval allows."""
    if estimate is None or estimate.mean is None:
        return "not measured"
    # Fewer values than kept passes must not look like all of them.
    of = f" ({estimate.n} of {estimate.n + estimate.missing} passes)" if estimate.missing else ""
    if estimate.half_width == 0:  # every pass gave the same
        return f"{number(estimate.mean, digits=6)} ± 0 {estimate.unit}".rstrip() + of
    return with_interval(estimate.mean, estimate.half_width, estimate.unit) + of


def _spread(estimate: Estimate | None) -> str:
    if estimate is None or estimate.sd is None or not estimate.mean:
        return "-"
    return f"{100 * estimate.sd / abs(estimate.mean):.2f} %"


def _passes(summary: CellSummary) -> str:
    counts = asdict(summary.passes)
    names = {"kept": "kept", "discarded": "discarded", "void": "void", "failed": "failed"}
    names |= {"interrupted": "interrupted", "warm_up": "warm-up"}
    return (
        ", ".join(f"{counts[key]} {name}" for key, name in names.items() if counts[key]) or "none"
    )


def _table(rows: Sequence[tuple[str, ...]]) -> list[str]:
    columns = [max(len(row[n]) for row in (_HEAD, *rows)) for n in range(len(_HEAD))]

    def line(row: tuple[str, ...]) -> str:
        cells = (
            f"{text:>{width}}" if n in (2, 3, 4) else f"{text:<{width}}"
            for n, (text, width) in enumerate(zip(row, columns, strict=True))
        )
        return "  ".join(cells).rstrip()

    return [line(_HEAD), *(line(row) for row in rows)]


#: What a flag of a cell means, where nothing else under the table says it.
_FLAGS = {
    THIN: "fewer than ten frames are in the tail that a low figure rests on",
    MARKED: "a kept pass carries a remark (harness trace shows it)",
    UNVERIFIED: "the title did not report the settings it was asked for; nothing vouches for them",
    REUSED: "taken from an earlier run instead of measuring again; passes and figures are its own",
    "settling": "frame times had not settled when the scene began (harness trace says until when)",
    WIDE: "the interval ended wider than the plan wanted it",
}


def _legend(summaries: Sequence[CellSummary], *, low: str) -> list[str]:
    used: dict[str, str] = {}
    for summary in summaries:
        for name in ("average_fps", low_name("low_1pct_fps", low)):
            estimate = summary.figure(name)
            if estimate is not None:
                used[name] = estimate.definition
    lines, mean = [], "mean over kept passes, ± half the 95 % interval"
    if "average_fps" in used:
        lines.append(f"average: frames ÷ total time ({used['average_fps']}); {mean}")
    others = (_main(summary.figures) for summary in summaries)
    for name, definition in {x.name: x.definition for x in others if x is not None}.items():
        if name != "average_fps":
            lines.append(f"average: {name} ({definition}), where there are no frames; {mean}")
    if any(len(summary.figures) > 1 for summary in summaries):
        lines.append("every other figure of a cell: harness results --json")
    low_figure = low_name("low_1pct_fps", low)
    if low_figure in used:
        lines.append(f"1 % low: {used[low_figure]}; {mean}")
    if any(each.missing and each.n for summary in summaries for each in summary.figures):
        lines.append("n of m passes: the others have no value; harness trace CELL shows them")
    flags = {flag for summary in summaries for flag in summary.flags}
    lines += [f"{flag}: {words}" for flag, words in _FLAGS.items() if flag in flags]
    lines.append(
        "spread: sample standard deviation of the average over kept passes, relative to it"
    )
    if any(summary.with_discarded for summary in summaries):
        lines += ["", "with the discarded passes put back:"]
        for summary in summaries:
            again = _main(summary.with_discarded)
            if again is not None:
                lines.append(f"  {summary.cell.label}: average {_value(again)}")
    return lines
