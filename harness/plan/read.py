"""A plan file -> Source.

Touches disk. The file is read once; everything after that works on what was read.
"""

from __future__ import annotations

from os import PathLike, fspath

from harness.errors import AskedError, Problem
from harness.plan.characters import decode
from harness.plan.parse import parse
from harness.plan.source import Source

#: A plan of ten thousand titles is smaller.
_MOST_BYTES = 16 * 2**20


def read_plan(path: str | PathLike[str]) -> Source:
    """Read a plan file.

    Returns:
        Its source; a text that is no plan has ``problems`` and no root.

    Raises:
        AskedError: There is no such file, or it cannot be read.
    """
    file = fspath(path)
    try:
        # pathlib costs as much to import as the whole check of a small plan.
        with open(file, "rb") as stream:  # noqa: PTH123
            data = stream.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise _unreadable(file, error) from None
    if len(data) > _MOST_BYTES:
        what = f"the file has more than {_MOST_BYTES // 2**20} MiB"
        problem = Problem(code="plan-too-large", what=what, do="is this a plan file?")
        return Source(file=file, problems=(problem,))
    text, wrong = decode(data, file)
    if wrong is not None:
        return Source(file=file, problems=(wrong,))
    return parse(text, file)


def _unreadable(file: str, error: OSError | ValueError) -> AskedError:
    match error:
        case FileNotFoundError():
            code, what, do = "no-such-plan", f"there is no file {file!r}", "look at the path"
        case IsADirectoryError():
            code, what = "no-such-plan", f"{file!r} is a folder"
            do = "name the plan file in it"
        case _:
            reason = getattr(error, "strerror", None) or str(error)
            code, what = "plan-unreadable", f"{file!r} cannot be read: {reason}"
            do = "look at the path, and at who may read it"
    return AskedError(Problem(code=code, what=what, do=do))
