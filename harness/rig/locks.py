"""The two locks of a rig: who is its runner, and whether a command is still running.

Touches disk. Both are ``flock`` locks in the folder of the rig's own state, so that the
kernel lets go of them when their holders are gone, however they went.

The **runner lock** belongs to one runner for as long as it lives, and is never inherited.
The **rig lock** is taken for each command and handed over to it: the runner keeps no copy,
so it is held exactly as long as the command, or anything it left behind, is alive. The
runner lock free and the rig lock held means an orphan.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from harness.errors import Problem, RigError
from harness.values import Value

TYPE_CHECKING = False  # as typing has it: this module must be quick to import
if TYPE_CHECKING:
    from datetime import datetime
    from types import TracebackType
    from typing import Any

try:
    import fcntl
except ImportError:  # pragma: no cover - another system
    fcntl = None  # type: ignore[assignment]


class Owner(Value):
    """Who holds the runner lock, as it wrote itself down.

    ``run`` and ``store`` are empty until the runner knows which run it carries out. ``waits`` is
    what it waits at, as ``harness.views.lock_note`` wrote it; None: at no gate.
    """

    pid: int
    started_ticks: int
    boot: str
    since: str  #: UTC, RFC 3339
    plan: str
    run: str = ""
    store: str = ""  #: the folder, absolute
    waits: dict[str, Any] | None = None

    def carries_out(self, run: str, *, store: Path) -> bool | None:
        """Return whether it is the runner of *run* in the folder *store*; None: not known."""
        if not self.run:
            return None
        try:
            return self.run == run and Path(self.store).samefile(store)
        except OSError:
            return False  # one of the two is not there


class RunnerLock:
    """Makes this process the rig's only runner. A context manager.

    Args:
        folder: The folder of the rig's own state; it is made where it is missing.
        plan: Name of the plan, for whoever is refused.
        now: The instant, for the same.

    Raises:
        RigError: another runner is at work (``rig-busy``), or the folder cannot be used.
    """

    #: The file; another kind of process that there is one of on a rig has another.
    NAME = "runner.lock"

    def __init__(self, folder: Path, *, plan: str, now: datetime) -> None:
        from harness.rig.clock import boot_id
        from harness.rig.tree import process

        self._fd = _open(_folder(folder) / self.NAME)
        if not _take(self._fd):
            owner = _owner(self._fd)
            os.close(self._fd)
            raise RigError(self.refusal(owner))
        self.before = _owner(self._fd)  #: who had it last; None: nobody, or it cannot be read
        me = process(os.getpid())
        self.owner = Owner(
            pid=os.getpid(),
            started_ticks=me.id.started_ticks if me is not None else 0,
            boot=boot_id(),
            since=now.isoformat(timespec="seconds"),
            plan=plan,
        )
        # What the runner before it wrote must not stand for a moment as its own.
        os.ftruncate(self._fd, 0)
        self._write_down()

    def refusal(self, owner: Owner | None) -> Problem:
        """Return what is said to whoever finds it taken by *owner*."""
        return _busy(owner)

    def beat(self) -> None:
        """Show that its holder goes on: the file's time is that of its last step or sample.

        One call of the kernel, without a sync: it may be made in a pass.
        """
        with contextlib.suppress(OSError):  # a full or lost disk is told by who writes records
            os.utime(self._fd)

    def note(self, *, run: str, store: Path) -> None:
        """Write down which run of which store is carried out, for whoever looks."""
        self.owner = self.owner.but(run=run, store=str(store.absolute()))
        self._write_down()

    def tell(self, waits: dict[str, Any] | None) -> None:
        """Write down what is waited at, for whoever looks; None: at no gate. Never in a pass."""
        self.owner = self.owner.but(waits=waits)
        with contextlib.suppress(OSError):  # as in ``beat``
            self._write_down()

    def _write_down(self) -> None:
        import json

        note = json.dumps(self.owner.as_dict()).encode()
        # Written over and then cut: the note is never empty meanwhile.
        os.pwrite(self._fd, note, 0)
        os.ftruncate(self._fd, len(note))

    def release(self) -> None:
        """Let another runner in."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    def __enter__(self) -> RunnerLock:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def runner_at_work(folder: Path, *, name: str = RunnerLock.NAME) -> Owner | None:
    """Return who is the rig's runner now, or None. Never waits, changes nothing.

    An owner whose note cannot be read has the number 0. *name* is the file of another lock.
    """
    try:
        descriptor = os.open(folder / name, os.O_RDWR)
    except FileNotFoundError:
        return None
    try:
        return None if _take(descriptor) else _owner(descriptor) or _NOBODY_KNOWN
    finally:
        os.close(descriptor)


