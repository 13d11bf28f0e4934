"""Looks at a Linux rig before a night.

Touches disk, processes and the sensors. Nothing is changed: no folder is made, no lock is
kept, nothing is ended. The one program that is asked is ``systemctl``, with a time limit.
Sources: systemctl(1) (``list-timers --output=json``: instants in microseconds), logind.conf(5),
and, common practice of the distributions, /run/reboot-required and the kernels in /lib/modules.
"""

from __future__ import annotations

import configparser
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from harness.errors import RigError
from harness.plan.document import Title
from harness.plan.placeholders import placeholders
from harness.rig.fingerprint import Fingerprint
from harness.rig.hold import Hold
from harness.rig.holds import Holds
from harness.rig.identity import Identity, reason
from harness.rig.locks import RigLock, runner_at_work
from harness.rig.orphans import left_running, rig_mark
from harness.rig.readings import Reading
from harness.rig.sensors.sensors import Sensors
from harness.rig.survey import LookedFor, Seen, Timer, Wanted, found

#: Asks the operating system by a command; returns its output. Raises OSError where it cannot.
AskSystem = Callable[[Sequence[str]], str]

_TIMERS = ("systemctl", "list-timers", "--all", "--output=json", "--no-pager")
_ASK_LIMIT_S = 10.0
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def ask_system(argv: Sequence[str]) -> str:
    """Run one of the operating system's own commands; return what it says.

    Raises:
        OSError: it is not there, fails, or takes too long.
    """
    try:
        done = subprocess.run(
            argv,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_ASK_LIMIT_S,
            check=False,
            encoding="utf-8",
            errors="replace",
            env={**os.environ, "LC_ALL": "C.UTF-8"},
        )
    except FileNotFoundError as error:
        raise OSError(f"there is no {argv[0]} here") from error
    except subprocess.TimeoutExpired as error:
        raise OSError(f"{argv[0]} did not answer within {_ASK_LIMIT_S:g} s") from error
    if done.returncode:
        said = (done.stderr.strip() or done.stdout.strip()).splitlines()
        raise OSError(f"{argv[0]} says: {said[0]}" if said else f"{argv[0]} failed")
    return done.stdout


