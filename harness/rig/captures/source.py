"""Bytes of a capture, block by block, out of whatever is wrapped around them.

Touches disk. gzip and zstd are recognised by their first bytes (RFC 1952, RFC 8878), never
by the name of the file. A compressed file that ends early is void like a table that does.
"""

from __future__ import annotations

from harness.rig.captures.trouble import AGAIN, Trouble

TYPE_CHECKING = False
if TYPE_CHECKING:
    import io
    from collections.abc import Callable, Iterator
    from typing import BinaryIO, Protocol

    class Hasher(Protocol):
        """What is told every byte of the file as it lies on disk."""

        def update(self, data: bytes, /) -> None:
            """Take the next bytes."""

    class Unpacker(Protocol):
        """One member of a compressed file."""

        def decompress(self, data: bytes, /) -> bytes:
            """Return what the next bytes open up to."""

        @property
        def eof(self) -> bool:
            """Return whether the member is complete, its checksum agreed."""

        @property
        def unused_data(self) -> bytes:
            """Return what stands after it."""


BLOCK_BYTES = 8 << 20  #: a capture of as many is large, and is read in pieces of as many
_FEED_BYTES = 1 << 18  #: compressed bytes taken at once: they may open up a hundredfold

GZIP = b"\x1f\x8b"
ZSTD = b"\x28\xb5\x2f\xfd"


def open_file(path: str) -> io.BufferedReader:
    """Return *path*, open.

    Raises:
        Trouble: it is not there, is no plain file, or may not be read.
    """
    import os
    import stat

    try:
        # Asked first: a pipe would be waited at for whoever writes to it.
        plain = stat.S_ISREG(os.stat(path).st_mode)  # noqa: PTH116 - pathlib costs its import
        file = open(path, "rb") if plain else None  # noqa: SIM115, PTH123 - the caller closes it
    except OSError as error:
        raise Trouble(
            "capture-missing",
            f"{path} cannot be opened: {error.strerror or error}",
            do="name the file that the title wrote",
        ) from error
    if file is None:
        raise Trouble(
            "capture-missing",
            f"{path} is not a plain file",
            do="name the file that the title wrote",
        )
    return file


def raw_blocks(file: BinaryIO, hasher: Hasher | None, *, size: int) -> Iterator[bytes]:
    """Yield the bytes of *file* as they lie on disk, *size* at a time, telling *hasher*.

    Raises:
        Trouble: the file cannot be read.
    """
    while block := _read(file, size):
        if hasher is not None:
            hasher.update(block)
        yield block


def _read(file: BinaryIO, size: int) -> bytes:
    try:
        return file.read(size)
    except OSError as error:
        raise Trouble(
            "capture-missing",
            f"the file cannot be read: {error.strerror or error}",
            do="see that the disk is sound, and that this is the file that the title wrote",
        ) from error


def blocks(file: BinaryIO, hasher: Hasher | None) -> Iterator[bytes]:
    """Yield the bytes of the capture itself, at most about `BLOCK_BYTES` at a time.

    Raises:
        Trouble: the file cannot be read; the compressed file is damaged or ends early.
    """
    head = _read(file, 4)
    file.seek(0)
    if head[:2] == GZIP:
        return _unpacked(raw_blocks(file, hasher, size=_FEED_BYTES), _gzip_member, "gzip")
    if head == ZSTD:
        return _unpacked(raw_blocks(file, hasher, size=_FEED_BYTES), _zstd_frame, "zstd")
    return raw_blocks(file, hasher, size=BLOCK_BYTES)


def _gzip_member() -> Unpacker:
    import zlib

    return zlib.decompressobj(wbits=31)


def _zstd_frame() -> Unpacker:
    import zstandard

    unpacker: Unpacker = zstandard.ZstdDecompressor().decompressobj()
    return unpacker


def _unpacked(raw: Iterator[bytes], member: Callable[[], Unpacker], name: str) -> Iterator[bytes]:
    """Yield what the members of a compressed file hold, joined to blocks."""
    unpacker: Unpacker | None = None
    held: list[bytes] = []
    held_bytes = 0
    for block in raw:
        data = block
        while data:
            if unpacker is None:
                unpacker = member()
            piece = _opened(unpacker, data, name)
            data = b""
            if unpacker.eof:
                data = unpacker.unused_data
                unpacker = None
            held.append(piece)
            held_bytes += len(piece)
        if held_bytes >= BLOCK_BYTES:
            yield b"".join(held)
            held, held_bytes = [], 0
    if held_bytes:
        yield b"".join(held)
    if unpacker is not None:
        raise Trouble(
            "truncated", f"the {name} file ends before what it holds is complete", do=AGAIN
        )


def _opened(unpacker: Unpacker, data: bytes, name: str) -> bytes:
    import zlib

    failures: tuple[type[Exception], ...] = (zlib.error,)
    if name == "zstd":
        import zstandard

        failures = (zstandard.ZstdError,)
    try:
        return unpacker.decompress(data)
    except failures as failure:
        raise Trouble(
            "damaged-capture", f"the {name} file is damaged: {failure}", do=AGAIN
        ) from failure
