"""What can be read on this rig: every reading with its value, its unit and where it is from.

A reading that this rig does not have is shown as not measured, and why. Rates are taken over
half a second. With --watch the readings go on as a table in the terminal, with the least and
the most since the start; elsewhere as a line for each. Ctrl-C ends it.

The lab's own sensors are named in rig.yaml, in the rig's folder (HARNESS_RIG).
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
from collections.abc import Callable
from datetime import datetime
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.rig.clock import MachineClock
from harness.rig.sensors.registry import machine_sensors
from harness.rig.sensors.sensors import Line, Sensors
from harness.rig.stop import StopFlag, signals
from harness.settings import rig_folder, store_folder
from harness.units import Unreadable, length_s, span
from harness.views.readings import Seen, as_lines, as_screen, as_table, plain_reading

SCHEMA = "harness.sensors/1"
#: Rates are taken over this long, seconds.
WINDOW_S = 0.5
_LEAST_EVERY_S, _MOST_EVERY_S = 0.2, 3600.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--json", action="store_true", help="print one JSON object, or one a look")
    parser.add_argument("--store", metavar="FOLDER", help="disk.free is about this folder's disk")
    parser.add_argument("--gpu", metavar="UUID", help="which card, of several, as in rig.gpu")
    parser.add_argument("--watch", action="store_true", help="go on showing them")
    parser.add_argument("--every", metavar="TIME", help="with --watch: from look to look (1 s)")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Read everything and show it, once or until told to stop."""
    every_s = _every_s(args)
    flag = StopFlag()
    clock = MachineClock(flag)
    with signals(flag):
        sensors = machine_sensors(
            store=store_folder(args.store), clock=clock, gpu=args.gpu, rig=rig_folder()
        )
        sensors.sample()
        clock.pause(WINDOW_S)
        if every_s is not None:
            _watch(sensors, clock, flag, every_s, _shower(args, clock, out))
            return Exit.WELL
    lines = sensors.table()
    if args.json:
        print(_as_json(lines, at=clock.now()), file=out)
        return Exit.WELL
    print(as_table(lines), file=out)
    for note in sensors.notes:
        print(f"\nnote: {note}", file=out)
    return Exit.WELL


def _every_s(args: argparse.Namespace) -> float | None:
    """Return from look to look, seconds; None: one look.

    Raises:
        AskedError: it is no length of time, or out of range, or for no watch.
    """
    if not args.watch:
        if args.every is None:
            return None
        problem = Problem(
            code="wrong-option",
            what="--every is for --watch only",
            do="add --watch, or leave --every out",
        )
        raise AskedError(problem)
    try:
        every_s = length_s(args.every if args.every is not None else "1 s")
    except Unreadable as error:
        raise AskedError(
            Problem(code=error.code, what=f"--every {error.what}", do=error.do)
        ) from None
    if not _LEAST_EVERY_S <= every_s <= _MOST_EVERY_S:
        problem = Problem(
            code="wrong-option",
            what=f"--every is from 200 ms to 1 h, not {args.every!r}",
            do="write --every '1 s'",
        )
        raise AskedError(problem)
    return every_s


# ------------------------------------------------------------------------------- going on

_Show = Callable[[Seen, str], None]


def _watch(
    sensors: Sensors, clock: MachineClock, flag: StopFlag, every_s: float, show: _Show
) -> None:
    """Look again and again, on deadlines counted from the start, until the flag is raised."""
    seen = Seen()
    started_s = clock.steady_s()
    tick = 0
    while not flag():
        seen.look(sensors.table())
        now_s = clock.steady_s()
        show(seen, span(now_s - started_s))
        tick = max(tick + 1, int((now_s - started_s) / every_s))
        clock.wait(started_s + tick * every_s - clock.steady_s(), flag)
    show(seen, "")


def _shower(args: argparse.Namespace, clock: MachineClock, out: TextIO) -> _Show:
    """Return what shows a look: JSON, a table that is drawn over itself, or lines.

    It is called once more with no time at the end.
    """
    if args.json:
        return _Objects(clock, out)
    if not out.isatty() or os.environ.get("TERM") == "dumb":
        return _Lines(clock, out)
    return _Screen(out, colour="NO_COLOR" not in os.environ)


class _Objects:
    """A JSON object for each look."""

    def __init__(self, clock: MachineClock, out: TextIO) -> None:
        self._clock, self._out = clock, out

    def __call__(self, seen: Seen, since: str) -> None:
        """Print the last look."""
        if since:
            print(_as_json(seen.lines, at=self._clock.now()), file=self._out, flush=True)


class _Lines:
    """A line for each reading of each look."""

    def __init__(self, clock: MachineClock, out: TextIO) -> None:
        self._clock, self._out = clock, out
        self._before: tuple[Line, ...] = ()

    def __call__(self, seen: Seen, since: str) -> None:
        """Print the last look."""
        if since:
            for line in as_lines(self._before, seen.lines, at=self._clock.now()):
                print(line, file=self._out)
            self._out.flush()
            self._before = seen.lines


class _Screen:
    """A table that is drawn over itself; the last picture stays when it ends."""

    def __init__(self, out: TextIO, *, colour: bool) -> None:
        self._out, self._colour = out, colour
        self._drawn = 0
        self._size: tuple[int, int] | None = None

    def __call__(self, seen: Seen, since: str) -> None:
        """Draw the last look over the one before; at the end give the cursor back."""
        if not since:
            self._out.write("\x1b[?25h")
            self._out.flush()
            return
        columns, rows = shutil.get_terminal_size()
        lines = as_screen(seen, columns=columns, rows=rows, since=since, colour=self._colour)
        up = f"\x1b[{self._drawn}A\r" if self._drawn else "\x1b[?25l"
        if self._size not in (None, (columns, rows)):
            up = "\x1b[2J\x1b[H"  # what was drawn has been wrapped otherwise
        self._size = (columns, rows)
        self._out.write(up + "".join(f"{line}\x1b[K\n" for line in lines) + "\x1b[J")
        self._out.flush()
        self._drawn = len(lines)


def _as_json(lines: tuple[Line, ...], *, at: datetime) -> str:
    found = {
        "schema": SCHEMA,
        "at": f"{at:%Y-%m-%dT%H:%M:%S.%fZ}",
        "readings": [plain_reading(line) for line in lines],
    }
    return json.dumps(found, ensure_ascii=False)
