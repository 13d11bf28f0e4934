"""What a run shows over all its cells: as lines below its results, and as JSON.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from harness.summary.apart import REFERENCES_APART, Apart
from harness.summary.following import Following
from harness.summary.frequent import Frequent
from harness.summary.signs import FOLLOWING, FREQUENT, TREND, TWO_LEVELS, VOIDS_UNEVEN, Signs
from harness.summary.trends import Trend
from harness.summary.unlike import UNLIKE_HISTORY, Unlike
from harness.summary.voids import Balance, LevelVoids
from harness.views.numbers import number


def signs_json(signs: Signs) -> dict[str, object]:
    """Return ``trends``, ``following``, ``frequent`` and ``voids`` of ``results --json``."""
    frequent = signs.frequent
    return {
        "trends": {
            name: {**asdict(trend), "flagged": trend.there} for name, trend in signs.trends.items()
        },
        "following": {
            name: {**asdict(each), "flagged": each.there} for name, each in signs.following.items()
        },
        "frequent": None if frequent is None else {**asdict(frequent), "flagged": frequent.there},
        "voids": [{**asdict(each), "balance": each.balance.value} for each in signs.voids],
    }


def signs_lines(signs: Signs) -> list[str]:
    """Return one line for each thing that a person must know; none where all is well."""
    lines = [
        f"{TREND}: {_trend(name, trend)}" for name, trend in signs.trends.items() if trend.there
    ]
    lines += [
        f"{FOLLOWING}: {_following(name, each)}"
        for name, each in signs.following.items()
        if each.there
    ]
    if signs.frequent is not None and signs.frequent.there:
        lines.append(f"{FREQUENT}: {_frequent(signs.frequent)}")
    if any(each.void for each in signs.voids):
        lines += [_voids(each) for each in signs.voids if each.balance is not Balance.FEWER]
    if signs.two_levels:
        lines.append(
            f"{TWO_LEVELS}: the kept passes of {_count(len(signs.two_levels), 'cell')} lie on two "
            "levels, of which no rule makes one number: unresolved"
        )
    lines += [apart_line(each) for each in signs.apart if each.places]
    return lines


def unlike_json(unlike: Sequence[Unlike]) -> dict[str, object]:
    """Return ``unlike_history`` of ``results --json``."""
    return {"unlike_history": [{**asdict(each), "share": each.share} for each in unlike]}


def unlike_lines(unlike: Sequence[Unlike], labels: Mapping[str, str]) -> list[str]:
    """Return one line for each cell that is unlike its own history.

    Args:
        unlike: The cells, as ``unlike_history`` gives them.
        labels: Cell key -> how the cell is shown.
    """
    return [
        f"{UNLIKE_HISTORY}: {labels.get(each.cell, each.cell)}: {each.figure} "
        f"{number(each.value, each.unit)} lies {100 * each.share:+.2g} % from "
        f"{number(each.usual, each.unit)}, as {_count(each.earlier, 'earlier value')} had it (like "
        f"its history from {number(each.low)} to {number(each.high, each.unit)}); nothing is "
        "discarded: look what changed on the rig"
        for each in unlike
    ]


def apart_line(each: Apart) -> str:
    """Return what two reference passes that disagree say of the cells in between."""
    return (
        f"{REFERENCES_APART}: reference pass {each.attempts[1]} of {each.cell} lies "
        f"{100 * each.share:+.2g} % from {each.attempts[0]} (allowed {100 * each.allowed:.2g} %): "
        f"the rig moved while {_count(len(each.places), 'cell')} in between "
        f"{'was' if len(each.places) == 1 else 'were'} measured; nothing is corrected"
    )


def _trend(name: str, trend: Trend) -> str:
    tested = (
        f"pooled Mann-Kendall over {_count(trend.cells, 'cell')} and {trend.passes} passes, "
        f"p = {trend.p:.2g}"
    )
    way = "rises" if trend.s > 0 else "falls"
    if trend.slope is None or trend.low is None or trend.high is None:
        return f"{name} {way} from attempt to attempt ({tested})"
    return (
        f"{name} {way} by {100 * abs(trend.slope):.2g} % from attempt to attempt (95 % interval "
        f"{100 * trend.low:+.2g} to {100 * trend.high:+.2g} %; {tested}): does the rig heat up?"
    )


def _following(name: str, each: Following) -> str:
    return (
        f"{name}: a pass is like the one before it (likeness {each.likeness:.2f}; von Neumann's "
        f"quotient over {_count(each.cells, 'cell')} and {each.passes} passes, p = {each.p:.2g}): "
        "passes are worth fewer than their number, and intervals promise too much; spread them "
        "over rounds or nights"
    )


def _frequent(each: Frequent) -> str:
    return (
        f"{each.lost} of {_count(each.cells, 'cell')} lost a pass to a rule, at most "
        f"{each.expected:.2g} would where nothing is wrong (p = {each.p:.2g}): something disturbs "
        "the rig, or the rules take sound passes (a long tail, a bound within the noise) and "
        "intervals promise too much; look at the figures with the discards put back"
    )


def _voids(each: LevelVoids) -> str:
    counts = (
        f"{each.condition} {each.level}: {each.void} of {each.judged} passes void, at the other "
        f"levels {each.others_void} of {each.others_judged}"
    )
    match each.balance:
        case Balance.MORE:
            return (
                f"{VOIDS_UNEVEN}: {counts} (Fisher's exact test, p = {each.p:.2g}): what a guard "
                "takes from one level alone is an effect of that level"
            )
        case Balance.TOO_FEW:
            return f"voids: {counts}: too few to tell whether that is uneven"
        case Balance.EVEN | Balance.FEWER:
            return f"voids: {counts}: not uneven (Fisher's exact test, p = {each.p:.2g})"


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
