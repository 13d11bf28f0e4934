"""The passes of a run that came to nothing, by why: one line for each kind of trouble.

Pure. A night's two hundred void passes are seldom two hundred troubles. Passes that a rerun took
the place of are left out; the cells that lost them are told of as they stand now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from harness.rules.faults import FAULTS
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.ports import Entry


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Passes that were lost to one thing.

    Args:
        verdict: Void, failed, interrupted or discarded.
        why: The name of the fault, or ``rule NAME``.
        passes: How many, warm-up passes among them.
        cells: Keys of the cells that lost them, in the order met.
        reason: What the latest of them was lost to, in the words of its record.
        do: What a person does about such a fault; empty where nothing is to be done.
    """

    verdict: Verdict
    why: str
    passes: int
    cells: tuple[str, ...]
    reason: str
    do: str = ""


def lost(entries: Iterable[Entry], *, among: Collection[str] | None = None) -> tuple[Lost, ...]:
    """Return the kinds of trouble of one run, the one that cost most passes first.

    Args:
        entries: Of one run, in order.
        among: Keys of the cells that are asked about; None: all.
    """
    gone: dict[tuple[str, int], Lost] = {}
    for entry in entries:
        match entry.record:
            case r.PassJudged(verdict=Verdict.KEPT):
                pass
            case r.PassJudged(cell=cell, attempt=attempt, verdict=verdict, reason=reason) as judged:
                gone[cell, attempt] = _one(verdict, judged.fault or verdict.value, cell, reason)
            case r.PassSkipped(cell=cell, attempt=attempt, fault=fault, reason=reason):
                gone[cell, attempt] = _one(Verdict.FAILED, fault, cell, reason)
            case r.PassDiscarded(cell=cell, attempt=attempt, discarded=True) as out:
                why = f"rule {out.rule}"
                gone[cell, attempt] = _one(Verdict.DISCARDED, why, cell, out.reason)
            case r.CellReopened(cell=cell, superseded=attempts):
                for attempt in attempts:
                    gone.pop((cell, attempt), None)
            case _:
                pass  # tells of no pass that was lost
    kinds: dict[tuple[Verdict, str], Lost] = {}
    for each in gone.values():
        if among is not None and each.cells[0] not in among:
            continue
        known = kinds.get((each.verdict, each.why))
        kinds[each.verdict, each.why] = each if known is None else _joined(known, each)
    return tuple(sorted(kinds.values(), key=lambda kind: -kind.passes))


def _one(verdict: Verdict, why: str, cell: str, reason: str) -> Lost:
    fault = FAULTS.get(why)
    do = "" if fault is None else fault.do
    return Lost(verdict=verdict, why=why, passes=1, cells=(cell,), reason=reason, do=do)


def _joined(known: Lost, later: Lost) -> Lost:
    cells = tuple(dict.fromkeys((*known.cells, *later.cells)))
    return replace(known, passes=known.passes + 1, cells=cells, reason=later.reason)
