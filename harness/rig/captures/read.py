"""A capture file and its declarations -> the capture. The one door of this package.

Touches disk.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from harness.rig.captures import source, trouble
from harness.rig.captures.gather import Capture, Gather
from harness.rig.captures.readers import reader_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from harness.rig.captures.assembly import Part
    from harness.rig.captures.declared import Declared

LARGE_BYTES = 8 << 20  #: from here on a capture is read with pyarrow, where it is installed


def read_capture(
    path: str,
    declared: Declared,
    *,
    part: Part | None = None,
    hasher: source.Hasher | None = None,
    with_pyarrow: bool | None = None,
) -> Capture:
    """Read one capture.

    Args:
        path: The file.
        declared: How it is to be read.
        part: What is cut out of it.
        hasher: Told every byte of the file as it lies on disk.
        with_pyarrow: Whether a large capture is read with pyarrow; None: if it is installed.

    Returns:
        The capture; it may be void, which ``voids`` says.

    Raises:
        CaptureError: the capture is refused: a declaration must be put right first.
    """
    try:
        with source.open_file(path) as file:
            blocks = source.blocks(file, hasher)
            first = next(blocks, b"")
            large = len(first) > LARGE_BYTES
            gather = _gather(declared, part, large=large, with_pyarrow=with_pyarrow)
            reader_of(first).read(_again(first, blocks), gather)
            return gather.result()
    except trouble.Trouble as found:
        if found.void:
            return Capture(times=None, voids=(found,), notes=())
        raise trouble.error((found,), file=path) from found


def _again(first: bytes, blocks: Iterator[bytes]) -> Iterator[bytes]:
    if first:
        yield first
    yield from blocks


def _gather(
    declared: Declared, part: Part | None, *, large: bool, with_pyarrow: bool | None
) -> Gather:
    if not large:
        return Gather(declared, part=part)
    raise NotImplementedError
