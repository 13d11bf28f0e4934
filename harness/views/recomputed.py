"""Recomputed cells beside what they were, as a table and as JSON.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from harness.rules.figures import low_name
from harness.summary.estimates import Estimate
from harness.summary.recomputed import Decided, Recomputed
from harness.views.numbers import with_interval

SCHEMA = "harness.recompute/1"


def as_text(
    cells: Sequence[Recomputed], *, old_low: str, new_low: str, rules: Sequence[str]
) -> Iterator[str]:
    """Yield what was and what is, three lines for each cell and its changed passes."""
    yield f"low figures: {old_low} before, {new_low} now"
    if rules:
        yield f"discard rules now: {'; '.join(rules)}"
    for each in cells:
        yield ""
        left = f" (group {each.group})" if each.group > 1 else ""
        yield f"{each.cell.label}{left}, run {each.run}, cell {each.cell.key}"
        yield f"  before  {_standing(each.old, old_low)}"
        yield f"  now     {_standing(each.new, new_low)}"
        yield from (f"  {line}" for line in _differences(each, old_low, new_low))
        for attempt, before, now, reason in each.changed:
            yield f"  attempt {attempt}: {before} before, {now} now ({reason})"


def _standing(decided: Decided, low: str) -> str:
    main = _main(decided.figures)
    lowest = decided.figure(low_name("low_1pct_fps", low))
    parts = [f"{decided.state.value}, {len(decided.kept)} kept"]
    if main is not None:
        parts.append(f"{main.name} {_value(main)} ({main.definition})")
    if lowest is not None:
        parts.append(f"1 % low {_value(lowest)} ({lowest.definition})")
    return "; ".join(parts)


def _differences(each: Recomputed, old_low: str, new_low: str) -> Iterator[str]:
    pairs = [
        ("average", _main(each.old.figures), _main(each.new.figures)),
        (
            "1 % low",
            each.old.figure(low_name("low_1pct_fps", old_low)),
            each.new.figure(low_name("low_1pct_fps", new_low)),
        ),
    ]
    told = []
    for name, old, new in pairs:
        if old is None or new is None or not old.mean or new.mean is None:
            continue
        told.append(f"{name} {100.0 * (new.mean / old.mean - 1.0):+.2f} %")
    if told:
        yield f"change  {', '.join(told)}"


def _main(figures: Sequence[Estimate]) -> Estimate | None:
    rates = (each for each in figures if each.name == "average_fps")
    return next(rates, None) or next(iter(figures), None)


def _value(estimate: Estimate) -> str:
    if estimate.mean is None:
        return f"not measured: {estimate.why}"
    return with_interval(estimate.mean, estimate.half_width, estimate.unit)


def as_json(cells: Sequence[Recomputed]) -> list[dict[str, object]]:
    """Return the list ``cells`` of ``recompute --json``."""
    return [
        {
            "run": each.run,
            "rig": each.rig,
            "cell": each.cell.key,
            "title": each.cell.title,
            "scene": each.cell.scene,
            "setting": each.cell.setting,
            "conditions": dict(each.cell.levels),
            "group": each.group,
            "old": _decided(each.old),
            "new": _decided(each.new),
            "changed": [
                {"attempt": attempt, "old": old, "new": new, "reason": reason}
                for attempt, old, new, reason in each.changed
            ],
        }
        for each in cells
    ]


def _decided(decided: Decided) -> dict[str, object]:
    return {
        "state": decided.state.value,
        "kept": list(decided.kept),
        "figures": {
            each.name: {
                "mean": each.mean,
                "sd": each.sd,
                "n": each.n,
                "half_width": each.half_width,
                "confidence": each.confidence,
                "definition": each.definition,
                "unit": each.unit,
            }
            for each in decided.figures
        },
    }
