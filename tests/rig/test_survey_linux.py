from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.plan.document import At, Command
from harness.rig.hold import Hold
from harness.rig.holds import Holds
from harness.rig.locks import RunnerLock
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import FakeSource
from harness.rig.survey import Wanted
from harness.rig.survey_linux import LinuxSurveyor, ask_system, newer_kernel, parse_timers
from tests.rig.linux_root import LinuxRoot

#: As systemctl prints it; the numbers are those of a report in systemd's tracker (its change
#: 15701 brought the JSON), with another unit that is not due.
TIMERS = """[
 {"next":1589485390891904,"left":1589485390891904,"last":1589481783203015,
  "passed":1589481783203015,"unit":"dnf-makecache.timer","activates":"dnf-makecache.service"},
 {"next":0,"left":0,"last":0,"passed":0,"unit":"idle.timer","activates":"idle.service"},
 {"next":null,"unit":"never.timer","activates":null},
 {"next":1589480000000000,"unit":"fstrim.timer","activates":"fstrim.service"}
]"""


@pytest.fixture
def root(tmp_path: Path) -> LinuxRoot:
    return LinuxRoot(tmp_path / "root")


def surveyor(root: LinuxRoot, tmp_path: Path, *, says: str | OSError = "[]") -> LinuxSurveyor:
    def ask(argv: Sequence[str]) -> str:
        if isinstance(says, OSError):
            raise says
        return says

    sensors = Sensors([FakeSource(name="cpu.load", script=(3.0,))], now_s=lambda: 1.0)
    return LinuxSurveyor(
        state=tmp_path / "rig", folder=tmp_path, sensors=sensors, root=root.path, ask=ask
    )


# --- restart --------------------------------------------------------------------------------


def test_a_machine_in_order_waits_for_no_restart(root: LinuxRoot, tmp_path: Path) -> None:
    assert surveyor(root, tmp_path).restart_pending().value == ()


def test_what_the_system_asks_a_restart_for_is_named(root: LinuxRoot, tmp_path: Path) -> None:
    root.write("run/reboot-required", "*** System restart required ***\n")
    root.write("run/reboot-required.pkgs", "linux-base\nlibc6\nlinux-base\n")
    [reason] = surveyor(root, tmp_path).restart_pending().value or ()
    assert reason == "the system asks for a restart, for libc6, linux-base"


def test_a_kernel_newer_than_the_one_that_runs_is_named(root: LinuxRoot, tmp_path: Path) -> None:
    (root.path / "lib/modules/6.8.0-45-generic").mkdir()
    [reason] = surveyor(root, tmp_path).restart_pending().value or ()
    assert "6.8.0-45-generic is installed, and 6.8.0-40-generic runs" in reason


def test_a_kernel_that_was_replaced_while_it_runs_is_named(root: LinuxRoot, tmp_path: Path) -> None:
    (root.path / "lib/modules/6.8.0-40-generic").rename(root.path / "lib/modules/6.9.1-arch1")
    [reason] = surveyor(root, tmp_path).restart_pending().value or ()
    assert "6.8.0-40-generic, is not installed any more" in reason


def test_where_no_kernel_can_be_told_nothing_is_measured(root: LinuxRoot, tmp_path: Path) -> None:
    (root.path / "lib/modules/6.8.0-40-generic").rmdir()
    (root.path / "lib/modules").rmdir()
    seen = surveyor(root, tmp_path).restart_pending()
    assert seen.value is None
    assert "lib/modules" in seen.why


@pytest.mark.parametrize(
    ("running", "installed", "newer"),
    [
        ("6.8.0-9-generic", ["6.8.0-10-generic"], "6.8.0-10-generic"),  # numbers, not letters
        ("6.8.0-40-generic", ["6.11.0-2-lowlatency"], ""),  # another kind of kernel
        ("5.14.0-427.el9.x86_64", ["5.14.0-503.el9.x86_64"], "5.14.0-503.el9.x86_64"),
        ("6.8.0-40-generic", [], ""),
    ],
)
def test_which_kernel_is_newer(running: str, installed: list[str], newer: str) -> None:
    assert newer_kernel(running, installed) == newer


# --- timers, sleep --------------------------------------------------------------------------


def test_timers_are_those_that_are_due_the_soonest_first() -> None:
    first, second = parse_timers(TIMERS)
    assert (first.unit, second.unit) == ("fstrim.timer", "dnf-makecache.timer")
    assert second.starts == "dnf-makecache.service"
    assert second.due == datetime(2020, 5, 14, 19, 43, 10, 891904, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "{}", "System has not been booted with systemd", "[1, 2"])
