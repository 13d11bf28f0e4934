"""What stands in an address -> the arguments of the command that answers it.

Pure. A link can be shared: the address holds all of a selection. Only what is listed here is
taken, each value as one argument that cannot become an option.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from harness.errors import AskedError, Problem

MOST_VALUES = 40
MOST_LENGTH = 200  #: characters of one value

#: View -> the keys of its address: with a value that may be given again, once, or as yes.
_AGAIN, _ONCE, _YES = "again", "once", "yes"
KEYS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "compare": {
            "base": _AGAIN, "against": _AGAIN, "where": _AGAIN, "figure": _ONCE, "band": _ONCE,
            "correction": _ONCE, "despite": _ONCE, "with-marked": _YES, "pool-spread": _YES,
            "unit": _ONCE,
        },
        "ceilings": {
            "run": _ONCE, "condition": _ONCE, "where": _AGAIN, "figure": _ONCE, "band": _ONCE,
            "with-marked": _YES,
        },
        "drift": {
            "rig": _ONCE, "run": _ONCE, "cell": _ONCE, "where": _AGAIN, "figure": _ONCE,
            "per": _ONCE, "since": _ONCE, "with-marked": _YES,
        },
        "precision": {
            "where": _AGAIN, "figure": _ONCE, "despite": _ONCE, "with-marked": _YES,
        },
    }
)  # fmt: skip


def arguments(command: str, query: Iterable[tuple[str, str]]) -> list[str]:
    """Return the arguments that the keys and values of an address stand for.

    A value that is empty was not given: that is how a form leaves a field out.

    Raises:
        AskedError: a key is not known, stands twice, or a value is too long.
    """
    known, found, seen = KEYS[command], list[str](), set[str]()
    for key, value in query:
        text = value.strip()
        if not text:
            continue
        if key not in known:
            raise _bad(f"{key!r} is not asked for here", f"write some of {', '.join(known)}")
        if len(text) > MOST_LENGTH or not text.isprintable() or len(found) >= MOST_VALUES:
            raise _bad(f"too much stands under {key}", "select less")
        if known[key] != _AGAIN and key in seen:
            raise _bad(f"{key} stands twice", "write it once")
        seen.add(key)
        if known[key] == _YES:
            if text != "yes":
                raise _bad(f"{key} is {text!r}", "write yes, or leave it out")
            found.append(f"--{key}")
        else:
            found.append(f"--{key}={text}")
    return found


def _bad(what: str, do: str) -> AskedError:
    return AskedError(Problem(code="bad-selection", what=what, do=do))
