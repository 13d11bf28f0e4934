"""The fields of the fingerprint that are not readings, by name.

Pure. They stand apart from what takes the fingerprint because a plan names them, and a check
of a plan takes none. Every other field has the name of the reading that it is.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Iterable

KERNEL_BUILD = "kernel.build"
BOARD_MODEL = "board.model"
CPU_MODEL = "cpu.model"
CPU_CORES = "cpu.cores"
CPU_GOVERNOR = "cpu.governor"
MEMORY_SIZE = "memory.size"
TITLE_BUILD = "title.build"

#: As a plan writes them.
FIELDS: tuple[str, ...] = (
    KERNEL_BUILD,
    BOARD_MODEL,
    CPU_MODEL,
    CPU_CORES,
    CPU_GOVERNOR,
    MEMORY_SIZE,
    TITLE_BUILD,
)


def title_build(title: str) -> str:
    """Return the field in which a fingerprint has the build of *title*.

    >>> title_build("Lantern Quay")
    'title.build Lantern Quay'
    """
    return f"{TITLE_BUILD} {title}"


def fields_meant(name: str, *, titles: Iterable[str]) -> tuple[str, ...]:
    """Return the fields of a fingerprint that a plan means by *name*.

    A plan writes ``title.build`` for the builds of all its titles; every other field has one
    name in both.

    >>> fields_meant("title.build", titles=["Lantern Quay", "Copper Fen"])
    ('title.build Lantern Quay', 'title.build Copper Fen')
    >>> fields_meant("gpu.driver", titles=["Lantern Quay"])
    ('gpu.driver',)
    """
    return tuple(map(title_build, titles)) if name == TITLE_BUILD else (name,)
