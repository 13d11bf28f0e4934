"""The checks of preflight about the rig itself.

Pure. Bounds without a source named beside them are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from harness.plan.document import Plan
from harness.rig.bounds import Met
from harness.rig.readings import shown
from harness.run.debts import is_debt
from harness.run.findings import Finding, Observed, Weight

#: Words in the names of timers that fetch or install updates: on no night of measurements.
_UPDATES = (
    "apt", "automatic", "dnf", "flatpak", "fwupd", "makecache", "ostree", "packagekit", "pacman",
    "refresh", "snap", "unattended", "update", "upgrade", "yum", "zypper",
)  # fmt: skip
#: Work of others beside an idle rig, %; above it something is busy.
_QUIET_LOAD = 10.0
#: Left free beside what will be kept, GiB: a full disk stops the system itself.
_SPARE_GIB = 2.0
#: What a login service may do by itself that does not stop a measurement.
_HARMLESS = ("ignore", "lock", "")


def restart(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether something waits for a restart."""
    pending = seen.restart
    if pending.value is None:
        yield Finding(check="restart", state=Met.NOT_MEASURED, what=pending.why)
    elif not pending.value:
        yield Finding(check="restart", state=Met.MET, what="nothing waits for a restart")
    for reason in pending.value or ():
        yield Finding(
            check="restart",
            state=Met.NOT_MET,
            what=reason,
            do="restart the rig, then look again: after a restart in mid-run what comes is "
            "another group, never averaged with what was measured before",
        )


