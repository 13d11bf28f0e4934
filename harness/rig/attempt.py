"""The folder of one attempt: fresh, filled by the title, settled, listed.

Touches disk. ``captures/`` is what ``{captures}`` stands for; ``output/`` holds what the
commands said; ``readings.jsonl`` the samples. Nothing here judges what the files hold.
"""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from harness.rig.clock import MachineClock
from harness.rig.tasks import CommandEnd, Member

#: Between two looks at whether files still change, seconds: some ticks of a file system's clock.
LOOK_S = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptFolder:
    """One attempt's fresh folder. ``made_ns`` is its age on the clock of its file system."""

    path: Path
    made_ns: int

    @property
    def captures(self) -> Path:
        """Return the folder the title leaves its files in."""
        return self.path / "captures"

    @property
    def readings(self) -> Path:
        """Return the file of the samples."""
        return self.path / "readings.jsonl"

    def output(self, name: str) -> Path:
        """Return the file of one stream, such as ``stdout`` or ``prepare-1.stderr``."""
        return self.path / "output" / name


def fresh(work: Path, name: str) -> AttemptFolder:
    """Make the folder of the attempt *name* under *work*; it holds nothing older.

    What lies in its place is moved aside under another name: it is never adopted, and never
    deleted.
    """
    path = work / name
    if path.exists():
        number = 1
        while (aside := work / f"{name}.earlier-{number}").exists():
            number += 1
        path.rename(aside)
    path.mkdir(parents=True)
    made = AttemptFolder(path=path, made_ns=path.stat().st_mtime_ns)
    made.captures.mkdir()
    (path / "output").mkdir()
    return made


def collect(folder: AttemptFolder, patterns: Sequence[str], *, where: Path) -> None:
    """Copy what matches *patterns* under *where* into the captures, times kept.

    Only files written since the attempt began are taken. Where there is none, the newest
    older one is, so that whoever judges can say that it is stale. A name that is taken
    already gets the file's place in front of it.
    """
    for pattern in patterns:
        found = [path for path in sorted(_matching(where, pattern)) if path.is_file()]
        times = {path: path.stat().st_mtime_ns for path in found}
        new = [path for path in found if times[path] >= folder.made_ns]
        if not new and found:
            new = [max(found, key=times.__getitem__)]
        for path in new:
            target = folder.captures / path.name
            if target.exists():
                place = os.path.relpath(path, where).replace("..", "up").strip(os.sep)
                target = folder.captures / place.replace(os.sep, "-")
            shutil.copy2(path, target)


def _matching(where: Path, pattern: str) -> Iterator[Path]:
    if Path(pattern).is_absolute():
        anchor = Path(Path(pattern).anchor)
        return anchor.glob(os.path.relpath(pattern, anchor))
    return where.glob(pattern)


def wait_until_settled(
    folder: AttemptFolder,
    *,
    clock: MachineClock,
    settle_s: float,
    each_look: Callable[[], None] = lambda: None,
) -> tuple[str, ...]:
    """Wait until two looks in a row see the same sizes and times; at most *settle_s*.

    Files that were all left alone for as long as lies between two looks need no second one.
    *each_look* is called at every look.

    Returns:
        The files that still changed at the end, by name; empty where all is settled.
    """
    deadline_s = clock.steady_s() + settle_s
    if _long_settled(folder):
        return ()
    before = _look(folder.path)
    while True:
        clock.pause(LOOK_S)
        each_look()
        now = _look(folder.path)
        if now == before:
            return ()
        if clock.steady_s() >= deadline_s:
            return tuple(sorted(name for name in now if now[name] != before.get(name)))
        before = now


def completed(
    end: CommandEnd,
    folder: AttemptFolder,
    *,
    patterns: Sequence[str],
    where: Path,
    clock: MachineClock,
    settle_s: float,
    each_look: Callable[[], None],
) -> CommandEnd:
    """Gather the files of a pass that is over; return *end*, which says where some still change.

    The arguments are those of :func:`collect` and :func:`wait_until_settled`.
    """
    collect(folder, patterns, where=where)
    changing = wait_until_settled(folder, clock=clock, settle_s=settle_s, each_look=each_look)
    if not changing:
        return end
    note = f"still changing after {settle_s:g} s: {', '.join(changing)}"
    return replace(end, detail=f"{end.detail}; {note}".removeprefix("; "))


def _long_settled(folder: AttemptFolder) -> bool:
    """Return whether no file was written to for ``LOOK_S``, by its file system's own clock.

    What tells is the time of change, which no program can set back. A folder without a capture
    is looked at twice: its first file may just come. The samples are the harness's own.
    """
    outputs = folder.output("stdout").parent
    os.utime(outputs)
    now_ns = outputs.stat().st_ctime_ns
    left = [each.path for each in members(folder.path) if each.path != folder.readings]
    states = [state for path in left if (state := _stat(path)) is not None]
    captured = any(path.parent != outputs for path in left)
    return captured and all(now_ns - state.st_ctime_ns > LOOK_S * 1e9 for state in states)


def _look(path: Path) -> dict[str, tuple[int, int]]:
    return {
        member.name: (state.st_size, state.st_mtime_ns)
        for member in members(path)
        if (state := _stat(member.path)) is not None
    }


def _stat(path: Path) -> os.stat_result | None:
    try:
        return path.lstat()
    except OSError:
        return None


def members(
    path: Path, *, wanted: Callable[[Path], bool] = lambda path: True
) -> tuple[Member, ...]:
    """Return every plain file under *path*, by name, in order of names.

    A link, a pipe or a device is not a file that was left here, and is not followed. A name
    that is not UTF-8 is written with its bytes escaped.
    """
    found = []
    for where, _, names in os.walk(path):
        for name in names:
            file = Path(where) / name
            state = _stat(file)
            if state is None or not stat.S_ISREG(state.st_mode) or not wanted(file):
                continue
            relative = os.path.relpath(file, path).replace(os.sep, "/")
            shown = os.fsencode(relative).decode("utf-8", "backslashreplace")
            found.append(Member(name=shown, path=file))
    return tuple(sorted(found, key=lambda member: member.name))


def left_by_earlier(work: Path) -> dict[str, tuple[Member, ...]]:
    """Return what every attempt under *work* has left, by the name of the attempt."""
    if not work.is_dir():
        return {}
    return {
        folder.name: members(folder)
        for folder in sorted(work.iterdir())
        if folder.is_dir() and not folder.is_symlink() and ".earlier-" not in folder.name
    }


def worth_keeping(path: Path) -> bool:
    """Return whether a file is kept: all are, but for what a step did not say."""
    return (
        path.name in ("stdout", "stderr")
        or path.parent.name != "output"
        or bool(path.stat().st_size)
    )
