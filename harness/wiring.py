"""The one place where real parts are chosen and joined.

Touches nothing itself; what it joins does. Every import is made where it is needed, so that
a command pays only for the parts it uses.
"""

from __future__ import annotations

from contextlib import contextmanager

from harness.values import Value

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime
    from pathlib import Path
    from typing import TextIO

    from harness.plan.document import Plan
    from harness.plan.vocabulary import KnownReading, Vocabulary
    from harness.rig.awake import Awake
    from harness.rig.clock import MachineClock
    from harness.rig.locks import Owner
    from harness.rig.stop import StopFlag
    from harness.rig.survey import Surveyor
    from harness.run.loop import Onlooker
    from harness.run.ports import Bench, Entry
    from harness.run.records import CellSized
    from harness.store.sqlite import Store
    from harness.summary.passes import EarlierRun
    from harness.summary.reusable import Reusable
    from harness.views.live import View


def vocabulary() -> Vocabulary:
    """Return the names that a plan may use: readings, discard rules, figures, fields."""
    from harness.plan.vocabulary import KnownReading, KnownRule, Vocabulary
    from harness.rig.fingerprint_fields import FIELDS
    from harness.rig.quantities import QUANTITIES
    from harness.rig.zones import zones_instead
    from harness.rules.figures import names
    from harness.rules.kinds import KINDS

    return Vocabulary(
        readings={
            name: KnownReading(unit=q.unit, form=q.form.value, low=q.low, high=q.high)
            for name, q in QUANTITIES.items()
        }
        | _readings_of_the_lab(),
        rules={
            kind.name: KnownRule(
                least=kind.marks_from,
                discards_from=kind.discards_from,
                takes=kind.options,
                alphas=kind.alphas,
            )
            for kind in KINDS
        },
        figures=names(),
        fields=FIELDS,
        zones_instead=zones_instead,
    )


def _readings_of_the_lab() -> dict[str, KnownReading]:
    """Return the readings of this rig's own sensors, which a plan for it may name too."""
    from harness.plan.vocabulary import KnownReading
    from harness.rig.quantities import QUANTITIES
    from harness.settings import rig_folder

    folder = rig_folder()
    if not (folder / "rig.yaml").exists():
        return {}
    from harness.rig.sensors.outside_settings import outside_sensors

    declared = (each for sensor in outside_sensors(folder) for each in sensor.readings)
    return {
        each.name: KnownReading(unit=each.unit, form=each.form.value)
        for each in declared
        if each.name not in QUANTITIES
    }


class RigInHand(Value):
    """The rig, taken by this runner until the block ends."""

    bench: Bench
    clock: MachineClock
    boot: str
    view: View
    note: Callable[..., None]  #: (run=, store=): which run is carried out, for whoever looks
    tidy: Callable[[], None]  #: removes the folders of attempts whose files are kept
    awake: Awake  #: whether the machine's sleep is held off
    before: Owner | None  #: whose runner had it last; None: it is not known


def earlier_work(store: Store, plan: Plan, *, rig: str, now: datetime) -> Reusable:
    """Return what earlier runs of *store* on *rig* have of the cells of *plan*."""
    import json
    from functools import partial

    from harness.summary.reusable import reusable

    def frozen(run: str) -> str:
        plan_text: str = json.loads(next(store.rows(run)).body)["plan"]
        return plan_text

    if plan.reuse is None and not plan.extends:
        return reusable(plan, (), now=now)
    lines = [line for line in store.runs() if line.rig == rig]
    return reusable(
        plan,
        (
            (line.run, line.plan_name, frozen(line.run), partial(store.entries, line.run))
            for line in lines
        ),
        now=now,
    )


def earlier_run(store: Store) -> EarlierRun:
    """Return what gives the entries and the frozen plan of a run of *store*, each read once."""
    from functools import lru_cache

    from harness.plan.canonical import thaw
    from harness.store.checkpoints import run_started

    @lru_cache(maxsize=8)
    def read(run: str) -> tuple[Sequence[Entry], Plan]:
        return store.entries(run), thaw(run_started(store, run).plan)

    return read


def sized_by_earlier(folder: Path, plan: Plan, *, rig: str) -> tuple[CellSized, ...]:
    """Return how many passes cells want by earlier runs on *rig*, where *plan* asks for that."""
    from functools import partial

    from harness.plan.document import EnoughFrom
    from harness.store.history import open_history
    from harness.summary.earlier import earlier
    from harness.summary.sizes import sizes

    if plan.enough is None or plan.enough.source is not EnoughFrom.HISTORY:
        return ()
    with open_history(folder) as history:
        plans = history.plans(rig=rig)
        runs = ((hash_, text, partial(history.passes, run)) for run, hash_, text in plans)
        return sizes(plan, earlier(plan, runs))


