"""Holds and releases, as files in the folder of the rig's own state.

Touches disk. A file is written once and never changed: a hold stands from the moment its
file is there until the file of its release is. They bind every plan and every store on this
rig, also after a power cut: each file and its folder are synced before ``hold`` returns.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from harness.errors import Problem, RigError
from harness.rig.hold import Hold, Release

TYPE_CHECKING = False  # as typing has it: this module must be quick to import
if TYPE_CHECKING:
    from typing import TypeVar

    _Event = TypeVar("_Event", Hold, Release)

_PLAIN = r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}"  # compiled where it is first used


class Holds:
    """The holds of one rig.

    Args:
        folder: The folder of the rig's own state.
    """

    def __init__(self, folder: Path) -> None:
        self._holds, self._releases = folder / "holds", folder / "releases"

    def standing(self) -> tuple[Hold, ...]:
        """Return the holds that stand, oldest first.

        A file that cannot be read is a hold too: the rig is held rather than trusted.
        """
        released = {release.hold for release in self.releases()}
        names = {_file_name(each) for each in released}
        found = []
        for path in _files(self._holds):
            hold = _read(path, Hold) or Hold(
                id=path.stem,
                run="",
                reason=f"the file of a hold cannot be read: {path}",
                do="look at the file, put right what it speaks of, and release the hold",
                at="",
            )
            if hold.id not in released and path.name not in names:
                found.append(hold)
        return tuple(sorted(found, key=lambda hold: (hold.at, hold.id)))

    def releases(self) -> tuple[Release, ...]:
        """Return every release, oldest first. A file that cannot be read releases nothing."""
        found = (_read(path, Release) for path in _files(self._releases))
        readable = (release for release in found if release is not None)
        return tuple(sorted(readable, key=lambda release: (release.at, release.hold)))

    def hold(self, hold: Hold) -> None:
        """Make a hold stand, durably; holding twice under one id is one hold."""
        _keep(self._holds, hold.id, hold)

    def release(self, release: Release) -> None:
        """Lift one hold, durably; releasing twice is one release."""
        _keep(self._releases, release.hold, release)


def _file_name(id_: str) -> str:
    if re.fullmatch(_PLAIN, id_):
        return f"{id_}.json"
    import hashlib  # takes long to import, and is rarely needed

    return f"x-{hashlib.sha256(id_.encode()).hexdigest()[:32]}.json"


def _files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.json")) if folder.is_dir() else []


def _read(path: Path, kind: type[_Event]) -> _Event | None:
    import json

    try:
        found = json.loads(path.read_bytes())
        if not all(isinstance(value, str) for value in found.values()):
            return None
        return kind(**found)
    except (OSError, ValueError, TypeError, AttributeError):
        return None


def _keep(folder: Path, id_: str, event: Hold | Release) -> None:
    """Write the file of *event* once: complete and durable, or not at all."""
    import json

    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / _file_name(id_)
        if path.exists():
            return
        unfinished = folder / f".{path.name}.{os.getpid()}"
        text = json.dumps(event.as_dict(), ensure_ascii=False, indent=1).encode() + b"\n"
        descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        try:
            os.write(descriptor, text)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        unfinished.rename(path)
        _sync(folder)
        _sync(folder.parent)
    except OSError as error:
        raise RigError(
            Problem(
                code="rig-folder",
                what=f"the rig's own state cannot be kept: {error.strerror}",
                where=(str(folder),),
                do="make room, or let whoever runs the plans write there; the rig must not go on",
            )
        ) from error


def _sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