def test_an_answer_of_another_form_is_not_measured(
    text: str, root: LinuxRoot, tmp_path: Path
) -> None:
    seen = surveyor(root, tmp_path, says=text).timers()
    assert seen.value is None
    assert seen.why


def test_where_systemd_does_not_answer_its_own_words_say_why(
    root: LinuxRoot, tmp_path: Path
) -> None:
    seen = surveyor(root, tmp_path, says=OSError("systemctl says: Host is down")).timers()
    assert (seen.value, seen.why) == (None, "systemctl says: Host is down")


def test_a_program_that_is_not_there_is_not_asked() -> None:
    with pytest.raises(OSError, match="there is no harbour-ctl here"):
        ask_system(["harbour-ctl"])


def test_a_program_that_fails_is_quoted() -> None:
    complaint = "import sys; print('no bus', file=sys.stderr); sys.exit(1)"
    with pytest.raises(OSError, match="says: no bus"):
        ask_system([sys.executable, "-c", complaint])


def test_the_last_settings_of_the_login_service_count(root: LinuxRoot, tmp_path: Path) -> None:
    looking = surveyor(root, tmp_path)
    assert looking.idle_action().value is None
    root.write("etc/systemd/logind.conf", "[Login]\n#IdleAction=ignore\n")
    assert looking.idle_action().value == "ignore"
    root.write("etc/systemd/logind.conf.d/50-lab.conf", "[Login]\nIdleAction=suspend\n")
    assert looking.idle_action().value == "suspend"


# --- the rig's own state --------------------------------------------------------------------


def test_looking_makes_nothing(root: LinuxRoot, tmp_path: Path) -> None:
    looking = surveyor(root, tmp_path)
    assert looking.runner().value == ""
    assert looking.leftovers().value == ()
    assert looking.holds() == ()
    assert not (tmp_path / "rig").exists()


def test_a_runner_at_work_is_named_and_its_commands_are_not_leftovers(
    root: LinuxRoot, tmp_path: Path
) -> None:
    now = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
    (tmp_path / "rig").mkdir()
    (tmp_path / "rig/rig.lock").touch()
    with RunnerLock(tmp_path / "rig", plan="two-slots.yaml", now=now):
        looking = surveyor(root, tmp_path)
        assert "plan two-slots.yaml" in (looking.runner().value or "")
        assert looking.leftovers().value is None
    assert surveyor(root, tmp_path).leftovers().value == ()


def test_holds_are_those_of_the_rig(root: LinuxRoot, tmp_path: Path) -> None:
    hold = Hold(id="h1", run="run-1", reason="too hot", do="let it cool", at="2026-03-02")
    Holds(tmp_path / "rig").hold(hold)
    assert surveyor(root, tmp_path).holds() == (hold,)


# --- what the plan names --------------------------------------------------------------------


def _program(name: str) -> Wanted:
    command = Command(argv=(name,), time_limit_s=5.0, at=At(line=7, column=14))
    return Wanted(what="title Lantern Quay, command", command=command)


def test_programs_are_looked_for_as_they_will_be_started(root: LinuxRoot, tmp_path: Path) -> None:
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin/quay").touch(mode=0o755)
    (tmp_path / "bin/plain").touch(mode=0o644)
    names = ("{python}", "sh", "no-such-quay", "bin/quay", "bin/plain", "bin/none", "{size}/quay")
    found = surveyor(root, tmp_path).looked_for([_program(name) for name in names])
    problems = {each.name: each.problem for each in found}
    assert problems == {
        "{python}": "",
        "sh": "",
        "no-such-quay": "no folder of PATH has such a program",
        "bin/quay": "",
        "bin/plain": "this account may not execute it",
        "bin/none": "there is no such program",
        "{size}/quay": "",  # known only when it is started
    }
    assert (found[0].line, found[0].column) == (7, 14)


def test_files_are_looked_for_from_the_same_folder(root: LinuxRoot, tmp_path: Path) -> None:
    (tmp_path / "quay.ini").touch()
    wanted = [Wanted(what="title", path=path) for path in ("quay.ini", "none", "{size}.ini")]
    found = surveyor(root, tmp_path).looked_for(wanted)
    assert [each.problem for each in found] == ["", "there is no such file", ""]
