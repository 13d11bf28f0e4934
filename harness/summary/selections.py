"""``KEY=VALUE`` -> selections, and the numbers that stand beside them on a command line.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterable

from harness import units
from harness.errors import AskedError, Problem


def selection(texts: Iterable[str], *, option: str) -> dict[str, str]:
    """Return keys and values.

    Raises:
        AskedError: A text is no ``KEY=VALUE``, or a key has two values.
    """
    found: dict[str, str] = {}
    for text in texts:
        key, sign, value = text.partition("=")
        if not sign or not key:
            raise bad_selection(f"{text!r} selects nothing", f"write --{option} KEY=VALUE")
        if found.setdefault(key, value) != value:
            raise bad_selection(
                f"--{option} has {key}={found[key]} and {key}={value}, which no cell is both",
                f"leave one out: a side is one value of {key}",
            )
    return found


def bad_selection(what: str, do: str) -> AskedError:
    """Return the error of a selection that cannot be meant."""
    return AskedError(Problem(code="bad-selection", what=what, do=do))


def band_of(text: str | None) -> float | None:
    """Return a band as a fraction; None where none is given.

    Raises:
        AskedError: It is not a share, or not between 0 and 100 %.
    """
    if text is None:
        return None
    try:
        band = units.share(text)
    except units.Unreadable as error:
        problem = Problem(code=error.code, what=f"--band {error.what}", do=error.do)
        raise AskedError(problem) from None
    if not 0.0 < band < 1.0:
        raise AskedError(
            Problem(
                code="bad-band",
                what=f"a band of {100 * band:g} % is none",
                do="write more than 0 % and less than 100 %, as in --band '3 %'",
            )
        )
    return band


def weights_of(texts: Iterable[str]) -> dict[str, float]:
    """Return the weight of each title that is named.

    Raises:
        AskedError: A text is no ``TITLE=NUMBER`` with a number above 0, or a title comes twice.
    """
    found: dict[str, float] = {}
    for text in texts:
        title, _, number = text.rpartition("=")
        try:
            weight = units.quantity(number, "")
        except units.Unreadable as error:
            problem = Problem(code=error.code, what=f"the weight {error.what}", do=error.do)
            raise AskedError(problem) from None
        if not title or weight <= 0.0 or title in found:
            raise AskedError(
                Problem(
                    code="bad-weight",
                    what=f"{text!r} is no weight" if title not in found else f"{title} comes twice",
                    do="write --weights 'Lantern Quay=2', with a number above 0",
                )
            )
        found[title] = weight
    return found
