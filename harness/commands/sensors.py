"""What can be read on this rig: every reading with its value, its unit and where it is from.

A reading that this rig does not have is shown as not measured, and why. Rates are taken over
half a second.
"""

from __future__ import annotations

import argparse
import json
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.rig.clock import MachineClock
from harness.rig.readings import Reading, shown
from harness.rig.sensors.registry import machine_sensors
from harness.rig.sensors.sensors import Line
from harness.settings import store_folder

SCHEMA = "harness.sensors/1"
#: Rates are taken over this long, seconds.
WINDOW_S = 0.5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--store", metavar="FOLDER", help="disk.free is about this folder's disk")
    parser.add_argument("--watch", action="store_true", help="go on showing them")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Read everything once and show it."""
    if args.watch:
        raise AskedError(
            Problem(
                code="not-built-yet",
                what="going on showing the readings is not built yet",
                do="leave --watch out, and give the command again when you want to look again",
            )
        )
    clock = MachineClock()
    sensors = machine_sensors(store=store_folder(args.store), clock=clock)
    sensors.sample()
    clock.pause(WINDOW_S)
    lines = sensors.table()
    print(_as_json(lines) if args.json else _as_table(lines), file=out)
    return Exit.WELL


def _as_table(lines: tuple[Line, ...]) -> str:
    """Return what is measured first, then what is not and why, both in the table's order."""
    rows = [(line.reading.name, shown(line.reading), line.where) for line in lines]
    width = max(len(name) for name, _, _ in rows)
    there = [row for row, line in zip(rows, lines, strict=True) if line.reading.measured]
    absent = [row for row, line in zip(rows, lines, strict=True) if not line.reading.measured]
    values = max((len(value) for _, value, _ in there), default=0)
    text = [f"{name:<{width}}  {value:<{values}}  {where}".rstrip() for name, value, where in there]
    text += ["", f"{len(there)} measured, {len(absent)} not:", ""] if absent else []
    text += [f"{name:<{width}}  {value}" for name, value, _ in absent]
    return "\n".join(text)


def _as_json(lines: tuple[Line, ...]) -> str:
    found = [_plain(line.reading, where=line.where) for line in lines]
    return json.dumps({"schema": SCHEMA, "readings": found}, ensure_ascii=False)


def _plain(reading: Reading, *, where: str) -> dict[str, object]:
    value = list(reading.value) if isinstance(reading.value, tuple) else reading.value
    return {
        "name": reading.name,
        "unit": reading.unit,
        "value": value,
        "why": reading.why,
        "raw": reading.raw,
        "source": where or None,
    }
