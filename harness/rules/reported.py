"""What a title says it really used, held against what it was asked for.

Pure. A value that differs voids the pass: it was measured, but at another setting. A title
that says nothing is believed and flagged ``unverified``, in every table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from harness.plan.document import Report
from harness.rig.captures.cells import PLAIN

#: The flag of a pass in which a declared report was not found.
UNVERIFIED = "unverified"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """What came of all reports: differences in words, and reports that were not found."""

    differs: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()

    @property
    def flags(self) -> tuple[str, ...]:
        """Return the flags of the pass."""
        return (UNVERIFIED,) if self.silent else ()

    @property
    def notes(self) -> tuple[str, ...]:
        """Return the notes of the pass."""
        if not self.silent:
            return ()
        return (f"{UNVERIFIED}: the title did not say which {', '.join(self.silent)} it used",)


def reported(
    reports: Sequence[Report],
    *,
    asked: Mapping[str, str],
    said: Callable[[Report], Sequence[str]],
) -> Reported:
    """Hold what a title *said* against what was *asked*.

    Args:
        reports: The plan's entries.
        asked: What every placeholder stood for in this pass.
        said: Returns the texts found for one report, in order; none where it was silent.

    Returns:
        What differs, and what was not said. Blanks around a text and its case make no
        difference, nor does how a number is written (60 and 60.0). A value that is said
        several times must be the one asked for each time.
    """
    differs, silent = [], []
    for report in reports:
        texts, wanted = said(report), asked[report.name]
        if not texts:
            silent.append(report.name)
            continue
        other = tuple(dict.fromkeys(text for text in texts if not same(text, wanted)))
        if other:
            shown = ", ".join(map(repr, other[:3])) + (" …" if len(other) > 3 else "")
            differs.append(f"{report.name}: asked for {wanted!r}, the title used {shown}")
    return Reported(differs=tuple(differs), silent=tuple(silent))


def same(text: str, wanted: str) -> bool:
    """Return whether two texts mean one value.

    >>> same("1920X1080 ", "1920x1080"), same("60.0", "60"), same("2560x1440", "1920x1080")
    (True, True, False)
    """
    text, wanted = text.strip().casefold(), wanted.strip().casefold()
    if text == wanted:
        return True
    grammar, _ = PLAIN.grammar()
    numbers = [grammar.fullmatch(each.encode()) for each in (text, wanted)]
    return all(numbers) and float(text) == float(wanted)
