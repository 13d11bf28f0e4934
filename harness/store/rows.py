"""An entry as a row of a database, sealed with a hash, and back: the same in every database.

Pure.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime

from harness.run.ports import Entry
from harness.store.bodies import encode, from_body, kind_of, to_body

#: What stands for the hash before the first entry of a run.
NO_HASH = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """An entry as a database keeps it.

    ``at`` is UTC, RFC 3339 with six digits; ``cell`` and ``attempt`` repeat what the body
    says, to be found by; ``previous`` is the hash of the entry before; both hashes are 64
    hexadecimal digits.
    """

    run: str
    seq: int
    at: str
    boot: str
    kind: str
    version: int
    cell: str | None
    attempt: int | None
    body: str
    previous: str
    hash: str


def at_text(at: datetime) -> str:
    """Return an aware instant as UTC, RFC 3339, six digits: the order of text is that of time.

    Raises:
        ValueError: *at* has no zone.
    """
    if at.utcoffset() is None:
        raise ValueError(f"an instant without a zone: {at.isoformat()}")
    return at.astimezone(UTC).isoformat(timespec="microseconds")[:-6] + "Z"


def seal(
    *, run: str, seq: int, previous: str, at: str, boot: str, kind: str, version: int, body: str
) -> str:
    """Return the hash of an entry: SHA-256, hexadecimal.

    It is taken over the UTF-8 of the JSON list [run, seq, previous, at, boot, kind,
    version, body], body as text, in the canonical form of RFC 8785 (for a list of texts
    and whole numbers that is JSON without blanks and without needless escapes). It holds
    the hash before it, so an entry cannot change without every later one.
    """
    text = encode([run, seq, previous, at, boot, kind, version, body])
    return hashlib.sha256(text.encode()).hexdigest()


def to_row(entry: Entry, *, run: str, previous: str) -> Row:
    """Return *entry* of *run* as a row that follows the hash *previous*.

    Raises:
        StoreError: A number in the record is not finite.
        ValueError: Its instant has no zone.
    """
    record = entry.record
    at, kind, version, body = (
        at_text(entry.at),
        kind_of(record),
        record.VERSION,
        to_body(record),
    )
    return Row(
        run=run,
        seq=entry.seq,
        at=at,
        boot=entry.boot,
        kind=kind,
        version=version,
        cell=getattr(record, "cell", None),
        attempt=getattr(record, "attempt", None),
        body=body,
        previous=previous,
        hash=seal(
            run=run,
            seq=entry.seq,
            previous=previous,
            at=at,
            boot=entry.boot,
            kind=kind,
            version=version,
            body=body,
        ),
    )


def from_row(*, seq: int, at: str, boot: str, kind: str, version: int, body: str) -> Entry:
    """Return the entry that a row was made from.

    Raises:
        StoreError: The row does not read back.
    """
    return Entry(
        seq=seq,
        at=datetime.fromisoformat(at),
        boot=boot,
        record=from_body(body, kind=kind, version=version),
    )
