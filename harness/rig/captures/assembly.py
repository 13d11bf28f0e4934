"""Numbers of the time column, piece by piece -> the frame times of the capture.

Pure, but for large captures (see ``spill``). Differences of clock values, units, frames
that are not counted and the part that is cut out are dealt with here, each across the
borders of pieces, so that pieces leave no trace in the result.
"""

from __future__ import annotations

from harness.rig.captures import plain
from harness.rig.captures.clocks import Durations
from harness.rig.captures.declared import UNITS
from harness.rig.captures.times import (
    OPENING_FRAMES,
    Blocks,
    FrameTimes,
    Runs,
)
from harness.rig.captures.trouble import AGAIN, Trouble, implausible

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from harness.rig.captures.arithmetic import Arithmetic
    from harness.rig.captures.declared import Declared

    Line = Callable[[int], int | None]

#: A longer frame is none: eleven days.
LONGEST_MS = 1e9

INFINITE = float("inf")


class Part:
    """The part of the capture that is measured, in milliseconds from its first frame."""

    __slots__ = ("from_ms", "length_ms", "tolerance")

    def __init__(self, *, from_ms: float, length_ms: float | None, tolerance: float) -> None:
        self.from_ms = from_ms
        self.length_ms = length_ms
        self.tolerance = tolerance


