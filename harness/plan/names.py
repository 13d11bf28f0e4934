"""Names: which known one was meant, and which two are alike.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterable


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the one of *known* that *name* was probably meant to be, or None.

    >>> nearest("warmup", ["keep", "warm_up"])
    'warm_up'
    """
    from difflib import get_close_matches  # only when something is misspelt

    choices = list(known)
    folded = {folded_name(choice).replace("-", "_"): choice for choice in choices}
    same = folded.get(folded_name(name).replace("-", "_").replace(" ", "_"))
    if same is not None:
        return same
    near = get_close_matches(name[:80], choices, n=1)
    return near[0] if near else None


def suggestion(name: str, known: Iterable[str], *, most: int = 12) -> str:
    """Return what to write instead of *name*: the nearest, else all of *known*."""
    choices = list(known)
    near = nearest(name, choices)
    if near is not None:
        return f"write {near}"
    if not choices:
        return "take it out"
    listed = ", ".join(choices[:most])
    return f"write one of {listed}" + (", …" if len(choices) > most else "")


def folded_name(name: str) -> str:
    """Return *name* without what a tired eye passes over: case, accents' form, blanks.

    >>> folded_name(" Lantern  Quay") == folded_name("lantern quay")
    True
    """
    if not name.isascii():
        from unicodedata import combining, normalize

        name = "".join(c for c in normalize("NFKD", name) if not combining(c))
    return " ".join(name.casefold().split())
