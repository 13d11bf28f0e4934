"""Measure the figures we mean to reach: ``python scripts/bench [FIGURE …]``.

Touches disk, processes and the clock. Each module beside this one has a table ``FIGURES``:
number -> function without arguments, which returns a line or several. A new figure is a
function and its row in that table. Exit status: 0 all reached, 1 one was not, 2 asked wrongly.
"""

from __future__ import annotations

import importlib
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent)]  # for bench, and for harness itself

from bench.pairs import Line  # noqa: E402 - the two lines above make it importable

Figure = Callable[[], Line | Iterable[Line]]


def figures() -> dict[int, list[Figure]]:
    """Return every figure by its number; a number may be measured in several modules."""
    found: dict[int, list[Figure]] = {}
    for path in sorted(HERE.glob("*.py")):
        if path.stem not in ("__init__", "__main__", "pairs"):
            table = getattr(importlib.import_module(f"bench.{path.stem}"), "FIGURES", {})
            for number, figure in table.items():
                found.setdefault(number, []).append(figure)
    return dict(sorted(found.items()))


def shown(number: int, line: Line) -> str:
    """Return one line of the table."""
    reached = {True: "yes", False: "NO", None: "-"}[line.reached]
    limit = "-" if line.limit is None else f"≤ {line.limit:g} {line.unit}"
    value = f"{line.value:.3g} {line.unit}"
    between = f"{line.low:.3g} to {line.high:.3g}"
    note = f"  ({line.note})" if line.note else ""
    return f"{number:>3}  {line.name:<52}{value:>12}  {between:<18}{limit:>12}  {reached}{note}"


def main(arguments: Sequence[str]) -> int:
    """Measure the figures asked for, or all; return the exit status."""
    table = figures()
    asked = list(dict.fromkeys(arguments)) or [str(number) for number in table]
    unknown = [word for word in asked if word not in map(str, table)]
    if unknown:
        known = ", ".join(map(str, table))
        print(f"no figure is numbered {', '.join(unknown)}: write some of {known}", file=sys.stderr)
        return 2
    began, missed = time.perf_counter(), []
    heads = ("figure", "median", "quartiles", "to reach")
    print("  #  {:<52}{:>12}  {:<18}{:>12}  reached".format(*heads))
    for word in asked:
        number = int(word)
        for figure in table[number]:
            try:
                lines = figure()
                for line in [lines] if isinstance(lines, Line) else lines:
                    print(shown(number, line), flush=True)
                    if line.reached is False:
                        missed.append(word)
            except Exception:  # noqa: BLE001 - one that fails must not hide the others
                traceback.print_exc()
                print(f"{number:>3}  could not be measured: see above", flush=True)
                missed.append(word)
    print(f"{time.perf_counter() - began:.0f} s; not reached: {', '.join(missed) or 'none'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
