"""Rows of a capture, from whichever reader -> the capture.

Pure, but for large captures (see ``spill``). What every reader has in common: which rows
count, the counter, mixed programs and kinds, cells without a number, and what the numbers
as a whole say.
"""

from __future__ import annotations

from collections import Counter

from harness.rig.captures import checks, plain
from harness.rig.captures.assembly import Assembly
from harness.rig.captures.counting import Counters
from harness.rig.captures.mixtures import Mixtures, few
from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from harness.rig.captures.arithmetic import Arithmetic, Keeper
    from harness.rig.captures.assembly import Part
    from harness.rig.captures.declared import Declared
    from harness.rig.captures.rows import Absent, Rows
    from harness.rig.captures.table import Shape
    from harness.rig.captures.times import FrameTimes

    Spread = Callable[[Iterator[tuple[bytes, int]], Shape], Iterator[Rows | Absent]]

#: What makes a recording void and leaves the frames that were read what they are.
_STILL_TRUE = frozenset(("truncated", "short-capture"))


class Capture:
    """What was read from a capture.

    Args:
        times: The frame times, as far as they could be read; None where no frame could.
        troubles: What refuses the capture, or makes the recording void; empty for a good one.
        notes: What was passed over, or taken for something, and why.
        before_part: Frames before the part that is measured.
        after_part: Frames after it.
        whole_ms: How long all frames last together, those outside the part too.
    """

    __slots__ = ("after_part", "before_part", "notes", "times", "troubles", "whole_ms")

    def __init__(
        self,
        *,
        times: FrameTimes | None,
        troubles: tuple[Trouble, ...],
        notes: tuple[str, ...],
        before_part: int = 0,
        after_part: int = 0,
        whole_ms: float = 0.0,
    ) -> None:
        self.whole_ms = whole_ms
        self.times = times
        self.troubles = troubles
        self.notes = notes
        self.before_part = before_part
        self.after_part = after_part

    @property
    def refused(self) -> bool:
        """Return whether a declaration must be put right before the capture can be read."""
        return any(not trouble.void for trouble in self.troubles)

    @property
    def frames(self) -> int:
        """Return how many frames could be read."""
        return 0 if self.times is None else self.times.count


