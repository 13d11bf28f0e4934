"""What `harness run` shows while it runs: a live view in a terminal, plain lines elsewhere.

Touches the terminal. Nothing here wakes up by itself during a pass: the live view is drawn
when a record is kept and on the sampler's own tick.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable
from datetime import datetime
from typing import TextIO

from harness.rig.readings import Reading, Sample
from harness.rules.gates import GateWatch
from harness.run import instructions as i
from harness.run import records as r
from harness.run.loop import Onlooker
from harness.run.state import RunState
from harness.units import span
from harness.views.harness_cost import cost_brief
from harness.views.progress import Moment, ahead, lines, now_words
from harness.views.safety import confirm_hint, step_lines
from harness.views.story import figure_words, sentence

#: Readings shown with a pass, in this order, as far as they are measured.
SHOWN = (
    "cpu.load",
    "cpu.load.others",
    "cpu.clock",
    "cpu.temperature",
    "gpu.load",
    "gpu.clock",
    "gpu.temperature",
    "gpu.power",
    "memory.available",
)


class View(Onlooker):
    """Shows a run to a person."""

    def sampled(self, sample: Sample) -> None:
        """A sample was taken during a wait or a pass (then on the sampler's thread)."""

    def close(self) -> None:
        """The run is left."""


class PlainView(View):
    """One line for every record, with its time; for files, pipes and simple terminals.

    *store* is the store's folder, as another terminal can name it; None: the usual one.
    """

    def __init__(
        self, out: TextIO, *, now: Callable[[], datetime], store: str | None = None
    ) -> None:
        self._out = out
        self._store = store
        self._now = now
        self._ended: r.PassEnded | None = None
        self._waits_for_hours = False

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """Say once that nothing is done until a person's hours: no record tells of that wait."""
        waits = isinstance(instruction, i.AwaitHours)
        if waits and not self._waits_for_hours:
            self._line(now_words(state, instruction))
        self._waits_for_hours = waits

    def _line(self, text: str) -> None:
        print(f"{self._now().astimezone():%H:%M:%S}  {text}", file=self._out, flush=True)

    def kept(self, state: RunState, record: r.Record) -> None:
        """Print the record as a sentence; a pass's end and its verdict make one line."""
        match record:
            case r.PassEnded():
                self._ended = record
                return
            case r.RoundStarted() | r.BlockClosed():
                return
            case r.PassJudged():
                text = sentence(record, state.grid) + _gave(self._ended)
            case _:
                text = sentence(record, state.grid)
        self._line(text)
        for line in _step(record, run=state.run, store=self._store):
            print(line, file=self._out, flush=True)


def _gave(ended: r.PassEnded | None) -> str:
    """Return the main figure of a pass, its frames, its length, the harness's cost, in brackets."""
    if ended is None:
        return ""
    parts = [figure_words(each) for each in ended.figures[:1]]
    if ended.frames is not None:
        parts.append(f"{ended.frames} frames")
    if ended.end is not None:
        wall_s = ended.end.wall_s
        parts.append(f"{wall_s:.1f} s" if wall_s < 10 else span(wall_s))
    if ended.harness_cost is not None and ended.frames is not None:
        parts.append(cost_brief(ended.harness_cost))
    return f" ({', '.join(parts)})" if parts else ""


class LiveView(View):
    """The grid, the pass in progress and its readings, drawn over themselves.

    *store* is the store's folder, as another terminal can name it; None: the usual one.
    """

    def __init__(
        self,
        out: TextIO,
        *,
        now: Callable[[], datetime],
        steady_s: Callable[[], float],
        store: str | None = None,
    ) -> None:
        self._out, self._now, self._steady_s = out, now, steady_s
        self._store = store
        self._state: RunState | None = None
        self._instruction: i.Instruction | None = None
        self._since_s = steady_s()
        self._turn_s = steady_s()
        self._readings: tuple[Reading, ...] = ()
        self._cost = ""  # what the harness cost the pass before, in words
        self._seen: dict[str, float] = {}
        self._drawn = 0
        self._watch: GateWatch | None = None
        # The sampler draws from its own thread.
        self._lock = threading.RLock()

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """Note what is about to be done, and draw."""
        self._state, self._instruction = state, instruction
        self._since_s = self._steady_s()
        self._watch = None
        if not isinstance(instruction, i.CarryOut):
            self._readings = ()
        self._draw()

    def kept(self, state: RunState, record: r.Record) -> None:
        """Draw; what is worth keeping in sight stays above the live view."""
        self._state = state
        if isinstance(record, r.PassEnded):
            self._cost = "" if record.harness_cost is None else cost_brief(record.harness_cost)
        if isinstance(record, r.PassJudged):
            now = self._steady_s()
            self._seen[record.cell], self._turn_s = now - self._turn_s, now
        with self._lock:
            if _worth(record):
                self._erase()
                clock = self._now().astimezone().strftime("%H:%M:%S")
                print(f"{clock}  {sentence(record, state.grid)}", file=self._out)
                for line in _step(record, run=state.run, store=self._store):
                    print(line, file=self._out)
            self._draw()

    def waits(self, watch: GateWatch) -> None:
        """Note what will end the wait: it knows when a bound will be reached."""
        self._watch = watch

    def sampled(self, sample: Sample) -> None:
        """Draw with the readings of *sample*."""
        found = (sample.readings.get(name) for name in SHOWN)
        self._readings = tuple(each for each in found if each is not None and each.measured)
        self._draw()

    def close(self) -> None:
        """Take the live view away; what was printed above it stays."""
        self._erase()
        self._out.flush()

    def _draw(self) -> None:
        if self._state is None:
            return
        with self._lock:
            self._draw_now(self._state)

    def _draw_now(self, state: RunState) -> None:
        size = shutil.get_terminal_size()
        moment = Moment(
            instruction=self._instruction,
            since_s=self._steady_s() - self._since_s,
            readings=self._readings,
            seen=self._seen,
            ahead=self._ahead(),
            cost=self._cost,
        )
        shown = lines(state, moment, width=size.columns - 1, height=size.lines - 2)
        text = "".join(f"{line}\x1b[K\n" for line in shown)
        self._out.write(self._up() + text + "\x1b[J")
        self._out.flush()
        self._drawn = len(shown)

    def _ahead(self) -> list[str]:
        if self._watch is None:
            return []
        return ahead(self._watch, waited_s=self._steady_s() - self._since_s)

    def _erase(self) -> None:
        self._out.write(self._up() + "\x1b[J")
        self._drawn = 0

    def _up(self) -> str:
        return f"\x1b[{self._drawn}A\r" if self._drawn else ""


def _worth(record: r.Record) -> bool:
    """Return whether a record is worth a line that stays."""
    match record:
        case r.PassJudged(fault=fault, marks=marks):
            return fault is not None or bool(marks)
        case r.AlarmRaised() | r.LimitCleared() | r.ClockJumped():
            return True
        case r.CellWarmedUp(steady=steady):
            return not steady
        case r.PassSkipped() | r.PassDiscarded() | r.LevelNotMet() | r.RigHeld() | r.RigReleased():
            return True
        case r.StepAsked() | r.StepConfirmed() | r.CellClosed() | r.RunnerStarted():
            return True
        case r.RequestAnswered() | r.RunPaused() | r.RunFinished() | r.CellReopened():
            return True
        case r.ReuseOffered() | r.ReuseTurnedDown() | r.CellReused() | r.CellSized():
            return True
        case r.LevelPutBack(problem=problem):
            return bool(problem)
        case _:
            return False


def _step(record: r.Record, *, run: str, store: str | None) -> list[str]:
    if not isinstance(record, r.StepAsked):
        return []
    return [
        "",
        *step_lines(
            record.say,
            opens_case=record.opens_case,
            reboot=record.reboot,
            attend=record.attend,
            reopens=record.reopens,
        ),
        "",
        f"  {_when(record)}: "
        + confirm_hint(step=record.step, run=run, store=store, attending=record.stays),
        "",
    ]


def _when(step: r.StepAsked) -> str:
    if step.attend:
        return "When you are there"
    return "When you have seen that it is so" if step.still else "When it is done"
