"""Columns that tell programs, or kinds of frames, apart: are several of them in the file?

Pure. A mean over frames of two programs is of neither, so such a file is refused unless it
was declared which are counted.
"""

from __future__ import annotations

from collections import Counter

from harness.rig.captures.names import KINDS, mixed
from harness.rig.captures.trouble import Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

_MOST_TEXTS = 1000  # different texts of a column that may mix programs; more are no programs


class Mixtures:
    """Takes the texts of the columns that are looked at; refuses those that mix."""

    __slots__ = ("_rows", "_seen")

    def __init__(self) -> None:
        self._seen: dict[int, tuple[str, Counter[bytes]]] = {}
        self._rows = 0

    def watch(self, columns: Mapping[int, str]) -> None:
        """Look at these columns too, whose texts were blank until now."""
        for place, name in columns.items():
            blank = {b"": self._rows} if self._rows else {}
            self._seen.setdefault(place, (name, Counter(blank)))

    def add(self, watched: Mapping[int, Sequence[bytes]], rows: int) -> None:
        """Take the texts of the next *rows* that count, by column."""
        for place, texts in watched.items():
            seen = self._seen[place][1]
            if len(seen) <= _MOST_TEXTS:
                seen.update(texts)
        self._rows += rows

    def refuse(self, *, kinds: bool) -> None:
        """Refuse a column that mixes programs or kinds; *kinds*: another tells kinds already.

        Raises:
            Trouble: which are counted must be declared.
        """
        for name, seen in self._seen.values():
            different = len(seen)
            if not 1 < different <= min(_MOST_TEXTS, self._rows // 2):
                continue  # one text, or a text of its own in nearly every row
            what = mixed(name, seen)
            if what is None:
                continue
            some = few(seen)
            if what == KINDS:
                raise Trouble(
                    "kinds-mixed",
                    f"column {shown(name)} names {different} kinds of frames ({some}), and which "
                    "are to be counted was not declared",
                    do=f"declare where {name.strip()}=KIND: kinds names another column already"
                    if kinds
                    else f"declare kinds: the column {name.strip()} and the kinds that count",
                )
            raise Trouble(
                "programs-mixed",
                f"column {shown(name)} names {different} programs ({some}), and whose frames are "
                "to be counted was not declared",
                do=f"declare where {name.strip()}=NAME",
            )


def few(texts: Counter[bytes]) -> str:
    """Return the texts that come most often, each with how often."""
    some: Iterable[str] = (f"{shown(text)} {count}" for text, count in texts.most_common(6))
    return ", ".join(some) + (" …" if len(texts) > 6 else "")