class Gather:
    """Takes rows in order; gives the capture.

    Args:
        declared: How the capture is to be read.
        part: What is cut out of it; None for all.
        arithmetic: What calculates.
        spill: Where the frames of a large capture stay; None: in memory.
        spread: Takes the pieces of a large text apart, several at once, in order.
    """

    def __init__(
        self,
        declared: Declared,
        *,
        part: Part | None = None,
        arithmetic: Arithmetic = plain,
        spill: Keeper | None = None,
        spread: Spread | None = None,
    ) -> None:
        self.declared = declared
        self.spread = spread
        self.notes: list[str] = []
        self.voids: list[Trouble] = []
        self._part = part
        self.arithmetic = arithmetic
        self._spill = spill
        self._assembly: Assembly | None = None
        self._unit = ""
        self._column = ""
        self._counters = Counters(())
        self._kinds = frozenset(kind.encode() for kind in declared.kinds)
        self._mixtures = Mixtures()
        self._passed_over: Counter[bytes] = Counter()
        self._absent: dict[str, int] = {}
        self._absent_first: Absent | None = None
        self._rows = 0

    def __enter__(self) -> Gather:
        """Return the gatherer itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of what a large capture needed while it was read."""
        if self._spill is not None:
            self._spill.close()

    def begin(
        self, *, unit: str, column: str, counters: Sequence[str], watched: Mapping[int, str]
    ) -> None:
        """Know what the rows are about to be, before the first comes."""
        self._unit = unit
        self._column = column
        self._assembly = Assembly(
            unit=unit,
            declared=self.declared,
            part=self._part,
            arithmetic=self.arithmetic,
            keep_run=None if self._spill is None else self._spill.keep,
        )
        self._counters = Counters(counters, declared=self.declared.counter is not None)
        self.watch(watched)

    def watch(self, columns: Mapping[int, str]) -> None:
        """Look at these columns too: they may mix programs or kinds."""
        self._mixtures.watch(columns)

    def add(self, rows: Rows) -> None:
        """Take the next rows.

        Raises:
            Trouble: they cannot be read as they were declared.
        """
        assert self._assembly is not None, "begin first"
        self._count_up(rows)
        self._mixtures.add(rows.watched, len(rows.times))
        self._passed_over.update(rows.passed_over)
        self._rows += len(rows.times)
        self._assembly.add(rows.times, rows.kinds, rows.line)

    def _count_up(self, rows: Rows) -> None:
        if not rows.counters:
            return
        kinds = rows.kinds
        self._counters.add(
            rows.counters,
            mask=rows.mask,
            of_kind=None if kinds is None else [kind.strip() in self._kinds for kind in kinds],
            line_of_row=rows.line_of_row,
            line=rows.line,
        )

    def absent(self, absent: Absent) -> None:
        """Take it that the next rows have cells without a number."""
        if self._absent_first is None:
            self._absent_first = absent
        for kind, count in absent.counts.items():
            self._absent[kind] = self._absent.get(kind, 0) + count

    def result(self) -> Capture:
        """Return the capture.

        Raises:
            Trouble: the frames as a whole cannot be what was declared.
        """
        assembly = self._assembly
        in_part, kinds = bool(self._passed_over), bool(self._kinds)
        self._mixtures.refuse(kinds=kinds)
        self._note_passed_over()
        self.voids.extend(self._cell_voids())
        times: FrameTimes | None = None
        before = after = 0
        if assembly is not None:
            self.voids.extend(assembly.voids())
            self.voids.extend(self._counters.voids(in_part=in_part, kinds=kinds))
            self.notes.extend(self._counters.remarks(in_part=in_part, kinds=kinds))
            if assembly.other_kinds:
                self.notes.append(
                    f"{assembly.other_kinds} frames of other kinds not counted; their time "
                    "belongs to the frame after them"
                )
            self.notes.extend(assembly.remarks)
            times = assembly.result()
            before, after = assembly.before_part, assembly.after_part
            if before or after:
                self.notes.append(
                    f"{before} frames before and {after} after the part that is measured "
                    "passed over"
                )
        if times is not None:
            times.counted = self._counters.told(in_part=in_part, kinds=kinds)
            changed = checks.unit_changes(times)
            if changed is not None:
                self.voids.append(changed)
            elif not self.voids:
                checks.refuse_implausible(
                    times, unit=self._unit, clock=self.declared.values == "clock"
                )
            if self._part is not None and not self.voids:
                self.voids.extend(checks.too_short(times, self._part))
        elif not self.voids:
            self.voids.append(self._no_frames(before + after))
        if any(void.code not in _STILL_TRUE for void in self.voids):
            times = None
        return Capture(
            times=times,
            whole_ms=0.0 if assembly is None else assembly.whole_ms(),
            troubles=tuple(self.voids),
            notes=tuple(self.notes),
            before_part=before,
            after_part=after,
        )

    def _note_passed_over(self) -> None:
        if self._passed_over:
            names = self._passed_over
            share = names.total() / (names.total() + self._rows)
            self.notes.append(
                f"{names.total()} rows of others passed over ({100 * share:.1f} % of all rows): "
                + few(names)
            )

    def _cell_voids(self) -> list[Trouble]:
        first = self._absent_first
        if first is None:
            return []
        counted = ", ".join(f"{count} {kind}" for kind, count in self._absent.items())
        total = sum(self._absent.values())
        cells = "1 cell" if total == 1 else f"{total} cells"
        at = f", the first in line {first.line}" if first.line else ""
        return [
            Trouble(
                "bad-cells",
                f"{cells} of column {shown(self._column)} without a number ({counted}){at}: "
                f"{shown(first.text)}",
                line=first.line,
                do=AGAIN,
            )
        ]

    def _no_frames(self, outside: int) -> Trouble:
        if outside:
            return Trouble(
                "short-capture",
                f"all {outside} frames lie outside the part that is measured",
                do="check cut against the length of the scene",
            )
        if self._passed_over:
            return Trouble(
                "no-frames",
                f"no row is left: all {self._passed_over.total()} are of others",
                do="check what where asks for against the file",
            )
        return Trouble("no-frames", "there is not one frame in the file", do=AGAIN)