def updates(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge what the system will start by itself before the night ends."""
    timers = seen.timers
    if timers.value is None:
        what = f"what the system will start by itself cannot be told: {timers.why}"
        yield Finding(check="updates", state=Met.NOT_MEASURED, what=what)
        return
    due = [timer for timer in timers.value if timer.due <= seen.until]
    updates = [timer for timer in due if any(word in timer.unit for word in _UPDATES)]
    for timer in updates:
        yield Finding(
            check="updates",
            state=Met.NOT_MET,
            what=f"{timer.unit} is due at {_instant(timer.due, seen)}, before the night's end",
            do=f"stop it for the night: systemctl stop {timer.unit}; start it again afterwards",
        )
    if not updates:
        yield Finding(
            check="updates", state=Met.MET, what="no update is due before the night's end"
        )
    if others := [timer for timer in due if timer not in updates]:
        listed = ", ".join(f"{each.unit} at {_instant(each.due, seen)}" for each in others)
        yield Finding(
            check="timers",
            state=Met.MET,
            what=f"will be started by itself before the night's end: {listed}",
            weight=Weight.INFORMATION,
        )


def _instant(due: datetime, seen: Observed) -> str:
    return f"{due.astimezone(seen.until.tzinfo):%a %H:%M}"


def disk(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge the free space against what the run will keep."""
    free, kept = seen.readings["disk.free"], seen.kept_gib
    if not isinstance(free.value, float):
        yield Finding(check="disk", state=Met.NOT_MEASURED, what=f"disk.free is {shown(free)}")
        return
    wanted = _SPARE_GIB + (kept.value or 0.0)
    if kept.value is None:
        about = f"what the run will keep cannot be told: {kept.why}"
    else:
        about = f"the run may keep about {_gib(kept.value)}"
    enough = free.value >= wanted
    yield Finding(
        check="disk",
        state=Met.MET if enough else Met.NOT_MET,
        what=f"{_gib(free.value)} free where the store lies; {about}",
        do=""
        if enough
        else f"make room for {_gib(wanted)}, or name another disk with --store: captures are "
        "kept for ever, and a full disk ends the run",
    )


def _gib(size: float) -> str:
    return f"{size:.0f} GiB" if size >= 10 else f"{size:.1f} GiB" if size >= 0.1 else "0.1 GiB"


def power(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge what the rig is fed from; a machine that tells nothing has no battery, mostly."""
    reading = seen.readings["power.source"]
    if reading.value == "battery":
        yield Finding(
            check="power",
            state=Met.NOT_MET,
            what="the rig runs on its battery",
            do="plug it in: on a battery clocks are held down, and it ends before the night does",
        )
        return
    what = f"power source: {shown(reading)}"
    state = Met.MET if reading.measured else Met.NOT_MEASURED
    yield Finding(check="power", state=state, what=what)


def clock(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether the clock of the day is kept."""
    reading = seen.readings["clock.synchronised"]
    if reading.value is None:
        what = f"clock.synchronised is {shown(reading)}"
        yield Finding(check="clock", state=Met.NOT_MEASURED, what=what)
        return
    kept = reading.value is True
    yield Finding(
        check="clock",
        state=Met.MET if kept else Met.NOT_MET,
        what="the clock of the day is kept by a time service"
        if kept
        else "no time service keeps the clock of the day",
        do=""
        if kept
        else "switch a time service on, or set the clock by hand and look again: a night is "
        "told by the clock, and records of several rigs are put together by it",
    )


def sleep(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether the rig goes to sleep by itself."""
    idle = seen.idle
    if idle.value is None:
        what = f"whether the rig goes to sleep by itself cannot be told: {idle.why}"
        yield Finding(check="sleep", state=Met.NOT_MEASURED, what=what)
        return
    awake = idle.value in _HARMLESS
    yield Finding(
        check="sleep",
        state=Met.MET if awake else Met.NOT_MET,
        what="the login service lets the rig stay awake (a desktop's own setting is not seen here)"
        if awake
        else f"when nobody touches the rig, the login service does: {idle.value}",
        do="" if awake else "set IdleAction=ignore in logind.conf for the night",
    )


def runner(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether another runner is at work."""
    who = seen.runner
    if who.value is None:
        yield Finding(check="runner", state=Met.NOT_MEASURED, what=who.why)
        return
    yield Finding(
        check="runner",
        state=Met.NOT_MET if who.value else Met.MET,
        what=f"another runner is at work on this rig: {who.value}"
        if who.value
        else "no other runner is at work on this rig",
        do="wait until it has ended, or stop it with Ctrl-C where it runs" if who.value else "",
        weight=Weight.MUST,
    )


def leftovers(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge what an earlier run left running."""
    left = seen.leftovers
    if left.value is None:
        yield Finding(check="leftovers", state=Met.NOT_MEASURED, what=left.why)
        return
    if not left.value:
        yield Finding(check="leftovers", state=Met.MET, what="nothing of an earlier run is left")
    for text in left.value:
        yield Finding(
            check="leftovers",
            state=Met.NOT_MET,
            what=f"an earlier run left running: {text}",
            do="end it, or start the run, which ends it first; what cannot be ended holds the rig",
        )


def holds(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge the holds that stand, and what earlier runs have yet to put back."""
    if not seen.holds:
        yield Finding(check="holds", state=Met.MET, what="no hold stands", weight=Weight.MUST)
    for hold in seen.holds:
        debt = is_debt(hold.id, hold.run)
        yield Finding(
            check="debts" if debt else "holds",
            state=Met.NOT_MET,
            what=f"{hold.reason}" if debt else f"the rig is held since {hold.at}: {hold.reason}",
            do=f"{hold.do}. Then: harness release {hold.id} --by YOUR-NAME",
            weight=Weight.MUST,
        )


def load(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge how much other programs take."""
    reading = seen.readings["cpu.load.others"]
    if not isinstance(reading.value, float):
        what = f"cpu.load.others is {shown(reading)}"
        yield Finding(check="load", state=Met.NOT_MEASURED, what=what)
        return
    quiet = reading.value <= _QUIET_LOAD
    yield Finding(
        check="load",
        state=Met.MET if quiet else Met.NOT_MET,
        what=f"other programs take {reading.value:.0f} % of the processor"
        + ("" if quiet else f"; an idle rig takes less than {_QUIET_LOAD:.0f} %"),
        do="" if quiet else "see what is at work, and end it or wait for it",
    )


def driver(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Say so where a driver is installed that does not answer: an update needs its restart."""
    why = seen.identity.unread.get("gpu.driver", "")
    if "restart" in why:
        yield Finding(
            check="driver", state=Met.NOT_MET, what=f"the graphics driver does not answer: {why}",
            do="restart the rig, then look again",
        )  # fmt: skip


def screen(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Show whether there is a session with a screen."""
    reading = seen.readings["screen.session"]
    yield Finding(
        check="screen",
        state=Met.MET if reading.measured else Met.NOT_MEASURED,
        what=f"session with a screen: {shown(reading)}; a plan whose titles need one says so in "
        "rig.needs",
        weight=Weight.INFORMATION,
    )


def link(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Show the link as the card idles."""
    generation = seen.readings["gpu.link.generation"]
    width = seen.readings["gpu.link.width"]
    there = generation.measured or width.measured
    what = (
        f"link as the card idles: generation {shown(generation)}, {shown(width)} lanes; it is "
        "judged under load only"
        if there
        else f"gpu.link.width is {shown(width)}"
    )
    yield Finding(
        check="link",
        state=Met.MET if there else Met.NOT_MEASURED,
        what=what,
        weight=Weight.INFORMATION,
    )
