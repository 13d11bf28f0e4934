"""``KEY=VALUE`` -> selections, and the numbers that stand beside them on a command line.

Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from harness import units
from harness.errors import AskedError, Problem

#: Each key with the values that are wanted of it: any of them.
Selection = Mapping[str, tuple[str, ...]]


def selection(texts: Iterable[str], *, option: str) -> dict[str, tuple[str, ...]]:
    """Return keys with their values; a key that is named again has one value more.

    Raises:
        AskedError: A text is no ``KEY=VALUE``.
    """
    found: dict[str, tuple[str, ...]] = {}
    for text in texts:
        key, sign, value = text.partition("=")
        if not sign or not key or not value:
            raise bad_selection(f"{text!r} selects nothing", f"write --{option} KEY=VALUE")
        if value not in found.setdefault(key, ()):
            found[key] += (value,)
    return found


def is_wanted(value: Callable[[str], str | None], wanted: Selection) -> bool:
    """Return whether what has *value* of each key is wanted."""
    return all(value(key) in values for key, values in wanted.items())


def unknown(
    values: Iterable[Callable[[str], str | None]],
    wanted: Selection,
    *,
    option: str,
    keys: Iterable[str],
) -> list[Problem]:
    """Return a problem for every key and value that nothing has: a slip selects nothing.

    Args:
        values: What each thing that may be chosen has of a key.
        wanted: What is selected.
        option: The option it was given with.
        keys: Those that there are, to be named.
    """
    things, problems = list(values), []
    for key, several in wanted.items():
        there = sorted({text for value in things if (text := value(key)) is not None})
        known = f"write one of {', '.join(there)}" if there else f"select by {', '.join(keys)}"
        problems += [
            Problem(code="bad-selection", what=f"no cell has {key}={each} (--{option})", do=known)
            for each in several
            if each not in there
        ]
    return problems


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


def refuse_weights(weights: Mapping[str, float], *, titles: Iterable[str]) -> None:
    """Refuse a weight of what is none of the *titles* that are compared.

    Raises:
        AskedError: Of the first of them.
    """
    known = list(dict.fromkeys(titles))
    for title in weights:
        if title not in known:
            raise AskedError(
                Problem(
                    code="bad-weight",
                    what=f"no row is of the title {title!r}",
                    do=f"weigh some of {', '.join(known) or 'none: there are no rows'}",
                )
            )