class Assembly:
    """Takes the numbers of a capture in order; gives its frame times.

    Args:
        unit: The unit of the numbers.
        declared: Whether they are clock values, and which kinds of frames count.
        part: What is cut out; None for all.
        arithmetic: What calculates.
        keep_run: Puts a sorted run where it is to stay; None: it stays where it is.
    """

    def __init__(
        self,
        *,
        unit: str,
        declared: Declared,
        part: Part | None = None,
        arithmetic: Arithmetic = plain,
        keep_run: Callable[[Sequence[float]], Sequence[float]] | None = None,
    ) -> None:
        self._unit = unit
        self._clock = declared.values == "clock"
        self._kinds = frozenset(kind.encode() for kind in declared.kinds)
        self._part = part
        self._do = arithmetic
        self._before: float | None = None  # the last clock value
        self._uncounted = 0.0  # time of frames that are not counted, to go to the next
        self._at_ms = 0.0  # where the next frame begins, only kept where something is cut out
        self._by_size = arithmetic.BySize(_as_it_is if keep_run is None else keep_run)
        self._blocks = Blocks()
        self._over: Any = None  # frames at the end that are not a whole block
        self._opening: list[float] = []
        self._into_ms = 0.0  # where the first frame of the part begins
        self._later: tuple[float, int] | None = None
        self._first_line: int | None = None
        self._bad: dict[str, tuple[int, int | None]] = {}
        self.count = 0
        self.before_part = 0  #: frames before the part that is measured
        self.after_part = 0
        self.other_kinds = 0
        self.remarks: list[str] = []
        self._durations = Durations(unit, self.remarks)

    def add(self, numbers: Sequence[float], kinds: Sequence[bytes] | None, line: Line) -> None:
        """Take the numbers of the next rows; *line* gives the line of each.

        Raises:
            Trouble: they cannot be times of frames in this unit.
        """
        if not len(numbers):
            return
        rows: Sequence[int] = range(len(numbers))
        if kinds is not None:
            numbers, rows = self._counted(numbers, kinds)
            if not rows:
                return
        values = self._do.taken(numbers)
        shift = 0
        if self._clock:
            if not self._do.finite(values):
                for place, value in enumerate(map(float, values)):
                    if abs(value) == INFINITE:
                        self._note_bad("bad-cells", line, rows[place])
                return
            last = float(values[-1])
            shift = 1 if self._before is None else 0
            values = self._do.differences(values, self._before)
            self._before = last
            if not len(values):
                return
        elif self._durations.room:
            self._durations.take(self._do.listed(values[: self._durations.room]), rows, line)
        values = self._do.scaled(values, self._unit)
        shortest, longest = self._by_size.ends(values)
        if not (shortest > 0.0 and longest <= LONGEST_MS):
            self._impossible(values, rows[shift:], line)
            return
        self.keep(values, rows[shift:], line)

    def keep(self, values: Any, rows: Sequence[int], line: Line) -> None:
        """Take frame times that can be true, of the form that ``taken`` returns."""
        if self._part is not None:
            length = self._part.length_ms
            end_ms = INFINITE if length is None else self._part.from_ms + length
            at_ms = self._at_ms
            first, last, self._at_ms = self._do.within(values, at_ms, self._part.from_ms, end_ms)
            if not self.count:
                self._into_ms = at_ms + sum(self._do.listed(values[:first]))
            self.before_part += first
            self.after_part += len(values) - last
            if last - first < len(values):
                values, rows = values[first:last], rows[first:last]
        if not len(values):
            return
        self._note_lines(line(rows[0]), line(rows[-1]), len(values))
        self._by_size.add(values)
        self._open(values)
        held = values if self._over is None else self._do.joined(self._over, values)
        self._over = held[self._do.add_blocks(self._blocks, held) :]
        self.count += len(values)

    def _note_lines(self, first: int | None, last: int | None, frames: int) -> None:
        """Know the line of every frame as long as each has the one after the frame before."""
        if not self.count:
            self._first_line = first
        elif self._first_line is not None and first != self._first_line + self.count:
            self._first_line = None
        if self._first_line is not None and last != self._first_line + self.count + frames - 1:
            self._first_line = None

    def _open(self, values: Any) -> None:
        room = OPENING_FRAMES - self.count
        if room > 0:
            self._opening.extend(self._do.listed(values[:room]))
        if room >= len(values):
            return
        values = values[max(0, room) :]
        at = max(self.count, OPENING_FRAMES)
        longest, place = self._do.longest(values)
        if self._later is None or longest > self._later[0]:
            self._later = (longest, at + place)

    def _counted(
        self, numbers: Sequence[float], kinds: Sequence[bytes]
    ) -> tuple[Sequence[float], list[int]]:
        """Return the frames that count, each with the time of those before it that do not.

        So the time stays what it was, and only the frames that count are counted.
        """
        rows = [row for row, kind in enumerate(kinds) if kind.strip() in self._kinds]
        self.other_kinds += len(kinds) - len(rows)
        if self._clock:
            return [float(numbers[row]) for row in rows], rows
        counted: list[float] = []
        wanted = set(rows)
        for row, value in enumerate(map(float, numbers)):
            if row in wanted:
                counted.append(self._uncounted + value)
                self._uncounted = 0.0
            else:
                self._uncounted += value
        return counted, rows

    def _impossible(self, values: Any, rows: Sequence[int], line: Line) -> None:
        """Note times that no frame has; the capture is not kept, so rows may be walked."""
        for place, value in enumerate(map(float, values)):
            if value == INFINITE:
                self._note_bad("bad-cells", line, rows[place])
            elif value > LONGEST_MS:
                raise implausible(value, self._unit, line=line(rows[place]), clock=self._clock)
            elif value < 0.0:
                self._note_bad("negative-times", line, rows[place])
            elif value == 0.0:
                self._note_bad("zero-times", line, rows[place])

    def _note_bad(self, code: str, line: Line, row: int) -> None:
        count, first = self._bad.get(code) or (0, line(row))
        self._bad[code] = (count + 1, first)

    def voids(self) -> tuple[Trouble, ...]:
        """Return what makes the recording void in its numbers."""
        found = []
        for code, (count, line) in self._bad.items():
            frames = "1 frame" if count == 1 else f"{count} frames"
            at = f", the first in line {line}" if line else ""
            if code == "bad-cells":
                found.append(Trouble(code, f"{frames} without end{at}", line=line, do=AGAIN))
            elif code == "negative-times":
                kind = "clock-steps-back" if self._clock else code
                how = f"the clock goes back before {frames}"
                if not self._clock:
                    how = f"{frames} with a time below zero"
                found.append(Trouble(kind, f"{how}{at}", line=line, do=AGAIN))
            else:
                why = "doubled rows, or a clock too coarse"
                found.append(
                    Trouble(code, f"{frames} of no time at all ({why}){at}", line=line, do=AGAIN)
                )
        return tuple(found)

    def whole_ms(self) -> float:
        """Return how long all frames last, those outside the part that is cut out too."""
        return self._by_size.total() if self._part is None else self._at_ms

    def result(self) -> FrameTimes | None:
        """Return the frame times; None where no frame is left."""
        if not self.count:
            return None
        return FrameTimes(
            runs=Runs(self._by_size.runs()),
            total_ms=self._by_size.total(),
            blocks=self._blocks,
            opening=self._opening,
            later_longest=self._later,
            first_line=self._first_line,
            began_ms=self._began_ms(),
        )

    def _began_ms(self) -> float | None:
        """Return when the first frame of the part began, on the clock of the capture."""
        if self._before is None:
            return None
        times, over = UNITS[self._unit]
        return self._before * times / over - self.whole_ms() + self._into_ms


def _as_it_is(run: Sequence[float]) -> Sequence[float]:
    return run


def frame_times(values_ms: Sequence[float]) -> FrameTimes:
    """Return the frame times of a list, in the order in which they were shown.

    Raises:
        ValueError: there is none, or one is not above zero and finite.
    """
    from harness.rig.captures.declared import Declared

    if not values_ms or not all(0.0 < value < LONGEST_MS for value in values_ms):
        raise ValueError("frame times must be above zero and finite, and there must be one")
    values = list(values_ms)
    assembly = Assembly(unit="ms", declared=Declared(values="durations"))
    assembly.keep(values, range(len(values)), lambda _: None)
    times = assembly.result()
    assert times is not None
    return times
