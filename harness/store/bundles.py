"""One bundle for each attempt: its captures, output and readings, byte for byte, for ever.

Touches disk. A bundle is a tar archive (POSIX pax) in a zstandard frame (RFC 8878), so that
``tar --zstd -xf`` opens it anywhere. It holds ``attempt.json`` (which attempt, and the
how-manieth bundle with this very content), the files, and ``SHA256SUMS``, which ``sha256sum
-c`` checks. Nothing in it depends on who writes it, or when.

A bundle is called ``bundles/RUN/ATTEMPT.SHA256.tar.zst`` after the hash of the whole file.
It is written under another name, synced, renamed, and its folder synced: two fsyncs. A
bundle that no record names (the runner died between the two) is an *orphan*: the next runner
finds the same files where the attempt left them and names it; one that it cannot tell to be
the same is listed, and stays.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import json
import re
import stat
import tarfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import BinaryIO, cast

import zstandard

from harness.errors import Problem, StoreError
from harness.rig.tasks import Member
from harness.run.records import BundleRef
from harness.store.files import Files

_CHUNK_BYTES = 1 << 18
#: Of zstandard. Frame logs shrink to 0.38 to 0.44, as they do at level 3 in twice the time.
_LEVEL = 1
_ATTEMPT, _SUMS = "attempt.json", "SHA256SUMS"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")


class Bundles:
    """The bundles of one run.

    Args:
        folder: The store's folder.
        run: The run.
        files: The disk.
    """

    def __init__(self, folder: Path, *, run: str, files: Files) -> None:
        self._folder, self._run, self._files = folder, run, files

    @property
    def relative(self) -> str:
        """Return where the bundles lie, relative to the store's folder."""
        return f"bundles/{self._run}"

    def make_folder(self) -> None:
        """Make the folder of the run's bundles, durably."""
        self._files.make_folder(self._folder / self.relative)

    def keep(
        self,
        name: str,
        members: Sequence[Member],
        *,
        orphan: Callable[[str], bool] = lambda path: False,
    ) -> BundleRef:
        """Keep *members* as a bundle of the attempt *name*, durably, before returning.

        Memory does not grow with the size of the files.

        Args:
            name: The attempt's.
            members: Its files.
            orphan: Whether the bundle at a path was left by a runner that died before it
                could name it: where it has this very content, it is taken up, not doubled.

        Raises:
            StoreError: The disk is full or failed, or a file cannot be read, or changed
                while it was kept. No bundle is left half-written under its name.
            ValueError: A name does not stay within the bundle, or comes twice.
        """
        _check_names(name, members)
        folder = self._folder / self.relative
        part = folder / f".{name}.part"
        try:
            with self._files.create(part) as file:
                ref = self._write_new(file, name, members, orphan)
                self._files.sync(file)
            self._files.replace(part, self._folder / ref.path)
            self._files.sync_folder(folder)
        except OSError as error:
            with contextlib.suppress(OSError):
                self._files.remove(part)
            raise _not_kept(name, folder, error) from error
        return ref

    def _write_new(
        self,
        file: BinaryIO,
        name: str,
        members: Sequence[Member],
        orphan: Callable[[str], bool],
    ) -> BundleRef:
        """Write a bundle whose very content was not kept before: a copy has a number."""
        copy = 1
        while True:
            sha256, kept = self._write(file, name, copy, members)
            path = f"{self.relative}/{name}.{sha256}.tar.zst"
            if not self._files.exists(self._folder / path) or orphan(path):
                return BundleRef(path=path, sha256=sha256, members=kept)
            copy += 1
            file.seek(0)
            file.truncate()

    def _write(
        self, file: BinaryIO, name: str, copy: int, members: Sequence[Member]
    ) -> tuple[str, tuple[tuple[str, str, int], ...]]:
        """Write a bundle; return its hash, and the name, hash and size of each member."""
        label = json.dumps(
            {"schema": "harness.bundle/1", "run": self._run, "attempt": name, "copy": copy}
        )
        out = _HashingWriter(file)
        compressor = zstandard.ZstdCompressor(level=_LEVEL, write_checksum=True)
        with (
            compressor.stream_writer(cast(BinaryIO, out), closefd=False) as frame,
            tarfile.open(
                fileobj=cast(BinaryIO, frame),
                mode="w|",
                format=tarfile.PAX_FORMAT,
                bufsize=_CHUNK_BYTES,
            ) as tar,
        ):
            _add_text(tar, _ATTEMPT, label + "\n")
            kept = tuple([self._add(tar, member) for member in members])
            sums = "".join(_sum_line(sha256, member) for member, sha256, _ in kept)
            _add_text(tar, _SUMS, sums)
        return out.sha256.hexdigest(), kept

    def _add(self, tar: tarfile.TarFile, member: Member) -> tuple[str, str, int]:
        status = member.path.stat()  # before it is opened: opening a pipe would wait for ever
        if not stat.S_ISREG(status.st_mode):
            raise OSError(errno.EINVAL, "not a plain file", str(member.path))
        with self._files.open(member.path) as source:
            reader = _HashingReader(source)
            tar.addfile(
                _header(member.name, status.st_size, int(status.st_mtime)), cast(BinaryIO, reader)
            )
            if source.read(1):
                raise OSError(errno.EAGAIN, "grew while it was kept", str(member.path))
        return member.name, reader.sha256.hexdigest(), status.st_size

    def found(self) -> tuple[str, ...]:
        """Return the paths of all bundles on disk, relative to the store's folder."""
        names = self._files.names(self._folder / self.relative)
        return tuple(f"{self.relative}/{n}" for n in names if n.endswith(".tar.zst"))

    def unfinished(self) -> tuple[str, ...]:
        """Return the paths of bundles that were never finished; their files lie elsewhere."""
        names = self._files.names(self._folder / self.relative)
        return tuple(f"{self.relative}/{n}" for n in names if n.endswith(".part"))