def surveyor(*, store: Path, clock: MachineClock, gpu: str | None, primed_s: float) -> Surveyor:
    """Return what looks at this rig before a night; nothing is taken in hand.

    Args:
        store: The store's folder, or where it is going to be.
        clock: The machine's clock.
        gpu: The card under test, as the plan names it; None: the only one.
        primed_s: Rates are taken over this long.

    Raises:
        RigError: this system's half is not built.
    """
    import sys
    from pathlib import Path

    from harness.errors import Problem, RigError
    from harness.rig.sensors.registry import machine_sensors
    from harness.settings import rig_folder

    if sys.platform != "linux":
        raise RigError(
            Problem(
                code="not-built-yet",
                what="looking at a rig before a night is not built yet for this operating system",
                do="give the command on a rig with Linux; harness check PLAN works everywhere",
            )
        )
    from harness.rig.survey_linux import LinuxSurveyor

    sensors = machine_sensors(store=store, clock=clock, gpu=gpu)
    sensors.sample()
    clock.pause(primed_s)
    return LinuxSurveyor(state=rig_folder(), folder=Path.cwd(), sensors=sensors)


@contextmanager
def rig_in_hand(
    *,
    plan: str,
    store: Path,
    flag: StopFlag,
    view: Callable[[MachineClock], View],
    gpu: str | None = None,
    until: datetime | None = None,
) -> Iterator[RigInHand]:
    """Take the rig: no other runner can have it meanwhile.

    Args:
        plan: Named to whoever is refused meanwhile.
        store: The store's folder; attempts are carried out in its ``work``.
        flag: Raised when the runner is to stop.
        view: Makes what shows the run.
        gpu: The card under test, as the plan names it; None: the only one.
        until: When the night ends; passes that do not fit are not begun. None: it has no end.

    Raises:
        RigError: another runner has the rig, and the error says which; or this system's
            half of the bench is not built.
    """
    from pathlib import Path

    from harness.rig.awake import kept_awake
    from harness.rig.bench import RealBench
    from harness.rig.clock import MachineClock, boot_id
    from harness.rig.locks import RunnerLock
    from harness.rig.process import inherited, keep_descriptors, keep_to_last_core
    from harness.rig.sensors.own_work import OwnWork
    from harness.rig.sensors.registry import machine_sensors
    from harness.settings import rig_folder
    from harness.views.lock_note import LockNote

    clock = MachineClock(flag)
    state = rig_folder()
    with (
        RunnerLock(state, plan=plan, now=clock.now()) as lock,
        kept_awake(why=f"carrying out {plan}") as awake,
    ):
        given = inherited()
        keep_to_last_core()
        keep_descriptors()
        own = OwnWork()
        bench = RealBench(
            state=state,
            work=store / "work",
            folder=Path.cwd(),
            clock=clock,
            sensors=machine_sensors(store=store, clock=clock, own=own, gpu=gpu, rig=state),
            follow=own.follow,
            flag=flag,
            given=given,
        )
        at_lock = LockNote(beat=lock.beat, tell=lock.tell, now=clock.now, steady_s=clock.steady_s)
        shown = _also_told(
            view(clock), at_lock, clock=clock, flag=flag, until=until, beat=lock.beat
        )
        bench.on_sample = shown.sampled
        try:
            yield RigInHand(
                bench=bench,
                clock=clock,
                boot=boot_id(),
                view=shown,
                note=lock.note,
                tidy=bench.discard_kept,
                awake=awake,
                before=lock.before,
            )
        finally:
            shown.close()


def _also_told(
    view: View,
    *others: Onlooker,
    clock: MachineClock,
    flag: StopFlag,
    until: datetime | None,
    beat: Callable[[], None],
) -> View:
    """Return *view*, with whatever else is told what the runner does: the night's end, a daemon."""
    from harness.run.night_end import NightEnd
    from harness.settings import telling
    from harness.views.told import Several, Told

    flag.asked = beat
    if until is not None:
        end = NightEnd(until, now=clock.now, stop=flag.raise_for)
        others = (*others, end)

        def asked() -> None:
            beat()
            end.look()

        flag.asked = asked
    if (descriptor := telling()) is not None:
        others = (*others, Told(descriptor))
    return Several(view, *others)


def run_view(out: TextIO, clock: MachineClock, *, live: bool, store: Path) -> View:
    """Return what shows a run: a live view, or plain lines."""
    from harness.views.live import LiveView, PlainView

    kept = str(store.absolute())
    if live:
        return LiveView(out, now=clock.now, steady_s=clock.steady_s, store=kept)
    return PlainView(out, now=clock.now, store=kept)
