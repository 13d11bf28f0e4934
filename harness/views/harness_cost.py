"""What looking at the rig cost a pass, in words.

Pure.
"""

from __future__ import annotations

from harness.rules.judgement import HarnessCost

_LAID = {
    "clock": "frames and looks on one clock",
    "found": "durations: longer at one place in the period of the looks",
    "sought": "durations: no place in the period of the looks stands out",
}


def cost_words(cost: HarnessCost) -> str:
    """Return the cost as a share of the pass, or why it was not measured.

    A cost below zero is what chance makes of none, and is shown as none. Where none was found,
    only what it can be at most is worth telling.

    >>> from harness.rules.judgement import HarnessCost
    >>> told = HarnessCost(
    ...     definition="frames-around-looks/1", looks=58, cost_ms=0.021, low_ms=-0.01,
    ...     high_ms=0.052, share=0.000021, most_share=0.000052, laid="clock",
    ... )
    >>> cost_words(told)
    'the harness cost 0.002 % of this pass (at most 0.005 %)'
    """
    if cost.share is None or cost.most_share is None:
        return f"what the harness cost this pass is not measured: {cost.why}"
    if cost.laid == "sought":
        return f"the harness cost at most {_per_cent(cost.most_share)} of this pass; none was found"
    return (
        f"the harness cost {_per_cent(cost.share)} of this pass "
        f"(at most {_per_cent(cost.most_share)})"
    )


def cost_brief(cost: HarnessCost) -> str:
    """Return the cost in a few words, for a line that tells more; why it is missing is not in it.

    >>> cost_brief(HarnessCost(definition="frames-around-looks/1", looks=0, why="too few looks"))
    'harness cost not measured'
    """
    if cost.share is None or cost.most_share is None:
        return "harness cost not measured"
    if cost.laid == "sought":
        return f"harness cost at most {_per_cent(cost.most_share)}"
    return f"harness cost {_per_cent(cost.share)} (at most {_per_cent(cost.most_share)})"


def cost_detail(cost: HarnessCost) -> str:
    """Return the cost of a look with its interval and what it rests on; empty: not measured."""
    if cost.cost_ms is None:
        return ""
    within = f"{cost.low_ms:.3f} to {cost.high_ms:.3f} ms"
    # Where no place stands out, the mean is that of one place among many.
    each = within if cost.laid == "sought" else f"{cost.cost_ms:.3f} ms"
    interval = "95 %" if cost.laid == "sought" else f"95 %: {within}"
    return (
        f"each of {cost.looks} looks cost {each} ({interval}), {cost.definition}, "
        f"{_LAID.get(cost.laid, cost.laid)}"
    )


def _per_cent(share: float) -> str:
    return f"{max(0.0, 100.0 * share):.3f} %"
