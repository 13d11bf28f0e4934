"""Frozen values that are quick to define, for what the shortest commands import.

Pure. Everywhere else a value is ``@dataclass(frozen=True, slots=True, kw_only=True)``. But
importing dataclasses, or typing for its named tuples, takes longer than all that
``harness status`` does, so the few values on its way are made here, as the same kind of
dataclass to the type checker.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it, which is not to be imported
if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any, ClassVar, NoReturn, Self, dataclass_transform
else:

    def dataclass_transform(**_):
        """Tell the type checker, and nobody else."""
        return lambda cls: cls


@dataclass_transform(kw_only_default=True, frozen_default=True)
class Value:
    """A value: named by keywords, equal by its fields, never changed.

    A subclass annotates its fields, with their defaults; it has no subclasses of its own.

    >>> class Mark(Value):
    ...     text: str
    ...     count: int = 1
    >>> Mark(text="hot")
    Mark(text='hot', count=1)
    """

    _names: ClassVar[tuple[str, ...]] = ()
    _needed: ClassVar[frozenset[str]] = frozenset()

    def __init_subclass__(cls) -> None:
        cls._names = tuple(cls.__annotations__)
        cls._needed = frozenset(name for name in cls._names if name not in cls.__dict__)

    def __init__(self, **fields: Any) -> None:
        if not fields.keys() >= self._needed or not fields.keys() <= set(self._names):
            raise TypeError(f"{type(self).__name__} has the fields {', '.join(self._names)}")
        self.__dict__.update(fields)

    @classmethod
    def of_row(cls, row: Iterable[Any]) -> Self:
        """Return the value whose fields are in *row*, all of them, in their order."""
        made = cls.__new__(cls)  # all fields are there: nothing to ask __init__
        made.__dict__.update(zip(cls._names, row, strict=True))
        return made

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """Return the names of the fields, in order."""
        return cls._names

    def as_dict(self) -> dict[str, Any]:
        """Return the fields by name."""
        return {name: getattr(self, name) for name in self._names}

    def but(self, **changes: Any) -> Self:
        """Return the same value but for *changes*."""
        return type(self)(**self.as_dict() | changes)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return self.as_dict() == other.as_dict()

    def __hash__(self) -> int:
        return hash((type(self), *self.as_dict().values()))

    def __repr__(self) -> str:
        fields = ", ".join(f"{name}={value!r}" for name, value in self.as_dict().items())
        return f"{type(self).__name__}({fields})"

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"{type(self).__name__} never changes")
