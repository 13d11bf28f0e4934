"""Whether a Parquet file of the archive is whole, without reading a row of it.

Touches disk: reads, changes nothing. A file begins and ends with the four bytes ``PAR1``;
before the last four stands the length of the footer, little-endian, and before that the
footer itself (Apache Parquet format, "File format").
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from harness.errors import Problem

#: Where the archive lies in a store's folder.
ARCHIVE = "archive"

_MAGIC = b"PAR1"
_LEAST_BYTES = 12  # magic, length of the footer, magic


def archive_files(folder: Path) -> tuple[Path, ...]:
    """Return the Parquet files of the archive of the store in *folder*, sorted."""
    return tuple(sorted((folder / ARCHIVE).rglob("*.parquet")))


def footer_problems(paths: Iterator[Path] | tuple[Path, ...]) -> Iterator[Problem]:
    """Yield an error for each of *paths* that is not a whole Parquet file."""
    for path in paths:
        what = _fault(path)
        if what is not None:
            yield Problem(
                code="archive-damaged",
                what=f"a file of the archive is not whole: {what}",
                where=(str(path),),
                do="remove that file and give `harness archive`: it makes the file again from "
                "the captures, which are unharmed",
            )


def _fault(path: Path) -> str | None:
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            if size < _LEAST_BYTES:
                return f"it has {size} bytes"
            head = file.read(4)
            file.seek(-8, os.SEEK_END)
            tail = file.read(8)
    except OSError as error:
        return error.strerror or str(error)
    if head != _MAGIC or tail[4:] != _MAGIC:
        return "it does not begin and end as a Parquet file does"
    footer = int.from_bytes(tail[:4], "little")
    if footer + _LEAST_BYTES > size:
        return f"its footer would have {footer} bytes, and the file has {size}"
    return None
