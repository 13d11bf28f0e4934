"""``{…}`` in the arguments of a command: which names stand in them.

Pure. ``{name}`` is filled when the command is started; ``{{`` and ``}}`` are braces.
"""

from __future__ import annotations

import re
from functools import lru_cache

#: Known for every pass, whatever the plan: the bench knows the first two.
ALWAYS = ("captures", "python", "title", "scene", "setting", "pass", "attempt")

#: Known outside of a pass: for levels, and for what identifies a build.
OUTSIDE = ("python",)

_PART = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]")


@lru_cache(maxsize=4096)  # titles of one plan have many arguments in common
def placeholders(argument: str) -> tuple[str, ...]:
    """Return the names in *argument*, in order.

    >>> placeholders("--out={captures}/{scene}.csv"), placeholders("{{as is}}")
    (('captures', 'scene'), ())
    """
    return tuple(part[1] for part in _PART.finditer(argument) if part[1] is not None)


@lru_cache(maxsize=4096)
def lone_brace(argument: str) -> bool:
    """Return whether a brace in *argument* neither stands for itself nor closes a name.

    >>> lone_brace("{scene"), lone_brace("{scene}"), lone_brace("{{scene}}")
    (True, False, False)
    """
    return any(part[0] in "{}" for part in _PART.finditer(argument))
