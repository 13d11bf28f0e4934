"""A value in a JSON text, by JSON pointer (RFC 6901).

Pure. The text is read strictly: UTF-8, one value, no key twice in one object, no NaN and no
infinity, which are not JSON (RFC 8259).
"""

from __future__ import annotations

import json


class NotThere(Exception):
    """The text cannot be read, or the pointer leads nowhere: says which, in words."""


def look_up(text: bytes, pointer: str) -> object:
    """Return the value that *pointer* leads to.

    Raises:
        NotThere: it leads nowhere, or the text is not JSON.

    >>> look_up(b'{"a/b": [1, {"m~n": 8}]}', "/a~1b/1/m~0n")
    8
    """
    try:
        value = json.loads(
            text.decode("utf-8-sig"), object_pairs_hook=_object, parse_constant=_no_constant
        )
    except UnicodeDecodeError as error:
        raise NotThere(f"not UTF-8: {error.reason} at byte {error.start}") from error
    except RecursionError as error:
        raise NotThere("not readable: nested too deeply") from error
    except ValueError as error:
        raise NotThere(f"not JSON: {error}") from error
    if not pointer:
        return value
    if not pointer.startswith("/"):
        raise NotThere(f"{pointer!r} is no JSON pointer: it must begin with /")
    walked = ""
    for token in pointer[1:].split("/"):
        value = _step(value, token.replace("~1", "/").replace("~0", "~"), walked)
        walked += f"/{token}"
    return value


def _step(value: object, name: str, walked: str) -> object:
    where = walked or "the top"
    if isinstance(value, dict):
        if name not in value:
            raise NotThere(f"there is no {name!r} at {where}")
        return value[name]
    if isinstance(value, list):
        is_index = name.isascii() and name.isdigit() and (name == "0" or name[0] != "0")
        if not is_index or len(name) > 9 or int(name) >= len(value):
            raise NotThere(f"there is no item {name!r} at {where}: it has {len(value)}")
        return value[int(name)]
    raise NotThere(f"there is nothing below {where}")


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice!r} comes twice in one object")
    return made


def _no_constant(name: str) -> object:
    raise ValueError(f"{name} is not JSON")