class RigLock:
    """Says whether a command, or anything it left behind, is alive. For the runner alone."""

    def __init__(self, folder: Path) -> None:
        self.path = _folder(folder) / "rig.lock"

    def take(self) -> int | None:
        """Return a descriptor that holds the lock, to be handed over; None where it is held."""
        descriptor = _open(self.path)
        if _take(descriptor):
            return descriptor
        os.close(descriptor)
        return None

    def is_free(self) -> bool:
        """Return whether nothing that was handed the lock is alive."""
        descriptor = self.take()
        if descriptor is None:
            return False
        os.close(descriptor)
        return True


_NOTE_BYTES = 65_536  # two paths, each of 4096 bytes at most, as JSON escapes them
_NOBODY_KNOWN = Owner(pid=0, started_ticks=0, boot="", since="", plan="")


def _folder(folder: Path) -> Path:
    if fcntl is None:
        raise RigError(
            Problem(
                code="not-built-yet",
                what="carrying plans out on this operating system is not built yet",
                do="run the plan on a rig with Linux",
            )
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RigError(
            Problem(
                code="rig-folder",
                what=f"the folder of the rig's own state cannot be made: {error.strerror}",
                where=(str(folder),),
                do="name another one in HARNESS_RIG, the same for every run on this rig",
            )
        ) from error
    return folder


def _open(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise RigError(
            Problem(
                code="rig-folder",
                what=f"a lock of this rig cannot be opened: {error.strerror}",
                where=(str(path),),
                do="let whoever runs the plans write to that folder",
            )
        ) from error


def _take(descriptor: int) -> bool:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _owner(descriptor: int) -> Owner | None:
    import json

    for _ in range(3):  # it may be written anew at this moment
        with contextlib.suppress(ValueError, TypeError):
            text = os.pread(descriptor, _NOTE_BYTES, 0).decode()
            note, _end = json.JSONDecoder().raw_decode(text)  # what is to be cut off may follow
            return Owner(**note)
    return None


def _busy(owner: Owner | None) -> Problem:
    if owner is None:
        where: tuple[str, ...] = ("who it is has not been written down yet",)
        do = "wait until it has ended, then give the command again"
    else:
        from harness.rig.clock import boot_id
        from harness.rig.tree import ProcessId, process

        found = process(owner.pid)
        here = found is not None and found.id == ProcessId(owner.pid, owner.started_ticks)
        same = here and owner.boot == boot_id()
        where = (
            f"runner: process {owner.pid}, since {owner.since}",
            f"plan: {owner.plan}",
        )
        if owner.run:
            where = (*where, f"run: {owner.run}, store {owner.store}")
        if not same:
            # The lock is held, so somebody is there: only the note is out of date.
            where = (*where, "that process is not there any more; another one holds the lock")
        do = (
            "wait until it has ended, or stop it with Ctrl-C where it runs"
            f" (or kill -TERM {owner.pid})"
            if same
            else "wait until it has ended, then give the command again"
        )
    return Problem(
        code="rig-busy",
        what="another runner is carrying out a plan on this rig",
        where=where,
        do=do,
    )
