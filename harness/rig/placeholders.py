"""``{…}`` in the arguments of a command, filled when it is started.

Pure.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from harness.errors import PlanError, Problem

_PART = re.compile(r"\{\{|\}\}|\{([^{}]*)\}")


def filled(argv: Sequence[str], values: Mapping[str, str]) -> tuple[str, ...]:
    """Return *argv* with every ``{name}`` replaced; ``{{`` and ``}}`` are braces.

    A value is put in as it is: braces inside it mean nothing.

    >>> filled(["render", "--size={size}", "{{as is}}"], {"size": "640x360"})
    ('render', '--size=640x360', '{as is}')

    Raises:
        PlanError: a placeholder has no value here.
    """

    def value(part: re.Match[str]) -> str:
        name = part.group(1)
        if name is None:
            return part.group()[0]
        if name not in values:
            raise PlanError(
                Problem(
                    code="unknown-placeholder",
                    what=f"nothing is known here for {{{name}}}",
                    do=f"write one of {', '.join(sorted(values))}, or {{{{ for a brace",
                    where=("command: " + " ".join(argv),),
                )
            )
        return values[name]

    return tuple(_PART.sub(value, argument) for argument in argv)
