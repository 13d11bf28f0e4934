"""What a fingerprint is made of: named fields, each with how it is read.

Pure. A field is one line of a table; what it raises costs that field alone, and the
fingerprint says why it has none. Its text stays the text that was read: nothing is rounded,
shortened or taken for a number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from harness.rig.sensors.source import Unreadable


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityField:
    """One field of the fingerprint.

    ``each_pass`` is true for what can change while the machine runs: it is read before every
    pass. The rest changes only with a restart, and is read when a runner comes up.
    """

    name: str
    where: str
    read: Callable[[], str]
    each_pass: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """The fields that were read, as text, and why others could not be."""

    fields: Mapping[str, str]
    unread: Mapping[str, str]


def look(fields: Iterable[IdentityField], *, full: bool) -> Identity:
    """Return what *fields* say now; of two with one name the first that can be read counts.

    Args:
        fields: In order of preference.
        full: All of them, and not only what can change between two passes.
    """
    found: dict[str, str] = {}
    unread: dict[str, str] = {}
    for field in fields:
        if field.name in found or not (full or field.each_pass):
            continue
        try:
            text = field.read().strip()
            why = "the system does not say"
        except Exception as error:  # noqa: BLE001 - whatever a field raises costs that field only
            text, why = "", reason(error)
        if text:
            found[field.name] = text
            unread.pop(field.name, None)
        else:
            unread.setdefault(field.name, why)
    return Identity(fields=found, unread=unread)


def reason(error: Exception) -> str:
    """Return in words why a field cannot be read."""
    if isinstance(error, Unreadable):
        return error.why
    if isinstance(error, PermissionError):
        return f"this account may not read {error.filename}"
    if isinstance(error, FileNotFoundError):
        return f"the system shows no {error.filename}"
    if isinstance(error, OSError) and error.strerror:
        return f"cannot be read: {error.strerror}"
    return f"cannot be read: {type(error).__name__}: {error}".removesuffix(": ")
