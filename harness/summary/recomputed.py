"""A cell decided again: the same passes under other figures or other discard rules.

Pure. What the run would have decided, had it had these rules: counted passes are taken in the
order of their attempts, the rules are asked once enough are kept and after each replacement,
and the cell is closed where the run would have closed it. Passes after that are *surplus*: the
run would not have carried them out. With the run's own rules and definitions the outcome is
its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.plan.cells import Cell, title_of
from harness.plan.document import DiscardRule, Plan
from harness.rules.discard import find
from harness.rules.judgement import Figure, KeptPass, Verdict
from harness.run.records import CellSized, CellState
from harness.run.sizing import sized_by_pilot
from harness.summary.estimates import Estimate, estimate
from harness.summary.wanted import sized_figures

#: What a pass is that the run would not have carried out.
SURPLUS = "surplus"


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainPass:
    """One counted pass, measured again.

    Args:
        attempt: Its attempt.
        verdict: The verdict by itself, judged again.
        reason: Why.
        figures: Measured again.
    """

    attempt: int
    verdict: Verdict
    reason: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """How a cell stands.

    Args:
        state: Its state.
        verdicts: (attempt, verdict or ``surplus``, reason) of every counted pass.
        figures: Over the kept passes.
    """

    state: CellState
    verdicts: tuple[tuple[int, str, str], ...]
    figures: tuple[Estimate, ...]

    @property
    def kept(self) -> tuple[int, ...]:
        """Return the attempts that count."""
        return tuple(a for a, verdict, _ in self.verdicts if verdict == Verdict.KEPT.value)

    def figure(self, name: str) -> Estimate | None:
        """Return the figure called *name*, or None."""
        return next((each for each in self.figures if each.name == name), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputed:
    """A cell of one run and group, as it was decided and as it is now."""

    run: str
    rig: str
    cell: Cell
    group: int
    old: Decided
    new: Decided

    @property
    def changed(self) -> tuple[tuple[int, str, str, str], ...]:
        """Return (attempt, old verdict, new verdict, reason) of every pass that differs."""
        before = {attempt: verdict for attempt, verdict, _ in self.old.verdicts}
        return tuple(
            (attempt, before[attempt], verdict, reason)
            for attempt, verdict, reason in self.new.verdicts
            if before[attempt] != verdict
        )


def decided_again(
    passes: Sequence[AgainPass],
    *,
    rules: Sequence[DiscardRule],
    plan: Plan,
    cell: Cell,
    sized: CellSized | None = None,
    was: CellState = CellState.OPEN,
) -> Decided:
    """Return how a cell with these *passes* would stand under *rules*.

    Args:
        passes: Its counted passes in one group, in the order of their attempts.
        rules: The discard rules, in order.
        plan: Says how many kept passes are wanted, how many are allowed, and what is enough.
        cell: The cell.
        sized: How the run fixed the number of its passes; None: it did not. What earlier runs
            said stands; what a pilot said is asked again, of the pilot as it is now.
        was: How the run left the cell. One that it gave up (warm-up passes that failed, a fault
            that is not tried again) it would have given up under these rules as well.
    """
    wanted, title = plan.passes, title_of(plan, cell)
    fixed = sized if sized is not None and not sized.pilot else None
    verdicts: dict[int, tuple[str, str]] = {}
    kept: list[KeptPass] = []
    discarded: dict[str, int] = {}
    state, used = CellState.OPEN, 0
    for each in passes:
        if state is not CellState.OPEN:
            verdicts[each.attempt] = (SURPLUS, "the cell would have been closed before it")
            continue
        used += each.verdict is not Verdict.INTERRUPTED
        verdicts[each.attempt] = (each.verdict.value, each.reason)
        if each.verdict is Verdict.KEPT:
            kept.append(KeptPass(attempt=each.attempt, figures=_values(each.figures)))
        enough = fixed.passes if fixed is not None else wanted.keep
        used_up = used >= wanted.at_most
        if len(kept) >= enough or (used_up and len(kept) >= wanted.keep):
            findings = [x for x in find(kept, rules, discarded=discarded) if x.discard]
            gone = {finding.attempt for finding in findings}
            left = [one for one in kept if one.attempt not in gone]
            pilot = None
            if fixed is None:
                pilot = sized_by_pilot(plan, title, cell.key, kept=left, counted=used)
            if pilot is not None:
                fixed = pilot
            if pilot is None or pilot.passes <= len(left):  # else the rules are asked again
                kept = left
                for finding in findings:
                    discarded[finding.rule] = discarded.get(finding.rule, 0) + 1
                    verdicts[finding.attempt] = (
                        Verdict.DISCARDED.value,
                        f"{finding.rule} on {finding.on}: {finding.reason}",
                    )
        enough = fixed.passes if fixed is not None else wanted.keep
        if len(kept) >= enough or (used_up and len(kept) >= wanted.keep):
            state = CellState.ACCEPTED
        elif used_up:
            state = CellState.SHORT if kept else CellState.FAILED
    if state is CellState.OPEN and was in (CellState.SHORT, CellState.FAILED):
        state = CellState.SHORT if kept else CellState.FAILED
    by_attempt = {each.attempt: each for each in passes}
    counting = [by_attempt[one.attempt] for one in kept]
    figures = over([each.figures for each in counting])
    if fixed is not None and state is not CellState.OPEN:
        figures, _ = sized_figures(figures, fixed, counting)
    return Decided(
        state=state,
        verdicts=tuple((attempt, *found) for attempt, found in verdicts.items()),
        figures=figures,
    )


def over(passes: Sequence[tuple[Figure, ...]]) -> tuple[Estimate, ...]:
    """Return every figure over several passes, in the order the passes give them."""
    by_name: dict[str, list[Figure]] = {}
    for figures in passes:
        for figure in figures:
            by_name.setdefault(figure.name, []).append(figure)
    return tuple(estimate(figures, passes=len(passes)) for figures in by_name.values())


def _values(figures: tuple[Figure, ...]) -> tuple[tuple[str, float], ...]:
    return tuple((each.name, each.value) for each in figures if each.value is not None)
