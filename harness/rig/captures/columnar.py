"""Frame logs of Parquet and Arrow files: a column with a name and a type.

Touches disk: a file that was compressed as a whole is unpacked into a temporary one. Reading
needs pyarrow, which the extra ``analysis`` installs.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from itertools import chain

from harness.rig.captures import columns
from harness.rig.captures.rows import Absent, Rows
from harness.rig.captures.trouble import AGAIN, Trouble, listed, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import IO, Any

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
    counter = find(declared.counter, "counter") if declared.counter else None
    if counter is None:
        counter = next((name for name in names if _counts(pa, schema, name, time)), None)
    watched = tuple(
        name
        for name in names
        if name not in {time, kinds, *(key for key, _ in where)}
        and " ".join(columns.words(name)) in columns.PROGRAM_NAMES | columns.KIND_NAMES
    )
    _check_type(pa, schema.field(time))
    gather.begin(unit=unit, column=time, counter=counter, watched=dict(enumerate(watched)))
    wanted = list(dict.fromkeys((time, kinds, counter, *watched, *(key for key, _ in where))))
    chosen = [name for name in wanted if name is not None]
    batches = (
        rows.iter_batches(batch_size=_BATCH_ROWS, columns=chosen)
        if parquet
        else (rows.get_batch(place) for place in range(rows.num_record_batches))
    )
    for batch in batches:
        try:
            gather.add(_rows(pa, batch, time, kinds, counter, watched, where))
        except Absent as absent:
            gather.absent(absent)


def _counts(pa: Any, schema: Any, name: str, time: str) -> bool:
    return (
        name != time
        and " ".join(columns.words(name)) in columns.COUNTER_NAMES
        and bool(pa.types.is_integer(schema.field(name).type))
    )


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
    counter: str | None,
    watched: tuple[str, ...],
    where: tuple[tuple[str, str], ...],
) -> Rows:
    from harness.rig.captures import arrow, wide

    mask: list[bool] | None = None
    passed_over: list[bytes] = []
    kept = batch
    if where:
        texts = {key: _texts(batch, key) for key, _ in where}
        mask = [
            all(texts[key][row] == value.encode() for key, value in where)
            for row in range(batch.num_rows)
        ]
        kept = batch.filter(pa.array(mask))
        passed_over = [
            text for text, counts in zip(texts[where[0][0]], mask, strict=True) if not counts
        ]
    column = kept.column(time)
    numbers = arrow.numbers_of(column)
    if column.null_count or not wide.finite(numbers):
        counts = wide.absent_kinds(column.null_count, numbers)
        raise Absent(counts, line=None, text=b"")
    counted = None
    if counter is not None:
        if batch.column(counter).null_count:
            raise Trouble(
                "not-a-number",
                f"the counter {shown(counter)} has cells without a number",
                do="declare the column that counts the frames as counter",
            )
        counted = wide.Numbers(arrow.numbers_of(batch.column(counter)))
    return Rows(
        times=wide.as_sequence(numbers),
        kinds=None if kinds is None else _texts(kept, kinds),
        watched={place: _texts(kept, name) for place, name in enumerate(watched)},
        counter=counted,
        mask=mask,
        passed_over=passed_over,
    )


def _texts(batch: Any, name: str) -> list[bytes]:
    return [
        ("" if value is None else str(value)).encode("utf-8", "replace")
        for value in batch.column(name).to_pylist()
    ]
