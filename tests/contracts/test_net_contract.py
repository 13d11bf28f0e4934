"""What every net under a command must do: a control group, a job object."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from harness.rig.control_group import ControlGroups, handed_over
from harness.rig.job_object import KILL_ON_JOB_CLOSE, JobObjects, PyWin32
from harness.rig.nets import Net, Nets


class NetContract:
    """A net subclass gives ``nets``, and ``joins``: a process comes into a net."""

    def joins(self, net: Net, pid: int) -> None:
        raise NotImplementedError

    def test_a_fresh_net_is_empty(self, nets: Nets) -> None:
        net = nets.make("one")
        assert net is not None
        assert net.processes() == ()

    def test_a_process_in_it_is_known_and_ended_with_all_others(self, nets: Nets) -> None:
        net = nets.make("one")
        assert net is not None
        self.joins(net, 4711)
        self.joins(net, 4712)
        assert net.processes() == (4711, 4712)
        assert net.kill()
        assert net.processes() == ()

    def test_two_nets_do_not_end_each_others_processes(self, nets: Nets) -> None:
        one, two = nets.make("one"), nets.make("two")
        assert one is not None
        assert two is not None
        self.joins(two, 4711)
        assert one.kill()
        assert two.processes() == (4711,)

    def test_a_net_of_the_same_name_can_be_made_again(self, nets: Nets) -> None:
        net = nets.make("one")
        assert net is not None
        net.close()
        assert nets.make("one") is not None


@dataclass
class FakeKernel:
    """A folder that looks like a delegated control group, and the kernel's half of it."""

    mount: Path
    own: Path

    def serve(self) -> None:
        """Do what the kernel does at once: fill new groups, kill where it was asked to."""
        for group in self.mount.rglob("bench-*"):
            for name in ("cgroup.procs", "cgroup.kill"):
                if not (group / name).exists():
                    (group / name).write_text("")


class _ServedGroups:
    def __init__(self, kernel: FakeKernel, groups: ControlGroups) -> None:
        self.kernel, self.groups = kernel, groups

    def make(self, name: str) -> Net | None:
        for left in (self.groups.parent / f"bench-{name}").glob("*"):
            left.unlink()  # the kernel's own files do not keep a group from being removed
        group = self.groups.make(name)
        self.kernel.serve()
        return None if group is None else _Served(group)


@dataclass
class _Served:
    group: Any

    def __getattr__(self, name: str) -> Any:
        return getattr(self.group, name)

    def kill(self) -> bool:
        killed: bool = self.group.kill()
        if killed and (self.group.path / "cgroup.kill").read_text() == "1":
            (self.group.path / "cgroup.procs").write_text("")
        return killed


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> FakeKernel:
    mount = tmp_path / "cgroup"
    unit = mount / "user.slice" / "bench.service"
    unit.mkdir(parents=True)
    (mount / "cgroup.controllers").write_text("cpu memory pids\n")
    (unit / "cgroup.procs").write_text("")
    own = tmp_path / "self"
    own.write_text("0::/user.slice/bench.service\n")
    marked = {str(unit): {"user.delegate": b"1"}}

    def getxattr(path: str | Path, name: str) -> bytes:
        try:
            return marked[str(path)][name]
        except KeyError:
            raise OSError(61, "No data available") from None

    monkeypatch.setattr(os, "getxattr", getxattr)
    return FakeKernel(mount, own)


class TestControlGroup(NetContract):
    @pytest.fixture
    def nets(self, kernel: FakeKernel) -> Nets:
        groups = handed_over(mount=kernel.mount, own=kernel.own)
        assert groups is not None
        return _ServedGroups(kernel, groups)

    def joins(self, net: Net, pid: int) -> None:
        with Path(net.entrance).open("a") as entrance:
            entrance.write(f"{pid}\n")

    def test_a_unit_that_was_handed_no_group_gets_none(self, kernel: FakeKernel) -> None:
        kernel.own.write_text("0::/user.slice\n")
        assert handed_over(mount=kernel.mount, own=kernel.own) is None

    def test_the_first_version_of_control_groups_gives_none(self, kernel: FakeKernel) -> None:
        kernel.own.write_text("9:name=systemd:/\n4:memory:/x\n")
        assert handed_over(mount=kernel.mount, own=kernel.own) is None
        kernel.own.write_text("0::/user.slice/bench.service\n")
        (kernel.mount / "cgroup.controllers").unlink()
        assert handed_over(mount=kernel.mount, own=kernel.own) is None

    def test_a_kernel_without_the_one_blow_says_so(self, kernel: FakeKernel) -> None:
        groups = handed_over(mount=kernel.mount, own=kernel.own)
        assert groups is not None
        group = groups.make("one")
        assert group is not None
        assert not group.kill()
        assert not (group.path / "cgroup.kill").exists()


