"""Simulated nights: the whole machine over a rehearsed rig, with crashes, faults and lies.

    python scripts/nights [--nights N] [--sqlite N] [--first SEED]

Every night has a random plan and a random rig, both drawn from its seed; the runner is killed
between any two calls that reach outside, the machine may start anew, sensors lie, the clock of
the day is set, the disk is full at any write. Nights in SQLite also lose power in the middle of a
write, and what lies behind the last commit is torn. After every night the invariants are held
against the records alone. A failing seed replays exactly.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent)]  # for nights, and for harness itself

from nights.play import play  # noqa: E402 - the line above makes it importable

#: Nights in SQLite sync hundreds of times each: where there is a disk in memory, it is taken.
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None


def main() -> int:
    """Play nights and print what was played, as one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--nights", type=int, default=10_000, help="kept in memory")
    parser.add_argument("--sqlite", type=int, default=300, help="kept in SQLite, with torn writes")
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--cells", type=int, default=None, help="of each plan; default: a few")
    args = parser.parse_args()
    tables = []
    for where, nights in (("memory", args.nights), ("SQLite", args.sqlite)):
        began, total, faults = time.perf_counter(), Counter[str](), Counter[str]()
        for seed in range(args.first, args.first + nights):
            try:
                with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
                    kept = Path(folder) if where == "SQLite" else None
                    night = play(seed, cells=args.cells, folder=kept)
            except BaseException:
                other = "--sqlite 0" if where == "memory" else "--nights 0"
                one = "--nights 1" if where == "memory" else "--sqlite 1"
                print(f"failed; replay: python scripts/nights {one} {other} --first {seed}")
                raise
            total["nights"] += 1
            total["checks"] += night.checked
            total += night.counts
            faults += night.faults
        tables.append((where, total, faults, time.perf_counter() - began))
    _print(tables)
    return 0


def _print(tables: list[tuple[str, Counter[str], Counter[str], float]]) -> None:
    first = ("nights", "passes", "starts", "kills", "holds", "checks")
    counts = {name for _, total, _, _ in tables for name in total} - set(first)
    faults = {name for _, _, found, _ in tables for name in found}
    print(f"{'':32}" + "".join(f"{where:>12}" for where, *_ in tables))
    for name in (*first, *sorted(counts)):
        print(f"{name:<32}" + "".join(f"{total[name]:>12}" for _, total, _, _ in tables))
    for name in sorted(faults):
        print(f"fault: {name:<25}" + "".join(f"{found[name]:>12}" for _, _, found, _ in tables))
    rates = (f"{total['nights'] / took:>12.1f}" for _, total, _, took in tables)
    print(f"{'nights a second':<32}" + "".join(rates))
    print("every invariant held")


if __name__ == "__main__":
    sys.exit(main())
