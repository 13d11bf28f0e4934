"""Simulate what the methods promise: ``python scripts/promises [NAME …] [--quick]``.

Each module beside this one has a table ``PROMISES``: name -> function of a ``Chance``, which
gives lines. A new promise is a function and its row in that table. The seed is fixed. Exit
status: 0 all promises kept, 1 one was not, 2 asked wrongly.
"""

from __future__ import annotations

import argparse
import importlib
import sys
import time
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent)]  # for promises, and for harness itself

from promises.line import Chance, Line, Section  # noqa: E402 - the line above makes it importable

QUICK = 0.04  #: of the samples of a full run
SEED = 11


def sections() -> dict[str, Section]:
    """Return every section by its name, in the order of the modules."""
    found: dict[str, Section] = {}
    for path in sorted(HERE.glob("*.py")):
        if path.stem not in ("__init__", "__main__", "line"):
            table = getattr(importlib.import_module(f"promises.{path.stem}"), "PROMISES", {})
            doubled = found.keys() & table.keys()
            assert not doubled, f"two sections are called {doubled}"
            found |= table
    return found


def chance(name: str, *, quick: bool) -> Chance:
    """Return the chance of one section: its own, so that it gives the same by itself."""
    rng = np.random.default_rng((SEED, zlib.crc32(name.encode())))
    return Chance(rng=rng, share=QUICK if quick else 1.0)


def promised(line: Line) -> str:
    """Return what was promised, in words."""
    if line.least is not None and line.most is not None:
        return f"{line.least:g} to {line.most:g} {line.unit}"
    if line.most is not None:
        return f"≤ {line.most:g} {line.unit}"
    return "-" if line.least is None else f"≥ {line.least:g} {line.unit}"


def shown(line: Line) -> str:
    """Return one line of the table."""
    kept = {True: "yes", False: "NO", None: "-"}[line.kept]
    measured = f"{line.measured:.2f} ± {line.error:.2f} {line.unit}"
    note = f"  ({line.note})" if line.note else ""
    return f"  {line.name:<64}{promised(line):>14}  {measured:>18}  {kept}{note}"


def main(arguments: Sequence[str]) -> int:
    """Simulate the sections asked for, or all; return the exit status."""
    parser = argparse.ArgumentParser(prog="promises", description=__doc__.splitlines()[0])
    parser.add_argument("names", metavar="NAME", nargs="*", help="a section (default: all)")
    parser.add_argument("--quick", action="store_true", help="few samples: large errors")
    args = parser.parse_args(arguments)
    table = sections()
    unknown = [name for name in args.names if name not in table]
    if unknown:
        known = ", ".join(table)
        print(f"no section is called {', '.join(unknown)}: write some of {known}", file=sys.stderr)
        return 2
    began, broken = time.perf_counter(), 0
    for name in dict.fromkeys(args.names or table):
        started = time.perf_counter()
        print(f"{name}")
        for line in table[name](chance(name, quick=args.quick)):
            print(shown(line), flush=True)
            broken += line.kept is False
        print(f"  {time.perf_counter() - started:.1f} s", flush=True)
    print(f"{time.perf_counter() - began:.0f} s; ± is one standard error; not kept: {broken}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
