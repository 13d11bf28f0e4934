"""What a runner tells whoever started it: one JSON line for every record that it keeps.

Touches a pipe. Nothing is kept during a pass, so nothing is told then. A reader that is gone,
or does not read, costs the runner nothing: what is decided is read from the store.
"""

from __future__ import annotations

import contextlib
import json
import os

from harness.rig.readings import Sample
from harness.rules.gates import GateWatch
from harness.run import instructions as i
from harness.run.loop import Onlooker
from harness.run.records import Record
from harness.run.state import RunState
from harness.store.bodies import kind_of
from harness.views.live import View


class Told(Onlooker):
    """Writes lines to *descriptor*, whole ones only: ``{"run", "kind", "cell", "attempt"}``."""

    def __init__(self, descriptor: int) -> None:
        os.set_blocking(descriptor, False)
        os.set_inheritable(descriptor, False)
        self._descriptor = descriptor

    def kept(self, state: RunState, record: Record) -> None:
        """Tell of *record*. A line shorter than PIPE_BUF is written whole or not at all."""
        line = {
            "run": state.run,
            "kind": kind_of(record),
            "cell": getattr(record, "cell", None),
            "attempt": getattr(record, "attempt", None),
        }
        with contextlib.suppress(OSError):
            os.write(self._descriptor, json.dumps(line).encode()[:4000] + b"\n")


class Several(View):
    """One view, and others that are told the same."""

    def __init__(self, view: View, *others: Onlooker) -> None:
        self._view, self._all = view, (view, *others)
        # A terminal that has gone costs the others nothing: it comes last.
        self._views = [each for each in (*others, view) if isinstance(each, View)]

    def kept(self, state: RunState, record: Record) -> None:
        """Pass it on."""
        for each in self._all:
            each.kept(state, record)

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """Pass it on."""
        for each in self._all:
            each.next(state, instruction)

    def waits(self, watch: GateWatch) -> None:
        """Pass it on."""
        for each in self._all:
            each.waits(watch)

    def sampled(self, sample: Sample) -> None:
        """Pass it on to whoever shows samples."""
        for each in self._views:
            each.sampled(sample)

    def close(self) -> None:
        """Close the view."""
        self._view.close()
