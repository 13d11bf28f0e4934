"""The journal in memory: what every other journal is held against; for rehearsals and tests.

Touches disk only where it is asked to keep files. Records stay the objects they are: no
JSON, no hash, so a night of thousands of passes costs next to nothing.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Sequence
from datetime import datetime

from harness.rig.tasks import Member
from harness.run.ports import Entry
from harness.run.records import BundleRef, Record, Request


class MemoryJournal:
    """One run's records in memory, with the requests put to it and the files it keeps.

    It outlives the runner that writes to it, as a store does: after a simulated crash the
    next runner is handed the same journal.
    """

    def __init__(self) -> None:
        self._entries: list[Entry] = []
        self._requests: list[Request] = []
        #: Every bundle kept: its path and, by name, the bytes of its members.
        self.bundles: dict[str, dict[str, bytes]] = {}

    def entries(self) -> tuple[Entry, ...]:
        """Return every entry, in order."""
        return tuple(self._entries)

    def last_at(self) -> datetime | None:
        """Return the instant of the last entry; None: there is none."""
        return self._entries[-1].at if self._entries else None

    def append(self, records: Sequence[Record], *, at: datetime, boot: str) -> None:
        """Keep the records, all or none.

        Raises:
            ValueError: *at* has no zone.
        """
        if at.tzinfo is None:
            raise ValueError(f"an instant without a zone: {at.isoformat()}")
        self._entries += [
            Entry(seq=seq, at=at, boot=boot, record=record)
            for seq, record in enumerate(records, len(self._entries) + 1)
        ]

    def keep(self, name: str, members: Sequence[Member]) -> BundleRef:
        """Keep the files of one attempt, each time as a bundle of its own."""
        contents = {member.name: member.path.read_bytes() for member in members}
        path = f"memory/{len(self.bundles) + 1}/{name}"
        self.bundles[path] = contents
        return BundleRef(
            path=path,
            sha256=hashlib.sha256(path.encode()).hexdigest(),
            members=tuple(
                (member, hashlib.sha256(content).hexdigest(), len(content))
                for member, content in contents.items()
            ),
        )

    def requests(self, after: int) -> tuple[Request, ...]:
        """Return the requests put after the one numbered *after*, in order."""
        return tuple(self._requests[after:])

    def rest(self) -> None:
        """Do nothing: there is nothing to tidy."""

    def put(self, request: Request) -> int:
        """Put a request to the run under the next number, counted from 1; return the number."""
        number = len(self._requests) + 1
        self._requests.append(dataclasses.replace(request, number=number))
        return number
