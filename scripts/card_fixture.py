"""What a proof on a real card left, kept small enough to test with.

    python scripts/card_fixture.py NAME --log LOG.csv --store STORE --into FOLDER

Touches disk. Of what ``scripts/card_proof.py`` left it writes, compressed, with nothing in them
that tells one card or one machine from another:

    NAME.log.csv.gz          the logger's lines, with their fields as a header
    NAME.samples.jsonl.gz    every sample that the harness kept, with its instant
    NAME.passes.jsonl.gz     how each pass was waited for, and what became of it

The clock of the logger is taken to be that of the harness, in UTC.
"""

from __future__ import annotations

import argparse
import gzip
import json
import re
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from card_proof import QUERY, samples

#: The card in the fixtures: invented.
UUID = "GPU-0b6f2e51-93c4-4d07-8a1e-5f7d20c6b3a4"
ADDRESS = "0000:0a:00.0"
_UUID = re.compile(r"GPU-[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_ADDRESS = re.compile(r"\b(?:[0-9a-fA-F]{4}){1,2}:[0-9a-fA-F]{2}:[0-9a-fA-F]{2}\.[0-7]\b")


def nameless(text: str) -> str:
    """Return *text* with another card's UUID and address in it.

    >>> nameless("GPU-00000000-1111-2222-3333-444444444444 at 00000000:3B:00.0")
    'GPU-0b6f2e51-93c4-4d07-8a1e-5f7d20c6b3a4 at 0000:0a:00.0'
    """
    return _ADDRESS.sub(ADDRESS, _UUID.sub(UUID, text))


def write(file: Path, lines: Iterator[str]) -> None:
    """Write *lines* compressed; the same lines give the same bytes."""
    text = nameless("".join(f"{line}\n" for line in lines))
    file.write_bytes(gzip.compress(text.encode(), mtime=0))
    print(f"{file}: {text.count(chr(10))} lines, {file.stat().st_size} bytes")


def log_lines(log: Path) -> Iterator[str]:
    """Yield the header, and the whole lines of the log."""
    yield ",".join(QUERY)
    whole, _, _ = log.read_text(encoding="utf-8").rpartition("\n")  # the last may be cut anywhere
    for line in whole.splitlines():
        if line.count(",") == len(QUERY) - 1:
            yield line.replace(", ", ",")


def sample_lines(store: Path) -> Iterator[str]:
    """Yield the kept samples in the order of their instants."""
    for at, readings in sorted(samples(store), key=lambda each: each[0]):
        yield json.dumps({"at": at.isoformat(), "readings": readings}, ensure_ascii=False)


def pass_lines(store: Path) -> Iterator[str]:
    """Yield each pass that was judged: its wait, how the wait ended, and the verdict."""
    from harness.run import records as r
    from harness.store.sqlite import open_store

    with open_store(store, write=False) as opened:
        for line in sorted(opened.runs(), key=lambda each: each.run[-15:]):
            started: dict[tuple[str, int], tuple[str, r.PassStarted]] = {}
            for entry in opened.entries(line.run):
                match entry.record:
                    case r.PassStarted() as began:
                        started[began.cell, began.attempt] = entry.at.isoformat(), began
                    case r.PassJudged() as judged:
                        at, began = started[judged.cell, judged.attempt]
                        yield json.dumps(
                            {
                                "run": line.run,
                                "cell": judged.cell,
                                "attempt": judged.attempt,
                                "started": at,
                                "ended": entry.at.isoformat(),
                                "waited_s": began.waited_s,
                                "gate": None if began.gate is None else asdict(began.gate),
                                "verdict": judged.verdict.value,
                                "reason": judged.reason,
                            },
                            ensure_ascii=False,
                        )
                    case _:
                        pass


def main() -> int:
    """Write the three files of one proof."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("name")
    parser.add_argument("--log", type=Path, required=True)
    parser.add_argument("--store", type=Path, required=True)
    parser.add_argument("--into", type=Path, required=True)
    args = parser.parse_args()
    args.into.mkdir(parents=True, exist_ok=True)
    write(args.into / f"{args.name}.log.csv.gz", log_lines(args.log))
    write(args.into / f"{args.name}.samples.jsonl.gz", sample_lines(args.store))
    write(args.into / f"{args.name}.passes.jsonl.gz", pass_lines(args.store))
    return 0


if __name__ == "__main__":
    sys.exit(main())