def _check_names(name: str, members: Sequence[Member]) -> None:
    if not _NAME.fullmatch(name):
        raise ValueError(f"not the name of an attempt: {name!r}")
    seen = {_ATTEMPT, _SUMS}
    for member in members:
        parts = member.name.split("/")
        if member.name in seen or "\0" in member.name or {"", ".", ".."} & set(parts):
            raise ValueError(f"not a name within a bundle, or there twice: {member.name!r}")
        seen.add(member.name)


def _header(name: str, size: int, modified_s: int) -> tarfile.TarInfo:
    info = tarfile.TarInfo(name)
    info.size, info.mtime, info.mode = size, modified_s, 0o644
    return info


def _add_text(tar: tarfile.TarFile, name: str, text: str) -> None:
    content = text.encode("utf-8", "surrogateescape")
    tar.addfile(_header(name, len(content), 0), io.BytesIO(content))


def _sum_line(sha256: str, name: str) -> str:
    """Return a line as ``sha256sum`` writes it, with its escapes."""
    plain = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    return f"{'' if plain == name else chr(92)}{sha256}  {plain}\n"


def _not_kept(name: str, folder: Path, error: OSError) -> StoreError:
    full = error.errno in (errno.ENOSPC, errno.EDQUOT)
    return StoreError(
        Problem(
            code="store-full" if full else "bundle-not-kept",
            what=f"the files of attempt {name} could not be kept: {error.strerror}",
            where=tuple(str(place) for place in (error.filename, folder) if place),
            do=(
                "free space there, then give the same command again"
                if full
                else "look at that file and at the disk, then give the same command again"
            )
            + "; everything kept before is safe, and the attempt's files are where it left them",
        )
    )


class _HashingWriter:
    """Passes bytes on to a file and hashes them."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self.sha256 = file, hashlib.sha256()

    def write(self, data: bytes) -> int:
        self.sha256.update(data)
        return self._file.write(data)

    def flush(self) -> None:
        self._file.flush()


class _HashingReader:
    """Reads from a file and hashes what it reads."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self.sha256 = file, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        data = self._file.read(size)
        self.sha256.update(data)
        return data
