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
CPU_MICROCODE = "cpu.microcode"
CPU_CORES = "cpu.cores"
CPU_THREADS = "cpu.threads"  #: the processors that are switched on
CPU_DRIVER = "cpu.driver"  #: what sets the processor's clocks
CPU_GOVERNOR = "cpu.governor"
CPU_PREFERENCE = "cpu.preference"  #: between energy and speed, as the processor is told
CPU_BOOST = "cpu.boost"  #: clocks above the base clock: on, off
CPU_MITIGATIONS = "cpu.mitigations"
POWER_PLAN = "power.plan"  #: the system's own choice between energy and speed
MEMORY_SIZE = "memory.size"
MEMORY_MODULES = "memory.modules"
GPU_CARDS = "gpu.cards"
HARNESS_VERSION = "harness.version"
TITLE_BUILD = "title.build"
TITLE_FILES = "title.files"

#: As a plan writes them.
FIELDS: tuple[str, ...] = (
    KERNEL_BUILD,
    BOARD_MODEL,
    CPU_MODEL,
    CPU_MICROCODE,
    CPU_CORES,
    CPU_THREADS,
    CPU_DRIVER,
    CPU_GOVERNOR,
    CPU_PREFERENCE,
    CPU_BOOST,
    CPU_MITIGATIONS,
    POWER_PLAN,
    MEMORY_SIZE,
    MEMORY_MODULES,
    GPU_CARDS,
    HARNESS_VERSION,
    TITLE_BUILD,
)


def title_build(title: str) -> str:
    """Return the field in which a fingerprint has the build of *title*.

    >>> title_build("Lantern Quay")
    'title.build Lantern Quay'
    """
    return f"{TITLE_BUILD} {title}"


def title_files(title: str, scene: str) -> str:
    """Return the field in which a fingerprint has the settings files of *title* at *scene*.

    No level changes them, so no plan names this field.

    >>> title_files("Lantern Quay", "harbour loop")
    'title.files Lantern Quay, harbour loop'
    """
    return f"{TITLE_FILES} {title}, {scene}"


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
