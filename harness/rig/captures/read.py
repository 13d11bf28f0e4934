"""A capture file and its declarations -> the capture. The one door of this package.

Touches disk.
"""

from __future__ import annotations

import sys

from harness.rig.captures import source
from harness.rig.captures.gather import Capture, Gather
from harness.rig.captures.readers import reader_of
from harness.rig.captures.trouble import Trouble

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from harness.rig.captures.assembly import Part
    from harness.rig.captures.declared import Declared


def read_capture(
    path: str,
    declared: Declared,
    *,
    part: Part | None = None,
    hasher: source.Hasher | None = None,
    with_pyarrow: bool | None = None,
) -> Capture:
    """Read one capture. Whatever is wrong with it is in the answer, never raised.

    Args:
        path: The file.
        declared: How it is to be read.
        part: What is cut out of it.
        hasher: Told every byte of the file as it lies on disk; for a capture that is refused
            only those that were read.
        with_pyarrow: Whether pyarrow is used; None: for a large capture if it is installed, for
            any if it is loaded already.
    """
    gather = Gather(declared, part=part)
    try:
        with source.open_file(path) as file:
            blocks = source.blocks(file, hasher)
            first = next(blocks, b"")
            large = len(first) >= source.BLOCK_BYTES
            wide = _wide(large=large) if with_pyarrow is None else with_pyarrow
            if large or wide:
                gather = _large(declared, part, wide=wide)
            with gather:
                reader_of(first).read(_again(first, blocks), gather)
                return gather.result()
    except Trouble as found:
        return Capture(times=None, troubles=(found,), notes=())


def _again(first: bytes, blocks: Iterator[bytes]) -> Iterator[bytes]:
    if first:
        yield first
    yield from blocks


def _wide(*, large: bool) -> bool:
    """Return whether pyarrow is used: for a large capture, or where it is loaded anyway."""
    if not large:
        return "pyarrow.csv" in sys.modules and "numpy" in sys.modules
    from importlib.util import find_spec

    return find_spec("pyarrow") is not None and find_spec("numpy") is not None


def _large(declared: Declared, part: Part | None, *, wide: bool) -> Gather:
    """Return what gathers a large capture: in bounded memory, quickly where it can be."""
    from harness.rig.captures.spill import Spill

    spill = Spill()
    if not wide:
        return Gather(declared, part=part, spill=spill)
    from harness.rig.captures import arrow
    from harness.rig.captures import wide as arithmetic

    return Gather(declared, part=part, spill=spill, arithmetic=arithmetic, spread=arrow.spread)
