"""Readings from the lab's own sensors: any command, or an address of this machine.

Touches processes and disk. Each sensor has a feeder beside the runner, a process of its own
(``harness.rig.sensors.feeder``): nothing a sensor does can hold up the sampler, and inside a
pass no process is started by the runner. What is taken on the tick is the last line of each
reading; a line that is too old is *not measured*, with its age.

Why the feeder, also for a command that is kept running: a pipe that nobody empties for an
hour fills up, and what is then read from it first is an hour old and looks new.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import weakref
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

import harness
from harness.rig.readings import Reading
from harness.rig.sensors.board import Board, BoardFile
from harness.rig.sensors.feeder import Feed
from harness.rig.sensors.outside_lines import Declared, reading_of
from harness.rig.sensors.outside_settings import FILE, Outside
from harness.units import shown

#: What is started: the package of this process, whatever folder it is started in.
_BOOTSTRAP = (
    "import sys; sys.path.insert(0, {root!r}); from harness.rig.sensors.feeder import main; main()"
)
#: So long is waited for the first lines of all sensors, seconds.
FIRST_WITHIN_S = 5.0
_WAIT_STEP_S = 0.05
_MOST_STRANGE = 5


class OutsideSource:
    """One sensor of the lab, as its board shows it. Fits ``harness.rig.sensors.source.Source``."""

    each_tick = True

    def __init__(self, outside: Outside, board: Callable[[], Board | None]) -> None:
        self.names = tuple(each.name for each in outside.readings)
        self.where = outside.url or " ".join(outside.command)
        self._outside, self._board = outside, board
        self._last = Board()

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return the last line of each reading, where it is young enough."""
        board = self._board() or self._board() or self._last  # once more: it was being written
        self._last = board
        return {each.name: self._one(each, board, at_s) for each in self._outside.readings}

    @property
    def waits(self) -> bool:
        """Return whether neither a line nor a reason why none comes is there yet."""
        board = self._board()
        return board is None or not (board.lines or board.trouble)

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what it says and nobody has declared: nothing is left out in silence."""
        strange = sorted(set(self._last.lines) - set(self.names))
        shown = ", ".join(name[:40] for name in strange[:_MOST_STRANGE])
        more = f" and {len(strange) - _MOST_STRANGE} more" if len(strange) > _MOST_STRANGE else ""
        return (f"{self.where} also says {shown}{more}: not declared in {FILE}",) if strange else ()

    def _one(self, declared: Declared, board: Board, at_s: float) -> Reading:
        name, unit = declared.name, declared.unit
        if name not in board.lines:
            why = (
                board.trouble
                or f"it has said nothing of it yet{_fits_none(board, name, self.names)}"
            )
            return Reading(name=name, unit=unit, why=why)
        came_s, found = board.lines[name]
        age_s = at_s - came_s
        if age_s > self._outside.stale_after_s:
            trouble = f"; {board.trouble}" if board.trouble else ""
            why = f"stale: its last line is {age_s:.0f} s old{trouble}"
            return Reading(name=name, unit=unit, why=why, raw=found.rest)
        return reading_of(declared, found)


def _fits_none(board: Board, missed: str, names: Sequence[str]) -> str:
    """Return the last line that is of no reading, in words: it may have been meant for one.

    One that begins with the name of the reading that is *missed*, in whatever letters, comes
    before all others.
    """
    strange = [each for each in board.lines.values() if each[1].name not in names]
    meant = [each for each in strange if each[1].name.casefold().startswith(missed.casefold())]
    if not strange:
        return ""
    _, last = max(meant or strange, key=lambda each: (each[0], each[1].line))
    return f"; its last line that fits no reading is {shown(f'{last.name} {last.rest}'.rstrip())}"


class _Fed(OutsideSource):
    """A sensor with the feeder that was started for it."""

    def __init__(self, outside: Outside, *, folder: Path) -> None:
        number, name = tempfile.mkstemp(prefix="harness-sensor-")
        os.close(number)
        file = BoardFile(Path(name), write=False)
        super().__init__(outside, file.read)
        feed = Feed(
            board=name,
            folder=str(folder),
            command=outside.command,
            url=outside.url,
            every_s=outside.every_s,
            time_limit_s=outside.time_limit_s,
        )
        root = str(Path(harness.__file__).parent.parent)
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-c", _BOOTSTRAP.format(root=root), json.dumps(asdict(feed))],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        self.close = weakref.finalize(self, _close, self._process, file)


def _close(process: subprocess.Popen[bytes], file: BoardFile) -> None:
    """End a feeder: it ends when its standard input closes."""
    with contextlib.suppress(OSError):
        if process.stdin is not None:
            process.stdin.close()
        process.wait(timeout=2.0)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(timeout=0)
    file.close()
    file.path.unlink(missing_ok=True)


def outside_sources(
    sensors: Sequence[Outside], *, folder: Path, pause: Callable[[float], None]
) -> tuple[OutsideSource, ...]:
    """Start a feeder for each of *sensors*, and wait a little for their first lines.

    Args:
        sensors: As ``rig.yaml`` names them.
        folder: Where their commands run.
        pause: Waits so many seconds.
    """
    sources = tuple(_Fed(each, folder=folder) for each in sensors)
    waited_s = 0.0
    while waited_s < FIRST_WITHIN_S and any(each.waits for each in sources):
        pause(_WAIT_STEP_S)
        waited_s += _WAIT_STEP_S
    return sources
