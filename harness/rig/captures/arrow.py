"""Pieces of a large text capture taken apart with pyarrow, several at once.

Touches threads. A piece that is anything but a plain, sound table is given to `rows.split`,
so what is refused or void, and why, is decided in one place.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import numpy as np
import pyarrow as pa
from pyarrow import csv as arrow_csv

from harness.rig.captures.rows import Absent, Rows, split
from harness.rig.captures.table import Shape
from harness.rig.captures.trouble import Trouble
from harness.rig.captures.wide import Numbers, Values, as_sequence, as_values

#: Pieces that are taken apart at once: what a reader's machine has at least.
AT_ONCE = 2


def spread(bodies: Iterator[tuple[bytes, int]], shape: Shape) -> Iterator[Rows | Absent]:
    """Take pieces apart, `AT_ONCE` at a time, and give them back in order.

    Raises:
        Trouble: as `rows.split` does.
    """
    waiting: deque[Future[Rows | Absent]] = deque()
    first = next(bodies, None)
    if first is None:
        return
    last: Trouble | None = None
    following = None
    try:
        following = next(bodies, None)
    except Trouble as trouble:
        last = trouble  # what is wrong further up in the file goes first
    if following is None:
        yield take_apart(*first, shape, threads=True)
        if last is not None:
            raise last
        return
    with ThreadPoolExecutor(AT_ONCE, thread_name_prefix="capture") as pool:
        try:
            waiting.append(pool.submit(take_apart, *first, shape))
            while following is not None:
                waiting.append(pool.submit(take_apart, *following, shape))
                if len(waiting) > AT_ONCE:
                    yield waiting.popleft().result()
                try:
                    following = next(bodies, None)
                except Trouble as trouble:
                    last, following = trouble, None
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()
    if last is not None:
        raise last


def take_apart(body: bytes, line: int, shape: Shape, *, threads: bool = False) -> Rows | Absent:
    """Take one piece apart, with pyarrow if it is a plain and sound table.

    *threads* lets pyarrow spread the piece itself: where there is no other to work on.
    """
    rows = None
    if not shape.where and not shape.trailing and _is_plain(body, shape):
        rows = _with_arrow(body, line, shape, threads=threads)
    if rows is not None:
        return rows
    try:
        return split(body, shape, line=line)
    except Absent as absent:
        return absent


def _is_plain(body: bytes, shape: Shape) -> bool:
    style = shape.style
    return not style.thousands and not style.suffix and b'"' not in body


def _with_arrow(body: bytes, line: int, shape: Shape, *, threads: bool = False) -> Rows | None:
    """Return the rows, or None where pyarrow finds anything wrong, or takes what we do not."""
    names = [str(place) for place in range(shape.width)]
    types: dict[str, pa.DataType] = {names[place]: pa.binary() for place in shape.texts}
    types[names[shape.time]] = pa.float64()
    types.update((names[place], pa.int64()) for place in shape.counters)
    try:
        table = arrow_csv.read_csv(
            pa.py_buffer(body),
            read_options=arrow_csv.ReadOptions(
                column_names=names,
                use_threads=threads,
                block_size=max(1 << 16, len(body) // 4) if threads else len(body) + 1,
            ),
            parse_options=arrow_csv.ParseOptions(
                delimiter=shape.delimiter.decode(), quote_char=False, ignore_empty_lines=False
            ),
            convert_options=arrow_csv.ConvertOptions(
                check_utf8=False,
                column_types=types,
                include_columns=list(types),
                null_values=[],
                strings_can_be_null=False,
                decimal_point=shape.style.decimal.decode(),
            ),
        )
    except (pa.ArrowInvalid, pa.ArrowKeyError, UnicodeDecodeError):
        return None
    times = _array(table[names[shape.time]])
    counters = [Numbers(_array(table[names[place]])) for place in shape.counters]
    # pyarrow takes nan, inf and 1e400 for numbers, and 0x1A for a whole one.
    if not len(times) or not np.isfinite(times).all() or (counters and b"x" in body):
        return None
    return Rows(
        times=as_sequence(times),
        counters=counters,
        kinds=None if shape.kinds_column is None else table[names[shape.kinds_column]].to_pylist(),
        watched={place: table[names[place]].to_pylist() for place in shape.watched},
        first_line=line,
    )


def _array(column: pa.ChunkedArray) -> np.ndarray[Any, Any]:
    # Not to_numpy(): that imports pandas where it is installed.
    chunks = [np.from_dlpack(chunk) for chunk in column.chunks]
    return chunks[0] if len(chunks) == 1 else np.concatenate(chunks)


def numbers_of(column: pa.Array) -> Values:
    """Return a column of numbers as floats, nulls left out."""
    return as_values(np.from_dlpack(column.drop_null().cast(pa.float64())))


def whole_numbers_of(column: pa.Array) -> np.ndarray[Any, Any]:
    """Return a column of whole numbers without nulls as they are, to the last digit."""
    return np.from_dlpack(column.cast(pa.int64()))
