"""Every check of preflight in its three states, over what was seen of an invented rig."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from harness.plan import document as d
from harness.rig.bounds import Met
from harness.rig.hold import Hold
from harness.rig.identity import Identity
from harness.rig.readings import Reading, measured, not_measured
from harness.rig.survey import LookedFor, ReferenceSeen, Seen, Timer
from harness.run.findings import Finding, Observed, Weight
from harness.run.preflight import ALWAYS_READ, CHECKS, preflight, read_for, ready
from harness.run.preflight_plan import wanted
from tests.run.rehearsal import plan

NOW = datetime(2026, 11, 25, 20, 0, tzinfo=UTC)
UNTIL = datetime(2026, 11, 26, 7, 0, tzinfo=UTC)


def readings(**changed: Reading) -> dict[str, Reading]:
    found = {
        "power.source": measured("power.source", "mains"),
        "clock.synchronised": measured("clock.synchronised", value=True),
        "screen.session": measured("screen.session", "wayland"),
        "cpu.load.others": measured("cpu.load.others", 1.5),
        "disk.free": measured("disk.free", 200.0),
        "gpu.link.generation": measured("gpu.link.generation", 1),
        "gpu.link.width": measured("gpu.link.width", 8),
        "memory.speed": measured("memory.speed", 6000),
        "gpu.temperature": measured("gpu.temperature", 45.0),
        "disks": measured("disks", ("LAB-SYS-1T",)),
    }
    return found | {name.replace("__", "."): reading for name, reading in changed.items()}


def seen(**changed: object) -> Observed:
    well = Observed(
        now=NOW,
        until=UNTIL,
        readings=readings(),
        identity=Identity(fields={}, unread={}),
        restart=Seen(value=()),
        timers=Seen(value=()),
        idle=Seen(value="ignore"),
        runner=Seen(value=""),
        leftovers=Seen(value=()),
        holds=(),
        looked_for=(),
        kept_gib=Seen(value=3.0),
        reference=Seen(why="never measured"),
    )
    return replace(well, **changed)  # type: ignore[arg-type]


def found(check: str, observed: Observed, *, of: d.Plan | None = None) -> list[Finding]:
    every = preflight(of if of is not None else plan(), observed)
    return [finding for finding in every if finding.check == check]


def one(check: str, observed: Observed, *, of: d.Plan | None = None) -> Finding:
    [finding] = found(check, observed, of=of)
    return finding


def bound(reading: str, **of: float | str) -> d.Bound:
    at = d.At(line=4, column=7)
    return d.Bound(reading=reading, unit="", at=at, **of)  # type: ignore[arg-type]


def test_a_rig_on_which_all_is_well_is_ready() -> None:
    findings = preflight(plan(), seen())
    assert ready(findings)
    assert {finding.state for finding in findings} == {Met.MET}
    assert all(not finding.do for finding in findings)


def test_whatever_is_not_met_says_what_to_do() -> None:
    ill = seen(
        readings=readings(
            power__source=measured("power.source", "battery"),
            clock__synchronised=measured("clock.synchronised", value=False),
            cpu__load__others=measured("cpu.load.others", 60.0),
            disk__free=measured("disk.free", 1.0),
        ),
        identity=Identity(fields={}, unread={"gpu.driver": "versions differ: restart the machine"}),
        restart=Seen(value=("the kernel is older than the installed one",)),
        timers=Seen(value=(Timer(unit="apt-daily.timer", starts="", due=UNTIL),)),
        idle=Seen(value="suspend"),
        runner=Seen(value="process 41"),
        leftovers=Seen(value=("quay, process 42",)),
        holds=(Hold(id="run-1-hold-1", run="run-1", reason="too hot", do="cool it", at="now"),),
        looked_for=(
            LookedFor(name="quay", what="title", line=1, column=1, problem="no such program"),
        ),
        reference=Seen(
            value=ReferenceSeen(
                figure="average_fps", unit="fps", latest=90.0, low=98.0, high=102.0, values=20
            )
        ),
    )
    reference = d.Reference(title="Lantern Quay", scene="harbour loop", setting="fhd")
    findings = preflight(replace(plan(), reference=reference), ill)
    not_met = {finding.check for finding in findings if finding.state is Met.NOT_MET}
    assert not_met == {
        "power", "clock", "load", "disk", "driver", "restart", "updates", "sleep", "runner",
        "leftovers", "holds", "programs", "reference",
    }  # fmt: skip
    assert all(finding.do for finding in findings if finding.state is Met.NOT_MET)
    assert not ready(findings)


def test_what_cannot_be_seen_is_not_measured_with_why_and_is_no_refusal() -> None:
    blind = seen(
        readings={
            name: not_measured(name, "nothing reads it")
            for name in readings()
        },
        restart=Seen(why="no kernels"),
        timers=Seen(why="no systemd"),
        idle=Seen(why="no login service"),
        runner=Seen(value=""),
        leftovers=Seen(why="a runner is at work"),
        kept_gib=Seen(why="no pass yet"),
    )  # fmt: skip
    findings = preflight(plan(), blind)
    states = {finding.check: finding.state for finding in findings}
    for check in ("power", "clock", "load", "disk", "restart", "updates", "sleep", "leftovers"):
        assert states[check] is Met.NOT_MEASURED, check
    assert ready(findings)


# --- what the plan asks for -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("reading", "state", "in_the_way"),
    [
        (measured("memory.speed", 6000), Met.MET, False),
        (measured("memory.speed", 4800), Met.NOT_MET, True),
        (not_measured("memory.speed", "for the administrator only"), Met.NOT_MEASURED, True),
    ],
)
def test_a_need_is_met_or_not_or_not_measured_and_only_met_will_do(
    reading: Reading, state: Met, in_the_way: bool
) -> None:
    # A memory profile back at its default after a failed start: 6000 became 4800.
    of = replace(plan(), rig=d.Rig(needs=(bound("memory.speed", at_least=6000.0),)))
    finding = one("needs", seen(readings=readings(memory__speed=reading)), of=of)
    assert (finding.state, finding.in_the_way) == (state, in_the_way)
    assert (finding.at.line, finding.at.column) == (4, 7) if finding.at else False
    assert finding.what.startswith("memory.speed must be at least 6000")


def test_a_reading_that_a_limit_relies_on_must_be_there() -> None:
    of = replace(plan(), limits=(d.Limit(bound=bound("gpu.temperature", at_most=92.0)),))
    assert one("readings", seen(), of=of).state is Met.MET
    lost = readings(gpu__temperature=not_measured("gpu.temperature", "the card is lost"))
    finding = one("readings", seen(readings=lost), of=of)
    assert finding.state is Met.NOT_MEASURED
    assert finding.in_the_way
    assert "the card is lost" in finding.what


def _slots() -> d.Plan:
    shared = d.Level(name="shared", expect=(bound("disks", holds="LAB-TEST-2T"),))
    alone = d.Level(name="alone", expect=(bound("gpu.link.width", equals=16.0),))
    slot = d.Condition(name="slot", by=d.By.OPERATOR, levels=(alone, shared))
    return replace(plan(), conditions=(slot,))


def test_a_level_that_is_not_in_force_now_is_no_finding_against_the_rig() -> None:
    # Eight lanes as the card idles, and no second disk yet: both are judged at their level.
    finding = one("levels", seen(), of=_slots())
    assert finding.state is Met.MET


def test_a_level_whose_reading_is_not_there_could_never_be_verified() -> None:
    lost = readings(gpu__link__width=not_measured("gpu.link.width", "no driver"))
    states = [f.state for f in found("levels", seen(readings=lost), of=_slots())]
    assert Met.NOT_MEASURED in states
    assert not ready(preflight(_slots(), seen(readings=lost)))


def test_every_program_and_file_of_the_plan_is_looked_for_once() -> None:
    def command(name: str) -> d.Command:
        return d.Command(argv=(name,), time_limit_s=5.0)

    title = d.Title(
        title="Lantern Quay",
        scene="harbour loop",
        settings=("fhd",),
        command=command("quay"),
        prepare=(command("restore"), command("restore")),
        tidy=(command("close"),),
        build_files=("bin/quay",),
        build_command=command("quay-build"),
        recorder=command("frame-log"),
        files=d.Files(put=(("lab/quay.ini", "conf/quay.ini"),)),
    )
    level = d.Level(name="quiet", command=command("limit"), put_back=command("limit"))
    power = d.Condition(name="power", by=d.By.COMMAND, levels=(level,))
    named = wanted(replace(plan(), titles=(title,), conditions=(power,)))
    names = [each.path if each.command is None else each.command.argv[0] for each in named]
    assert names == [
        "limit", "quay", "restore", "close", "frame-log", "quay-build", "bin/quay", "lab/quay.ini",
    ]  # fmt: skip
    assert named[0].what == "level power quiet, command"


def test_a_plan_without_a_reference_cell_is_not_asked_for_one() -> None:
    assert not found("reference", seen())


# --- the rig itself -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "due", "state"),
    [
        ("apt-daily-upgrade.timer", UNTIL - timedelta(hours=3), Met.NOT_MET),
        ("apt-daily-upgrade.timer", UNTIL + timedelta(minutes=1), Met.MET),
        ("fstrim.timer", UNTIL - timedelta(hours=3), Met.MET),
    ],
)
def test_an_update_that_is_due_before_the_night_ends_is_in_the_way(
    unit: str, due: datetime, state: Met
) -> None:
    timers = Seen(value=(Timer(unit=unit, starts="a.service", due=due),))
    assert one("updates", seen(timers=timers)).state is state


def test_other_timers_of_the_night_are_only_told() -> None:
    timers = Seen(value=(Timer(unit="fstrim.timer", starts="", due=NOW),))
    finding = one("timers", seen(timers=timers))
    assert finding.weight is Weight.INFORMATION
    assert "fstrim.timer at Wed 20:00" in finding.what


@pytest.mark.parametrize(("free", "state"), [(5.1, Met.MET), (4.9, Met.NOT_MET)])
def test_the_disk_must_hold_what_the_run_will_keep_and_some_more(free: float, state: Met) -> None:
    room = readings(disk__free=measured("disk.free", free))
    assert one("disk", seen(readings=room)).state is state


def test_a_debt_is_told_apart_from_a_hold() -> None:
    debt = Hold(id="run-1-owes-power-1", run="run-1", reason="power quiet", do="go on", at="")
    assert one("debts", seen(holds=(debt,))).state is Met.NOT_MET


def test_a_link_that_idles_is_shown_and_never_judged() -> None:
    finding = one("link", seen())
    assert finding.weight is Weight.INFORMATION
    assert "judged under load only" in finding.what


def test_the_reference_cell_within_its_usual_range_is_met() -> None:
    usual = ReferenceSeen(
        figure="average_fps", unit="fps", latest=98.0, low=98.0, high=102.0, values=20
    )
    of = replace(plan(), reference=d.Reference(title="T", scene="s", setting="fhd"))
    assert one("reference", seen(reference=Seen(value=usual)), of=of).state is Met.MET


# --- the table ------------------------------------------------------------------------------


def test_every_reading_that_is_judged_is_read() -> None:
    of = replace(_slots(), rig=d.Rig(needs=(bound("memory.speed", at_least=6000.0),)))
    assert set(read_for(of)) >= {"memory.speed", "disks", "gpu.link.width", *ALWAYS_READ}


def test_no_two_checks_have_one_name() -> None:
    names = [name for name, _ in CHECKS]
    assert len(names) == len(set(names))
