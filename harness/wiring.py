"""The one place where real parts are chosen and joined.

Touches nothing itself; what it joins does. Every import is made where it is needed, so that
a command pays only for the parts it uses.
"""

from __future__ import annotations

from contextlib import contextmanager

from harness.values import Value

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from typing import TextIO

    from harness.plan.vocabulary import Vocabulary
    from harness.rig.clock import MachineClock
    from harness.rig.stop import StopFlag
    from harness.run.ports import Bench
    from harness.views.live import View


def vocabulary() -> Vocabulary:
    """Return the names that a plan may use: readings, discard rules, figures, fields."""
    from harness.plan.vocabulary import KnownReading, KnownRule, Vocabulary
    from harness.rig.fingerprint_fields import FIELDS
    from harness.rig.quantities import QUANTITIES
    from harness.rules.figures import names
    from harness.rules.kinds import KINDS

    return Vocabulary(
        readings={
            name: KnownReading(unit=q.unit, form=q.form.value, low=q.low, high=q.high)
            for name, q in QUANTITIES.items()
        },
        rules={
            kind.name: KnownRule(
                least=kind.marks_from,
                discards_from=kind.discards_from,
                takes=kind.options,
            )
            for kind in KINDS
        },
        figures=names(),
        fields=FIELDS,
    )


class RigInHand(Value):
    """The rig, taken by this runner until the block ends."""

    bench: Bench
    clock: MachineClock
    boot: str
    view: View
    note: Callable[..., None]  #: (run=, store=): which run is carried out, for whoever looks
    tidy: Callable[[], None]  #: removes the folders of attempts whose files are kept


@contextmanager
def rig_in_hand(
    *, plan: str, store: Path, flag: StopFlag, view: Callable[[MachineClock], View]
) -> Iterator[RigInHand]:
    """Take the rig: no other runner can have it meanwhile.

    Args:
        plan: Named to whoever is refused meanwhile.
        store: The store's folder; attempts are carried out in its ``work``.
        flag: Raised when the runner is to stop.
        view: Makes what shows the run.

    Raises:
        RigError: another runner has the rig, and the error says which; or this system's
            half of the bench is not built.
    """
    from pathlib import Path

    from harness.rig.bench import RealBench
    from harness.rig.clock import MachineClock, boot_id
    from harness.rig.locks import RunnerLock
    from harness.rig.process import inherited, keep_descriptors, keep_to_last_core
    from harness.rig.sensors.own_work import OwnWork
    from harness.rig.sensors.registry import machine_sensors
    from harness.settings import rig_folder

    clock = MachineClock(flag)
    state = rig_folder()
    with RunnerLock(state, plan=plan, now=clock.now()) as lock:
        given = inherited()
        keep_to_last_core()
        keep_descriptors()
        own = OwnWork()
        bench = RealBench(
            state=state,
            work=store / "work",
            folder=Path.cwd(),
            clock=clock,
            sensors=machine_sensors(store=store, clock=clock, own=own),
            follow=own.follow,
            flag=flag,
            given=given,
        )
        shown = view(clock)
        bench.on_sample = shown.sampled
        try:
            yield RigInHand(
                bench=bench,
                clock=clock,
                boot=boot_id(),
                view=shown,
                note=lock.note,
                tidy=bench.discard_kept,
            )
        finally:
            shown.close()


def run_view(out: TextIO, clock: MachineClock, *, live: bool, store: Path) -> View:
    """Return what shows a run: a live view, or plain lines."""
    from harness.views.live import LiveView, PlainView

    kept = str(store.absolute())
    if live:
        return LiveView(out, now=clock.now, steady_s=clock.steady_s, store=kept)
    return PlainView(out, now=clock.now, store=kept)
