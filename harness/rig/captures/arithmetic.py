"""What ``plain`` and ``wide`` both do, said once: one suite of tests holds them to it.

Pure. Only for the type checker: what each function does stands in ``plain``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol

from harness.rig.captures.times import Blocks

KeepRun = Callable[[Sequence[float]], Sequence[float]]


class Keeper(Protocol):
    """Where sorted runs stay: what ``spill`` is to the others."""

    def keep(self, run: Sequence[float], /) -> Sequence[float]: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


class BySize(Protocol):
    """Values by size, and their sum, piece by piece."""

    def ends(self, values: Any, /) -> tuple[float, float]: ...  # noqa: D102
    def add(self, values: Any, /) -> None: ...  # noqa: D102
    def runs(self) -> list[Sequence[float]]: ...  # noqa: D102
    def total(self) -> float: ...  # noqa: D102


class Arithmetic(Protocol):
    """What is calculated; values are of the form that ``taken`` returns."""

    @property
    def BySize(self) -> Callable[[KeepRun], BySize]: ...  # noqa: D102
    def taken(self, values: Sequence[float], /) -> Any: ...  # noqa: D102
    def listed(self, values: Any, /) -> list[float]: ...  # noqa: D102
    def joined(self, before: Any, values: Any, /) -> Any: ...  # noqa: D102
    def scaled(self, values: Any, unit: str, /) -> Any: ...  # noqa: D102
    def differences(self, values: Any, before: float | None, /) -> Any: ...  # noqa: D102
    def longest(self, values: Any, /) -> tuple[float, int]: ...  # noqa: D102
    def count_lines(self, body: bytes, /) -> int: ...  # noqa: D102
    def finite(self, values: Any, /) -> bool: ...  # noqa: D102
    def add_blocks(self, blocks: Blocks, values: Any, /) -> int: ...  # noqa: D102
    def within(  # noqa: D102
        self, values: Any, clock_ms: float, from_ms: float, to_ms: float, /
    ) -> tuple[int, int, float]: ...
