"""Reading a bundle back: one member as a stream, or all of it to be checked.

Touches disk.
"""

from __future__ import annotations

import hashlib
import io
import tarfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import IO, BinaryIO, cast

import zstandard

from harness.errors import Problem, StoreError
from harness.run.records import BundleRef
from harness.store.files import Files

_CHUNK_BYTES = 1 << 18


@contextmanager
def open_member(folder: Path, ref: BundleRef, name: str, *, files: Files) -> Iterator[BinaryIO]:
    """Open one member of a bundle for reading, as a stream; *folder* is the store's.

    At its end the bytes read are held against the member's hash.

    Raises:
        StoreError: The bundle is missing or damaged, or the bytes are not those kept.
        KeyError: The bundle has no such member.
    """
    wanted = {member: (sha256, size) for member, sha256, size in ref.members}[name]
    with _reading(folder, ref, files) as tar:
        for info in tar:
            if info.name == name:
                yield _checking(tar, info, ref, *wanted)
                return
    raise damaged(ref, f"{name} is not in it")


def check_bundle(folder: Path, ref: BundleRef, *, files: Files, read: bool = True) -> None:
    """Read a bundle through and hold it, and every member, against the hashes kept.

    Without *read* it is only seen whether it is there.

    Raises:
        StoreError: It is missing, or is not what was kept.
    """
    whole = hashlib.sha256()
    with _opened(folder, ref, files) as file:
        if not read:
            return
        while chunk := file.read(_CHUNK_BYTES):
            whole.update(chunk)
    if whole.hexdigest() != ref.sha256:
        raise damaged(ref, f"its SHA-256 is {whole.hexdigest()}")
    missing = {name: (sha256, size) for name, sha256, size in ref.members}
    with _reading(folder, ref, files) as tar:
        for info in tar:
            if info.name in missing:
                _drain(_checking(tar, info, ref, *missing.pop(info.name)))
    for name in missing:
        raise damaged(ref, f"{name} is not in it")


def _checking(
    tar: tarfile.TarFile, info: tarfile.TarInfo, ref: BundleRef, sha256: str, size: int
) -> BinaryIO:
    source = tar.extractfile(info)
    if source is None:
        raise damaged(ref, f"{info.name} is not a file")
    return cast(BinaryIO, io.BufferedReader(_Checking(source, ref, info.name, sha256, size)))


def _drain(file: BinaryIO) -> None:
    while file.read(_CHUNK_BYTES):
        pass


def damaged(ref: BundleRef, what: str) -> StoreError:
    """Return the error for a bundle that is not what was kept."""
    return StoreError(
        Problem(
            code="bundle-damaged",
            what=f"a bundle is not what was kept: {what}",
            where=(ref.path, f"kept with SHA-256 {ref.sha256}"),
            do="put it back from a copy of the store; the records that name it are unharmed",
        )
    )


@contextmanager
def _opened(folder: Path, ref: BundleRef, files: Files) -> Iterator[BinaryIO]:
    try:
        file = files.open(folder / ref.path)
    except FileNotFoundError:
        raise StoreError(
            Problem(
                code="bundle-missing",
                what="a bundle that a record names is not there",
                where=(ref.path,),
                do="put it back from a copy of the store",
            )
        ) from None
    with file:
        yield file


@contextmanager
def _reading(folder: Path, ref: BundleRef, files: Files) -> Iterator[tarfile.TarFile]:
    with _opened(folder, ref, files) as file:
        try:
            frame = zstandard.ZstdDecompressor().stream_reader(file, closefd=False)
            with closing(frame), tarfile.open(fileobj=cast(BinaryIO, frame), mode="r|") as tar:
                yield tar
        except (zstandard.ZstdError, tarfile.TarError, EOFError) as error:
            raise damaged(ref, str(error)) from error


class _Checking(io.RawIOBase):
    """Reads a member, and holds it against its hash and size at the end."""

    def __init__(
        self, source: IO[bytes], ref: BundleRef, name: str, sha256: str, size: int
    ) -> None:
        self._source, self._ref, self._name = source, ref, name
        self._wanted, self._size = sha256, size
        self._sha256, self._read = hashlib.sha256(), 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview, /) -> int:  # type: ignore[override]
        data = self._source.read(len(buffer))
        buffer[: len(data)] = data
        self._sha256.update(data)
        self._read += len(data)
        if not data and (self._read, self._sha256.hexdigest()) != (self._size, self._wanted):
            raise damaged(self._ref, f"{self._name} does not have the SHA-256 {self._wanted}")
        return len(data)