class TestThisMachinesControlGroup:
    """The same with the kernel, where this unit was handed a group."""

    @pytest.fixture
    def group(self) -> Iterator[Net]:
        groups = handed_over()
        if groups is None:
            pytest.skip("this unit was handed no control group")
        net = groups.make(f"test-{os.getpid()}")
        assert net is not None
        yield net
        net.close()

    def test_a_tree_is_ended_at_one_blow(self, group: Net) -> None:
        code = f'echo 0 > "{group.entrance}"; sleep 60 & sleep 60'
        with subprocess.Popen(["sh", "-c", code]) as command:
            while len(group.processes()) < 3:
                assert command.poll() is None
            assert group.kill()
            assert command.wait(5) == -signal.SIGKILL
        assert group.processes() == ()


@dataclass
class FakeJobs:
    """The calls of Win32 on jobs, as far as they are used; it keeps what it was asked."""

    jobs: dict[int, list[int]] = field(default_factory=dict)
    flags: dict[int, int] = field(default_factory=dict)
    closed: list[int] = field(default_factory=list)
    refuses: str = ""

    def create(self, name: str) -> object:
        self._may("create")
        self.jobs[len(self.jobs)] = []
        return len(self.jobs) - 1

    def limit(self, job: object, flags: int) -> None:
        self._may("limit")
        self.flags[self._of(job)] = flags

    def assign(self, job: object, pid: int) -> None:
        self.jobs[self._of(job)].append(pid)

    def terminate(self, job: object, status: int) -> None:
        self._may("terminate")
        self.jobs[self._of(job)].clear()

    def processes(self, job: object) -> tuple[int, ...]:
        return tuple(self.jobs[self._of(job)])

    def close(self, job: object) -> None:
        number = self._of(job)
        self.closed.append(number)
        if self.flags.get(number, 0) & KILL_ON_JOB_CLOSE:
            self.jobs[number].clear()

    def _of(self, job: object) -> int:
        assert isinstance(job, int)
        assert job not in self.closed
        return job

    def _may(self, call: str) -> None:
        if self.refuses == call:
            raise OSError(5, "Access is denied.")


class TestJobObject(NetContract):
    @pytest.fixture
    def calls(self) -> FakeJobs:
        return FakeJobs()

    @pytest.fixture
    def nets(self, calls: FakeJobs) -> Nets:
        return JobObjects(calls)

    def joins(self, net: Net, pid: int) -> None:
        assert net.entrance == ""
        net.take(pid)

    def test_what_is_still_in_it_is_ended_when_it_is_closed(self, calls: FakeJobs) -> None:
        job = JobObjects(calls).make("one")
        assert job is not None
        job.take(4711)
        job.close()
        job.close()
        assert calls.jobs == {0: []}
        assert calls.closed == [0]

    @pytest.mark.parametrize("call", ["create", "limit"])
    def test_a_job_that_would_not_end_its_processes_is_none(
        self, calls: FakeJobs, call: str
    ) -> None:
        calls.refuses = call
        assert JobObjects(calls).make("one") is None
        assert len(calls.closed) == len(calls.jobs), "no handle is left open"

    def test_a_refused_blow_says_so(self, calls: FakeJobs) -> None:
        job = JobObjects(calls).make("one")
        assert job is not None
        calls.refuses = "terminate"
        assert not job.kill()


def test_the_calls_of_pywin32_are_made_as_its_documents_have_them() -> None:
    """Names and order of arguments: pywin32's documents of win32job and win32api."""
    made: list[tuple[str, tuple[object, ...]]] = []

    class Refused(Exception):
        pass

    class Module:
        JobObjectExtendedLimitInformation, JobObjectBasicProcessIdList = 9, 3
        PROCESS_SET_QUOTA, PROCESS_TERMINATE = 0x100, 0x1
        error = Refused

        def __getattr__(self, name: str) -> Any:
            def call(*arguments: object) -> object:
                made.append((name, arguments))
                if name == "QueryInformationJobObject":
                    kind = arguments[1]
                    return [7] if kind == 3 else {"BasicLimitInformation": {"LimitFlags": 0x8}}
                if name == "TerminateJobObject":
                    raise Refused(5, "TerminateJobObject", "Access is denied.")
                return f"a handle of {name}"

            return call

    calls = PyWin32(lambda name: Module())
    job = calls.create("bench-1")
    calls.limit(job, KILL_ON_JOB_CLOSE)
    calls.assign(job, 4711)
    assert calls.processes(job) == (7,)
    with pytest.raises(OSError, match="Access is denied"):
        calls.terminate(job, 1)
    assert made == [
        ("CreateJobObject", (None, "bench-1")),
        ("QueryInformationJobObject", (job, 9)),
        ("SetInformationJobObject", (job, 9, {"BasicLimitInformation": {"LimitFlags": 0x2008}})),
        ("OpenProcess", (0x101, False, 4711)),
        ("AssignProcessToJobObject", (job, "a handle of OpenProcess")),
        ("CloseHandle", ("a handle of OpenProcess",)),
        ("QueryInformationJobObject", (job, 3)),
        ("TerminateJobObject", (job, 1)),
    ]
