"""What the passes kept in a store took, and whether a run of some more fits.

Touches disk.
"""

from __future__ import annotations

from pathlib import Path

from harness.errors import RigError
from harness.run.disk_room import FREE, does_not_fit, passes_left
from harness.run.ports import Bench
from harness.run.state import RunState


def bytes_of_a_pass(folder: Path) -> float | None:
    """Return what a pass took for good on the average, bytes; None: no pass was kept yet."""
    sizes = [path.stat().st_size for path in folder.glob("bundles/*/*.tar.zst")]
    return sum(sizes) / len(sizes) if sizes else None


def refuse_without_room(bench: Bench, folder: Path, state: RunState) -> None:
    """Refuse a run that would not fit even if no pass were spent in vain.

    Args:
        bench: The rig.
        folder: The store's folder.
        state: The run, or its beginning.

    Raises:
        RigError: it does not fit.
    """
    (free,) = bench.read([FREE])
    problem = does_not_fit(free, passes=passes_left(state), a_pass_bytes=bytes_of_a_pass(folder))
    if problem is not None:
        raise RigError(problem)
