"""Frame logs of Parquet and Arrow files: a column with a name and a type.

Touches disk: a file that was compressed as a whole is unpacked into a temporary one. Reading
needs pyarrow, which the extra ``analysis`` installs.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from itertools import chain

from harness.rig.captures import columns
from harness.rig.captures.names import SAMPLE_ROWS, counts, may_count, may_mix
from harness.rig.captures.rows import Absent, Rows
from harness.rig.captures.trouble import AGAIN, Trouble, listed, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import IO, Any

    from harness.rig.captures.counter import Count
    from harness.rig.captures.gather import Gather

_BATCH_ROWS = 1 << 19


def read(blocks: Iterator[bytes], gather: Gather) -> None:
    """Read a Parquet or Arrow file into *gather*.

    Raises:
        Trouble: the file cannot be read as it was declared, or pyarrow is not installed.
    """
    try:
        import pyarrow as pa
    except ImportError as error:
        raise Trouble(
            "library-missing",
            "Parquet and Arrow files are read with pyarrow, which is not installed",
            do="install the extra: pip install 'bench-harness[analysis]'",
        ) from error
    first = next(blocks)
    with tempfile.TemporaryFile(prefix="harness-capture-") as file:
        for block in chain((first,), blocks):
            file.write(block)
        file.seek(0)
        try:
            _read(pa, file, gather, parquet=first[:4] == b"PAR1")
        except (pa.ArrowException, OSError, EOFError) as error:
            raise Trouble(
                "damaged-capture", f"pyarrow cannot read the file: {error}", do=AGAIN
            ) from error


def _read(pa: Any, file: IO[bytes], gather: Gather, *, parquet: bool) -> None:
    if parquet:
        from pyarrow import parquet as pq

        rows = pq.ParquetFile(file)
        schema = rows.schema_arrow
    else:
        from pyarrow import ipc

        rows = ipc.open_file(file)
        schema = rows.schema
    declared = gather.declared
    names: list[str] = list(schema.names)

    def find(wanted: str, what: str) -> str:
        return names[columns.find(names, wanted, what=what, line=None, text=None)]

    time = names[columns.time_column(names, declared, line=None, text=None)]
    unit = columns.unit_of(time if isinstance(declared.column, str | None) else None, declared)
    if unit is None:
        raise Trouble(
            "unit-missing",
            f"the unit of column {shown(time)} was not declared, and its name does not say it",
            do="declare unit s, ms, us or ns",
        )
    where = tuple((find(name, "where"), value) for name, value in declared.where)
    kinds = find(declared.kinds_column, "kinds") if declared.kinds_column else None
    watched = tuple(
        name
        for name in names
        if name not in {time, kinds, *(key for key, _ in where)} and may_mix(name)
    )
    counters = tuple(
        name
        for name in names
        if name != time and may_count(name) and _numeric(pa, schema.field(name).type)
    )
    if declared.counter:
        counters = (find(declared.counter, "counter"),)
    _check_type(pa, schema.field(time))
    wanted = list(dict.fromkeys((time, kinds, *counters, *watched, *(key for key, _ in where))))
    chosen = [name for name in wanted if name is not None]
    batches = iter(
        rows.iter_batches(batch_size=_BATCH_ROWS, columns=chosen)
        if parquet
        else (rows.get_batch(place) for place in range(rows.num_record_batches))
    )
    first = next(batches, None)
    if not declared.counter and first is not None:
        head = first.slice(0, SAMPLE_ROWS)
        counters = tuple(
            name for name in counters if counts(name, _wholes(head, name), _mask(head, where))
        )
    gather.begin(unit=unit, column=time, counters=counters, watched=dict(enumerate(watched)))
    for batch in batches if first is None else chain((first,), batches):
        try:
            gather.add(_rows(pa, batch, time, kinds, counters, watched, where))
        except Absent as absent:
            gather.absent(absent)


def _numeric(pa: Any, kind: Any) -> bool:
    return bool(pa.types.is_integer(kind) or pa.types.is_floating(kind))


def _wholes(batch: Any, name: str) -> list[int | None]:
    return [
        int(value) if value is not None and value == value // 1 else None
        for value in batch.column(name).to_pylist()
    ]


def _mask(batch: Any, where: tuple[tuple[str, str], ...]) -> list[bool] | None:
    """Return which rows count; None: all do."""
    if not where:
        return None
    texts = {key: _texts(batch, key) for key, _ in where}
    return [
        all(texts[key][row] == value.encode() for key, value in where)
        for row in range(batch.num_rows)
    ]


def _check_type(pa: Any, field: Any) -> None:
    kind = field.type
    if not (pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_decimal(kind)):
        raise Trouble(
            "not-a-number",
            f"column {shown(field.name)} holds {kind}, not numbers",
            do=f"declare a column of numbers; the columns are {listed([field.name])}",
        )


def _rows(
    pa: Any,
    batch: Any,
    time: str,
    kinds: str | None,
    counters: tuple[str, ...],
    watched: tuple[str, ...],
    where: tuple[tuple[str, str], ...],
) -> Rows:
    from harness.rig.captures import arrow, wide

    mask = _mask(batch, where)
    passed_over: list[bytes] = []
    kept = batch
    if mask is not None:
        kept = batch.filter(pa.array(mask))
        texts = _texts(batch, where[0][0])
        passed_over = [text for text, counted in zip(texts, mask, strict=True) if not counted]
    column = kept.column(time)
    numbers = arrow.numbers_of(column)
    if column.null_count or not wide.finite(numbers):
        kinds_absent = wide.absent_kinds(column.null_count, numbers)
        raise Absent(kinds_absent, line=None, text=b"")
    return Rows(
        times=wide.as_sequence(numbers),
        kinds=None if kinds is None else _texts(kept, kinds),
        watched={place: _texts(kept, name) for place, name in enumerate(watched)},
        counters=[_counter(pa, batch.column(name), name) for name in counters],
        mask=mask,
        passed_over=passed_over,
    )


def _counter(pa: Any, column: Any, name: str) -> Count:
    from harness.rig.captures import arrow, wide

    whole = not column.null_count and _numeric(pa, column.type)
    if whole and pa.types.is_floating(column.type):
        numbers = column.to_pylist()
        whole = all(map(float.is_integer, numbers))
        column = pa.array(map(int, numbers), pa.int64()) if whole else column
    if not whole:
        raise Trouble(
            "not-a-number",
            f"the counter {shown(name)} has cells without a whole number",
            do="declare the column that counts the frames as counter",
        )
    return wide.Numbers(arrow.whole_numbers_of(column))


def _texts(batch: Any, name: str) -> list[bytes]:
    return [
        ("" if value is None else str(value)).encode("utf-8", "replace")
        for value in batch.column(name).to_pylist()
    ]
