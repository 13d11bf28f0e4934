"""The readers of captures: one line each. A new carrier is a module, a line and a test.

Pure. A carrier is told by its first bytes, never by the name of the file. What is none of
the others is text of CSV-like shape.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.gather import Gather


class Reader:
    """One carrier of frame times.

    Args:
        name: What it is called.
        begins: What tells it by the first bytes of the file, unpacked.
        module: The module in this package whose ``read(blocks, gather)`` reads it.
    """

    __slots__ = ("begins", "module", "name")

    def __init__(self, name: str, *, begins: Callable[[bytes], bool], module: str) -> None:
        self.name = name
        self.begins = begins
        self.module = module

    def read(self, blocks: Iterator[bytes], gather: Gather) -> None:
        """Read a capture into *gather*."""
        from importlib import import_module

        import_module(f"harness.rig.captures.{self.module}").read(blocks, gather)


def _is_json_lines(head: bytes) -> bool:
    return head.removeprefix(b"\xef\xbb\xbf")[:64].lstrip(b" \t\r\n")[:1] == b"{"


#: In the order in which they are asked; the last takes everything.
READERS: tuple[Reader, ...] = (
    Reader("Parquet", begins=lambda head: head[:4] == b"PAR1", module="columnar"),
    Reader("Arrow", begins=lambda head: head[:6] == b"ARROW1", module="columnar"),
    Reader("JSON lines", begins=_is_json_lines, module="json_lines"),
    Reader("delimited text", begins=lambda _: True, module="delimited"),
)


def reader_of(head: bytes) -> Reader:
    """Return the reader of a capture that begins with *head*."""
    return next(reader for reader in READERS if reader.begins(head))
