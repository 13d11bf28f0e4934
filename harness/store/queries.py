"""The SQL of the store, by name: ``queries.sql`` of each dialect, read once.

Touches disk.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

SQL = Path(__file__).parent / "sql"

_NAME = "-- name: "


@functools.cache
def queries(dialect: str) -> Mapping[str, str]:
    """Return the queries of *dialect* by name.

    Raises:
        ValueError: Two queries have one name.
    """
    found: dict[str, list[str]] = {}
    lines: list[str] = []
    for line in (SQL / dialect / "queries.sql").read_text(encoding="utf-8").splitlines():
        if line.startswith(_NAME):
            name = line.removeprefix(_NAME)
            if name in found:
                raise ValueError(f"two queries are called {name}")
            lines = found[name] = []
        elif not line.startswith("--"):
            lines.append(line)
    return MappingProxyType({name: "\n".join(text).strip() for name, text in found.items()})


def _is_migration(name: str) -> bool:
    # By hand: a pattern for glob() would be compiled at every start of `harness status`.
    return name[:4].isdecimal() and name[4:5] == "_" and name.endswith(".sql")


@functools.cache
def migrations(dialect: str) -> tuple[str, ...]:
    """Return the numbered migrations of *dialect*, the first being number 1; read once.

    Raises:
        ValueError: A number is missing, or comes twice.
    """
    folder = SQL / dialect
    paths = sorted(path for path in folder.iterdir() if _is_migration(path.name))
    if [int(path.name[:4]) for path in paths] != list(range(1, len(paths) + 1)):
        raise ValueError(f"migrations are not numbered from 1: {[path.name for path in paths]}")
    return tuple(path.read_text(encoding="utf-8") for path in paths)
