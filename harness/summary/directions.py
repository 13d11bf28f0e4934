"""Which way a figure is better.

Pure. A title's own figures say so in the plan; those of frames are known by their unit: rates
are better higher, times, and counts of long frames, lower. What neither says (a temperature, a
clock) has no better way, and no *faster* and *slower*.
"""

from __future__ import annotations

from harness.plan.document import Better, Title

_LOWER_ENDS = ("_ms", "_per_frame_j", "_j_per_frame")


def better_of(name: str, title: Title) -> Better | None:
    """Return which way the figure *name* of *title* is better; None: nobody says.

    >>> title = Title(title="Copper Fen", scene="causeway", settings=(), command=None)
    >>> better_of("average_fps", title).value, better_of("longest_frame_ms", title).value
    ('higher', 'lower')
    """
    for spec in title.figures:
        if spec.name == name:
            return spec.better
    if name == "average_fps" or name.startswith("low_"):
        return Better.HIGHER
    if name.startswith(("frames_over_", "hitches")) or name.endswith(_LOWER_ENDS):
        return Better.LOWER
    return None
