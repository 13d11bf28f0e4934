"""Job objects of Windows: the net under a command there. Written for review.

Touches processes, through calls of Win32 that are handed in. It has never run on Windows: its
contract is tested with a fake of those calls, and nothing in the harness chooses it yet. With
``KILL_ON_JOB_CLOSE`` the system ends the whole tree when the last handle of the job is closed,
so also when the runner dies; the calls are pywin32's (the extra ``windows``), as Microsoft's
documents on ``CreateJobObject``, ``SetInformationJobObject`` and ``AssignProcessToJobObject``
describe them.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

#: JOBOBJECT_BASIC_LIMIT_INFORMATION.LimitFlags, of winnt.h. BREAKAWAY is not among them: what
#: a command starts cannot leave the job.
KILL_ON_JOB_CLOSE = 0x2000
#: Exit status of what is ended by ``kill``.
ENDED = 1


class JobCalls(Protocol):
    """The calls of Win32 that a job needs. Each raises OSError where the system refuses."""

    def create(self, name: str) -> object:
        """Return the handle of a new job."""

    def limit(self, job: object, flags: int) -> None:
        """Set the limit flags of a job."""

    def assign(self, job: object, pid: int) -> None:
        """Put a process into a job. It must not have started anything yet."""

    def terminate(self, job: object, status: int) -> None:
        """End every process of a job."""

    def processes(self, job: object) -> tuple[int, ...]:
        """Return the numbers of a job's processes."""

    def close(self, job: object) -> None:
        """Close a handle."""


@dataclass(slots=True)
class JobObject:
    """One command's job. Fits ``harness.rig.nets.Net``."""

    calls: JobCalls
    job: object
    _open: bool = True

    @property
    def entrance(self) -> str:
        """Return nothing: a process is put in from outside, while it is still suspended."""
        return ""

    def take(self, pid: int) -> None:
        """Put a process in that was started suspended."""
        self.calls.assign(self.job, pid)

    def kill(self) -> bool:
        """End every process of the job."""
        try:
            self.calls.terminate(self.job, ENDED)
        except OSError:
            return False
        return True

    def processes(self) -> tuple[int, ...]:
        """Return the numbers of its processes."""
        return self.calls.processes(self.job) if self._open else ()

    def close(self) -> None:
        """Close the job; what is still in it is ended by the system."""
        if self._open:
            self._open = False
            self.calls.close(self.job)


@dataclass(frozen=True, slots=True)
class JobObjects:
    """Makes jobs. Fits ``harness.rig.nets.Nets``."""

    calls: JobCalls

    def make(self, name: str) -> JobObject | None:
        """Return a job that dies with its last handle; None where the system refuses it."""
        try:
            job = self.calls.create(name)
        except OSError:
            return None
        try:
            self.calls.limit(job, KILL_ON_JOB_CLOSE)
        except OSError:
            self.calls.close(job)  # a job that does not kill on close is no net
            return None
        return JobObject(self.calls, job)


class PyWin32:
    """The calls by way of pywin32. Fits :class:`JobCalls`."""

    def __init__(self, load: Callable[[str], Any] = importlib.import_module) -> None:
        self._api, self._job, self._con = load("win32api"), load("win32job"), load("win32con")
        self._error: type[Exception] = load("pywintypes").error

    def create(self, name: str) -> object:
        """Return the handle of a new job."""
        return self._call(self._job.CreateJobObject, None, name)

    def limit(self, job: object, flags: int) -> None:
        """Set the limit flags of a job, and leave its other limits as they are."""
        kind = self._job.JobObjectExtendedLimitInformation
        info = self._call(self._job.QueryInformationJobObject, job, kind)
        info["BasicLimitInformation"]["LimitFlags"] |= flags
        self._call(self._job.SetInformationJobObject, job, kind, info)

    def assign(self, job: object, pid: int) -> None:
        """Put a process into a job."""
        rights = self._con.PROCESS_SET_QUOTA | self._con.PROCESS_TERMINATE
        process = self._call(self._api.OpenProcess, rights, False, pid)
        try:
            self._call(self._job.AssignProcessToJobObject, job, process)
        finally:
            self._call(self._api.CloseHandle, process)

    def terminate(self, job: object, status: int) -> None:
        """End every process of a job."""
        self._call(self._job.TerminateJobObject, job, status)

    def processes(self, job: object) -> tuple[int, ...]:
        """Return the numbers of a job's processes."""
        kind = self._job.JobObjectBasicProcessIdList
        return tuple(self._call(self._job.QueryInformationJobObject, job, kind))

    def close(self, job: object) -> None:
        """Close a handle."""
        self._call(self._api.CloseHandle, job)

    def _call(self, function: Callable[..., Any], *arguments: object) -> Any:
        try:
            return function(*arguments)
        except self._error as error:
            number, _, text = (*error.args, 0, "", "")[:3]
            raise OSError(number, text) from error