class LinuxSurveyor:
    """Looks at this machine. Fits ``harness.rig.survey.Surveyor``.

    Args:
        state: Folder of the rig's own state.
        folder: What relative paths in a plan are relative to.
        sensors: The machine's readings; those that are rates have been looked at before.
        root: Where the machine's files are.
        ask: Asks the operating system.
    """

    def __init__(
        self,
        *,
        state: Path,
        folder: Path,
        sensors: Sensors,
        root: Path = Path("/"),
        ask: AskSystem = ask_system,
    ) -> None:
        self._state, self._folder, self._sensors = state, folder, sensors
        self._root, self._ask = root, ask

    def readings(self, names: Sequence[str]) -> Mapping[str, Reading]:
        """Return one reading of each name."""
        return dict(zip(names, self._sensors.read(names), strict=True))

    def identity(self, titles: Sequence[Title]) -> Identity:
        """Return the fingerprint in full. A command that tells a build is not run."""
        taken = Fingerprint(
            folder=self._folder,
            read=lambda name: self._sensors.read([name])[0],
            ask=lambda command: None,
        )
        fields = dict(taken.take(None, full=True))
        for title in titles:
            if title.build_files and title.build_command is None:
                fields |= taken.take(title, full=False)
        return Identity(fields=fields, unread=dict(taken.unread))

    def restart_pending(self) -> Seen[tuple[str, ...]]:
        """Return what waits for a restart."""
        reasons = []
        for run in ("run", "var/run"):
            if (self._root / run / "reboot-required").exists():
                reasons.append(_packages(self._root / run / "reboot-required.pkgs"))
                break
        try:
            running = _text(self._root / "proc/sys/kernel/osrelease")
            kernels = [path.name for path in (self._root / "lib/modules").iterdir()]
        except OSError as error:
            if reasons:
                return Seen(value=tuple(reasons))
            return Seen(why=f"the installed kernels cannot be told: {reason(error)}")
        if newer := newer_kernel(running, kernels):
            reasons.append(f"the kernel {newer} is installed, and {running} runs")
        elif kernels and running not in kernels:
            reasons.append(f"the kernel that runs, {running}, is not installed any more")
        return Seen(value=tuple(reasons))

    def timers(self) -> Seen[tuple[Timer, ...]]:
        """Return what systemd will start by itself."""
        try:
            return Seen(value=parse_timers(self._ask(_TIMERS)))
        except (OSError, ValueError) as error:
            return Seen(why=str(error) or "what will be started cannot be told")

    def idle_action(self) -> Seen[str]:
        """Return what the login service does when nobody touches the machine."""
        main = [self._root / part / "systemd/logind.conf" for part in ("usr/lib", "lib", "etc")]
        more = [
            path
            for part in ("usr/lib", "run", "etc")
            for path in sorted((self._root / part / "systemd/logind.conf.d").glob("*.conf"))
        ]
        there = [path for path in (*main, *more) if path.is_file()]
        if not there:
            return Seen(why="this system has no settings of a login service")
        action = "ignore"  # what holds where no file says otherwise, logind.conf(5)
        for path in there:
            parser = configparser.ConfigParser(interpolation=None, strict=False)
            try:
                parser.read_string(path.read_text(encoding="utf-8", errors="replace"))
            except (OSError, configparser.Error) as error:
                return Seen(why=f"{path} cannot be read: {error}".splitlines()[0])
            action = parser.get("Login", "IdleAction", fallback=action).strip() or action
        return Seen(value=action)

    def runner(self) -> Seen[str]:
        """Return who carries a plan out on this rig now."""
        try:
            owner = runner_at_work(self._state)
        except (OSError, RigError) as error:
            return Seen(why=f"the lock of this rig cannot be looked at: {error}")
        if owner is None:
            return Seen(value="")
        if not owner.pid:
            return Seen(value="a runner that has not written itself down yet")
        return Seen(value=f"process {owner.pid} since {owner.since}, plan {owner.plan}")

    def leftovers(self) -> Seen[tuple[str, ...]]:
        """Return what an earlier runner left running; a runner at work leaves nothing."""
        if not (self._state / "rig.lock").exists():
            return Seen(value=())  # no command was ever run here
        if self.runner().value:
            return Seen(why="a runner is at work, and what runs may be its own")
        try:
            return Seen(value=left_running(rig_mark(self._state), lock=RigLock(self._state)))
        except (OSError, RigError) as error:
            return Seen(why=f"processes cannot be looked at: {error}")

    def holds(self) -> tuple[Hold, ...]:
        """Return the holds that stand on this rig."""
        return Holds(self._state).standing()

    def looked_for(self, wanted: Sequence[Wanted]) -> tuple[LookedFor, ...]:
        """Return whether each program and file is there."""
        return tuple(found(each, self._problem(each)) for each in wanted)

    def _problem(self, wanted: Wanted) -> str:
        if wanted.command is None:
            if placeholders(wanted.path):
                return ""  # filled for each pass: known only then
            return "" if (self._folder / wanted.path).is_file() else "there is no such file"
        name = wanted.command.argv[0].replace("{python}", sys.executable)
        if placeholders(name):
            return ""
        if "/" not in name:
            return "" if shutil.which(name) else "no folder of PATH has such a program"
        path = self._folder / name
        if not path.is_file():
            return "there is no such program"
        return "" if os.access(path, os.X_OK) else "this account may not execute it"


def newer_kernel(running: str, installed: Sequence[str]) -> str:
    """Return the newest installed kernel of the same kind, where it is newer; else nothing.

    >>> newer_kernel("6.8.0-40-generic", ["6.8.0-40-generic", "6.8.0-45-generic", "6.11.0-9-rt"])
    '6.8.0-45-generic'
    >>> newer_kernel("6.8.0-45-generic", ["6.8.0-9-generic"])
    ''
    """
    alike = [name for name in installed if _kind(name) == _kind(running)]
    newest = max(alike, key=_version, default=running)
    return newest if _version(newest) > _version(running) else ""


def _kind(name: str) -> str:
    return re.sub(r"[\d.+~-]+", " ", name)


def _version(name: str) -> tuple[int, ...]:
    return tuple(int(digits) for digits in re.findall(r"\d+", name))


def parse_timers(text: str) -> tuple[Timer, ...]:
    """Return the timers in the JSON of ``systemctl list-timers``, the soonest first.

    ``next`` is an instant in microseconds; 0 or null: it is not due.

    Raises:
        ValueError: it is not of that form.
    """
    entries = json.loads(text)
    if not isinstance(entries, list):
        raise ValueError("systemctl told its timers in another form")
    timers = []
    for entry in entries:
        due = entry.get("next") if isinstance(entry, dict) else None
        if isinstance(due, int) and due > 0 and isinstance(entry.get("unit"), str):
            starts = entry.get("activates")
            timers.append(
                Timer(
                    unit=entry["unit"],
                    starts=starts if isinstance(starts, str) else "",
                    due=_EPOCH + timedelta(microseconds=due),
                )
            )
    return tuple(sorted(timers, key=lambda timer: (timer.due, timer.unit)))


def _packages(path: Path) -> str:
    """Return in words for what the system asks for a restart."""
    try:
        names = sorted(set(_text(path).split()))
    except OSError:
        names = []
    return "the system asks for a restart" + (f", for {', '.join(names)}" if names else "")


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8", errors="replace").strip()
