"""The files of one title in one pass: put before it, watched over it, given back after it.

Touches disk. A watched file that changed during the pass was changed by the title, or by a
patch: what was measured is then not what was asked for.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from harness.plan.document import Files
from harness.rig.originals import FileTrouble, Originals, Paid
from harness.rig.placeholders import filled

_SHOWN_DIGITS = 12  # of a hash in a message


class TitleFiles:
    """What a plan says of a title's files, for one pass.

    Args:
        files: The plan's entry; None: it says nothing.
        folder: What relative paths are relative to.
        values: For the ``{…}`` of the paths.
        originals: Keeps what is lent.
        owner: The name of the attempt.
    """

    def __init__(
        self,
        files: Files | None,
        *,
        folder: Path,
        values: Mapping[str, str],
        originals: Originals,
        owner: str,
    ) -> None:
        self._files, self._folder, self._values = files, folder, values
        self._originals, self._owner = originals, owner
        self._before: dict[str, str] = {}

    def put(self) -> None:
        """Put the files in place.

        Raises:
            FileTrouble: one cannot be put; those before it are in place, and owed.
        """
        if self._files is None:
            return
        for source, target in self._files.put:
            self._originals.put(
                self._path(source),
                self._path(target),
                owner=self._owner,
                give_back=self._files.give_back,
            )

    def look(self) -> None:
        """Note the content of the watched files, just before the title starts.

        Raises:
            FileTrouble: one is not there, or cannot be read.
        """
        for name in self._files.watch if self._files is not None else ():
            path = self._path(name)
            if not path.is_file():
                what = "is no plain file" if path.exists() else "is not there"
                raise FileTrouble(f"{path} is to be watched and {what}")
            try:
                self._before[name] = digest(path)
            except OSError as error:
                raise FileTrouble(f"{path} cannot be read: {error.strerror}") from error

    def changed(self) -> tuple[str, ...]:
        """Return in words which watched files are not what they were when the title started."""
        words = []
        for name, before in self._before.items():
            path = self._path(name)
            try:
                now = digest(path)
            except OSError as error:
                gone = isinstance(error, FileNotFoundError)
                words.append(f"{path} {'is gone' if gone else f'cannot be read: {error.strerror}'}")
                continue
            if now != before:
                was, is_ = before[:_SHOWN_DIGITS], now[:_SHOWN_DIGITS]
                words.append(f"{path} changed (sha256 was {was}…, is {is_}…)")
        return tuple(words)

    def give_back(self) -> Paid:
        """Give back what was lent; nothing is done where nothing was."""
        if self._files is None or not self._files.put:
            return Paid()
        return self._originals.pay()

    def _path(self, text: str) -> Path:
        return self._folder / filled((text,), self._values)[0]


def digest(path: Path) -> str:
    """Return the SHA-256 of a file's content, 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def settings_files(files: Files | None, *, folder: Path) -> Sequence[tuple[str, Path]]:
    """Return the files whose content a title's settings come from, with names to show.

    These are what is put in place, and what is watched and not put: both must stay what they
    are between passes. Where a name holds ``{…}``, every file that it may stand for counts.
    """
    if files is None:
        return ()
    targets = {target for _, target in files.put}
    names = dict.fromkeys(
        (*(source for source, _ in files.put), *(w for w in files.watch if w not in targets))
    )
    return tuple(pair for name in names for pair in _standing_for(name, folder))


def _standing_for(name: str, folder: Path) -> list[tuple[str, Path]]:
    plain = name.replace("{{", "\0").replace("}}", "\1")
    if "{" not in plain:
        text = plain.replace("\0", "{").replace("\1", "}")
        return [(text, folder / text)]
    parts = re.split(r"\{[^{}]*\}", plain)
    pattern = "*".join(re.sub(r"([*?\[])", r"[\1]", part) for part in parts)
    pattern = pattern.replace("\0", "{").replace("\1", "}")
    anchor = Path(Path(pattern).anchor) if Path(pattern).is_absolute() else folder
    inner = os.path.relpath(pattern, anchor) if Path(pattern).is_absolute() else pattern
    return [(os.path.relpath(path, folder), path) for path in sorted(anchor.glob(inner))]
